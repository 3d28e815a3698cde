/* build.h - a plan being built vessel by vessel, with what is left of every resource.
 *
 * Rules 1 to 7 hold after every step; product is shared out at the end by share.h.
 */
#ifndef DAEMON_PLAN_BUILD_H
#define DAEMON_PLAN_BUILD_H

#include "daemon/plan/share.h"

/* What "worth most" is measured by when the next vessel is chosen. */
enum build_measure {
    BUILD_BY_STATION_DAY,
    BUILD_BY_LABOUR,
    BUILD_BY_WORTH,
    BUILD_MEASURES
};

struct build_habit {
    enum build_measure measure;
    bool day_by_day;      /* fill a day before the next; else always the best of all days */
    const bool *run_off;  /* by run: must not go. NULL: all may */
    const bool *slot_off; /* by recipe and day: no batch here. NULL: all may */
};

/* Builds a plan in that habit. *out_plan is yours; *out_worth is its worth less that of the empty
 * plan, in units (share.h). ERR_MEM. */
enum err build_plan(const struct problem *p, struct share *share, const struct build_habit *habit,
                    struct plan **out_plan, share_units *out_worth, struct err_text *why);

#endif
