/* set.c - see set.h. */
#include "daemon/ledger/set.h"

#include <string.h>
#include "daemon/ledger/tables.h"

enum err
set_add(struct set *set, enum subject_class class, const char *code, struct err_text *why)
{
    uint32_t number = 0;
    struct key key = key_row(class, code);
    if (key.over)
        return err_set(ERR_INPUT, why, "ledger: a code of %zu bytes", strlen(code));
    if (!texts_add(&set->texts, key.bytes, key.n, &number))
        return err_set(ERR_MEM, why, "ledger: out of memory");
    return ERR_OK;
}

void
set_clear(struct set *set)
{
    texts_clear(&set->texts);
}

void
set_done(struct set *set)
{
    texts_done(&set->texts);
}
