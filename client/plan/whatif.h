/* whatif.h - two problems that differ in one thing, solved alike, and the difference.
 *
 * Small problems are solved with effort 1, larger ones for an answer soon: by the number of tubs,
 * never by the clock, so the same question has the same answer. Each side starts from the other's plan as
 * far as it goes, so what is only relaxed never comes out worth less.
 */
#ifndef CLIENT_PLAN_WHATIF_H
#define CLIENT_PLAN_WHATIF_H

#include <jansson.h>
#include "daemon/plan/child.h"

struct whatif_how {
    const char *program; /* as in child.h */
    int few_tubs;        /* up to so many: effort 1 */
};

struct whatif_side {
    const struct problem *problem; /* lent */
    struct plan *plan;             /* yours: whatif_done() */
    struct check_result check;
    check_units bound;
    bool bound_known;
    char remark[200]; /* what went wrong with the optimiser, "" when nothing did */
};

/* Solves `p` from `start` (feasible, or NULL). Errors as child.h. */
enum err whatif_solve(const struct problem *p, const struct plan *start,
                      const struct whatif_how *how, struct whatif_side *out_side,
                      struct err_text *why);

/* Solves `then`, a changed copy of now->problem, and mends `now` when that showed a better plan
 * for it. */
enum err whatif_compare(struct whatif_side *now, const struct problem *then,
                        const struct whatif_how *how, struct whatif_side *out_then,
                        struct err_text *why);

void whatif_done(struct whatif_side *side); /* {0} is fine */

/* Whether its plan is proven to be the best, to a cent. */
bool whatif_proven(const struct whatif_side *side);
/* How far from the best it may be at most, in cents; -1: not known. */
double whatif_gap_cents(const struct whatif_side *side);

/* "1.20", "-0.05": minor units with two decimals. Returns `out`. */
char *whatif_money(check_units units, char out[48]);

/* Millilitres that its batches make. */
int64_t whatif_made_ml(const struct whatif_side *side);

#endif
