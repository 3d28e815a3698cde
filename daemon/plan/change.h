/* change.h - "what if": one thing of a planning problem made larger, smaller, or taken away.
 *
 * One table for all that may be tried, which `knockbox plan try` and `plan why` share.
 */
#ifndef DAEMON_PLAN_CHANGE_H
#define DAEMON_PLAN_CHANGE_H

#include "daemon/plan/problem.h"

enum {
    CHANGE_SAID = 240
};

struct change_kind {
    const char *name;  /* of the option, without its dashes */
    const char *value; /* how its value looks */
    const char *words; /* one line of help */
    /* Changes `p`; `out_said` is what was changed, in words. ERR_INPUT; ERR_MEM. */
    enum err (*apply)(struct problem *p, int32_t today, const char *value,
                      char out_said[CHANGE_SAID], struct err_text *why);
};

const struct change_kind *change_kinds(size_t *out_n);
const struct change_kind *change_find(const char *name); /* NULL: no such thing */

struct change {
    const struct change_kind *kind;
    const char *value; /* lent */
};

/* A copy of `p` (settled) with all changes made in turn, settled again. `today` is the date of
 * day 0. *out_problem is yours; out_said[i] tells of change i. ERR_INPUT: `why` names the option. */
enum err change_problem(const struct problem *p, int32_t today, const struct change *changes,
                        size_t n, struct problem **out_problem, char (*out_said)[CHANGE_SAID],
                        struct err_text *why);

#endif
