/* plan_detail.h - what people want beside a plan's days: which batch holds which station and from
 * when to when, each run's cafés and when it departs, the zone, and the instant of the plan.
 */
#ifndef DAEMON_SERVE_PLAN_DETAIL_H
#define DAEMON_SERVE_PLAN_DETAIL_H

#include <jansson.h>
#include "daemon/plan/plan.h"
#include "daemon/serve/call.h"

/* Adds to the view of a plan (plan_view.h) that keeps all rules:
 *   "strain" [{station, recipe, product, alcoholic, batch, from, ready, grounds_g, ml}], by day;
 *            `batch` is null for those to come, `ready` when it is after the calendar's end
 *   "stations" [code], in the order in which they are shown
 *   in each ride of a day's "van": "departs" (instant, null: nobody said) and
 *            "cafes" [{site, tubs, grounds_g}]
 *   "site" (the kitchen), "zone", "made" (instant).
 * The ledger has caught up. */
enum err plan_detail(struct call *call, const struct problem *p, const struct plan *plan,
                     int32_t today, json_t *view, struct err_text *why);

/* When the run departs on that day by this site's clock; null: nobody wrote it down, or the clocks
 * leave that time out. Yours. */
json_t *plan_departure(const struct call *call, const char *run, int32_t day);

#endif
