/* vessel.h - filling vessels with whole tubs, as near to a mass as they allow, from below. */
#ifndef DAEMON_PLAN_VESSEL_H
#define DAEMON_PLAN_VESSEL_H

#include "daemon/plan/problem.h"

/* A vessel and what is in it. `tubs` has room for every tub that may come. */
struct vessel {
    int64_t most_g; /* never over this */
    int64_t g;
    int *tubs;
    int n;
};

/* Adds tubs of `spare` (those not marked in `used`; marks are kept up) and swaps tubs against spare
 * ones, the change that brings the vessel nearest to most_g each time, until none helps. The
 * earlier a tub stands in `spare`, the rather it is taken among equals. */
void vessel_close(const struct problem *p, struct vessel *v, const int *spare, int spare_n,
                  bool *used);

#endif
