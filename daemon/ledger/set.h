/* set.h - subjects that wait to be folded again: each once, in order of arrival.
 */
#ifndef DAEMON_LEDGER_SET_H
#define DAEMON_LEDGER_SET_H

#include "daemon/ledger/fold.h"
#include "daemon/ledger/texts.h"

/* A subject as one text: its class in the first byte, its code behind it. */
struct set {
    struct texts texts;
};

enum err set_add(struct set *set, enum subject_class class, const char *code, struct err_text *why);
void set_clear(struct set *set);
void set_done(struct set *set);

static inline size_t
set_size(const struct set *set)
{
    return set->texts.n;
}

static inline enum subject_class
set_class(const struct set *set, size_t i)
{
    return (enum subject_class)set->texts.at[i].s[0];
}

static inline const char *
set_code(const struct set *set, size_t i) /* lent until set_clear() */
{
    return set->texts.at[i].s + 1;
}

#endif
