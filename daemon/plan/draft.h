/* draft.h - a plan while the optimiser works on it: who is in which batch, who comes with which run.
 *
 * Product is left out: it follows from the batches (product.h).
 */
#ifndef DAEMON_PLAN_DRAFT_H
#define DAEMON_PLAN_DRAFT_H

#include "daemon/plan/plan.h"
#include "daemon/plan/share.h"

enum {
    DRAFT_NONE = -1
};

struct draft_batch {
    int recipe, day, ready;
    int64_t g;
    int *tubs;
    int n;
};

/* batch_of and run_of agree with the batches: a tub in no batch has DRAFT_NONE in both. */
struct draft {
    const struct problem *p; /* lent */
    struct draft_batch *batches;
    int batches_n, batches_room;
    int *batch_of; /* by tub: place in batches */
    int *run_of;   /* by tub: the run that brings it */
};

enum err draft_init(struct draft *d, const struct problem *p, struct err_text *why);
void draft_done(struct draft *d);
enum err draft_copy(const struct draft *from, struct draft *out_to, struct err_text *why);

/* The batches and loads of a feasible plan. */
enum err draft_from_plan(struct draft *out, const struct problem *p, const struct plan *plan,
                         struct err_text *why);

/* Adds a batch; `runs[i]` brings `tubs[i]` (NULL: all are in the kitchen). */
enum err draft_add(struct draft *d, int recipe, int day, const int *tubs, const int *runs, int n,
                   struct err_text *why);

void draft_remove(struct draft *d, int batch); /* the last batch takes its place */

/* Grams that each run carries: out_g has room for all runs. */
void draft_loads(const struct draft *d, int64_t *out_g);

/* What the batches bring, as share.h wants it: room for share_supply_n(). */
void draft_supply(const struct draft *d, int64_t *out_supply);

/* The plan with loads and batches, no product yet. *out_plan is yours. */
enum err draft_plan(const struct draft *d, struct plan **out_plan, struct err_text *why);

#endif
