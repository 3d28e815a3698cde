/* search.h - good whole numbers for the class programme, and how good any plan can be.
 *
 * Small programmes are searched whole; large ones by rounding dives and then by freeing a part of
 * the whole numbers at a time. Every step is limited by nodes or by count, never by the clock.
 */
#ifndef DAEMON_PLAN_SEARCH_H
#define DAEMON_PLAN_SEARCH_H

#include "daemon/plan/model.h"

enum {
    SEARCH_KEPT = 6
};

/* The best solutions, the best first; and a bound in cents that no plan is worth more than. */
struct search_found {
    double *x[SEARCH_KEPT];
    double worth[SEARCH_KEPT];
    int n;
    double bound;
};

/* `m` has all slots and classes. `effort` 1 and more multiplies the nodes; 0: a
 * first answer soon. Yours: search_done().
 * n may be 0. ERR_MEM. */
enum err search_classes(const struct model *m, int effort, struct search_found *out,
                        struct err_text *why);
void search_done(struct search_found *found);

#endif
