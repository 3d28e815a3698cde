/* write_act.c - a record that the daemon makes for the caller. */
#include <stdio.h>
#include "daemon/serve/write.h"

static enum err
append_act(struct writing *writing, struct draft *draft, struct stored *out_stored,
           struct err_text *why)
{
    const struct serve_options *options = &writing->call->serve->options;
    struct store_txn *txn = NULL;
    enum err e = store_begin(options->store, &txn, why);
    if (e == ERR_OK)
        e = store_append(txn, draft->site, draft->record, out_stored, why);
    if (e == ERR_OK)
        e = store_commit(&txn, why);
    store_abort(&txn);
    if (e == ERR_OK && options->wrote != NULL)
        options->wrote(options->owner);
    return e;
}

enum err
write_act(struct writing *writing, Knockbox__Record *record, struct stored *out_stored,
          struct err_text *why)
{
    struct draft draft = {.record = record, .kind = kind_by_number((uint32_t)record->body_case)};
    const struct caller *caller = writing->call->caller;
    if (draft.kind == NULL)
        return err_set(ERR_INPUT, why, "this daemon does not know that kind of record");
    if ((draft.kind->writers & caller->roles) == 0)
        return err_set(ERR_DENIED, why, "%s may not write a %s",
                       caller->via[0] != '\0' ? caller->via : "this account", draft.kind->word);
    enum err e = draft_site(writing, &draft, why);
    if (e == ERR_OK)
        e = draft_envelope(writing, &draft, why);
    return e == ERR_OK ? append_act(writing, &draft, out_stored, why) : e;
}
