/* polish.h - single tubs moved by exact small programmes: some days free, the rest settled.
 *
 * docs/planning.md, section 6. Worth it where a single tub matters: small kitchens.
 */
#ifndef DAEMON_PLAN_POLISH_H
#define DAEMON_PLAN_POLISH_H

#include "daemon/plan/draft.h"
#include "daemon/plan/model.h"

/* What may be moved: batch days whose place in classes.days is marked. */
struct polish_window {
    const bool *free_place; /* by place */
    int nodes;
    double gap; /* cents */
};

/* Finds the best batches for the free days with all others as they are. *d changes only when that
 * is worth more; *out_better tells. *out_bound: no plan with those others is worth more (cents;
 * with all days free: no plan at all). */
enum err polish_days(struct draft *d, const struct classes *classes, const struct share *share,
                     const struct polish_window *window, bool *out_better, double *out_bound,
                     struct err_text *why);

/* How many whole-number columns such a programme has with `places` free days. */
int64_t polish_size(const struct problem *p, const struct classes *classes, int places);

#endif
