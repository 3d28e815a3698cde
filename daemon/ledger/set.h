/* set.h - subjects that wait to be folded again: a set in memory that gives them out in order of
 * arrival.
 */
#ifndef DAEMON_LEDGER_SET_H
#define DAEMON_LEDGER_SET_H

#include "daemon/ledger/fold.h"

/* A subject as one text: its class in the first byte, its code behind it. */
struct set {
    char **items; /* items[0..n), ours */
    size_t n, room;
    size_t *slots; /* open addressing: index + 1, 0 for empty */
    size_t n_slots;
};

enum err set_add(struct set *set, enum subject_class class, const char *code, struct err_text *why);
void set_clear(struct set *set);
void set_done(struct set *set);

static inline enum subject_class
set_class(const struct set *set, size_t i)
{
    return (enum subject_class)set->items[i][0];
}

static inline const char *
set_code(const struct set *set, size_t i)
{
    return set->items[i] + 1;
}

#endif
