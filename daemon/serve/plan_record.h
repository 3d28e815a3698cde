/* plan_record.h - plans in the hub's log: numbered parts, and pick-up lists of what is published.
 *
 * A draft has the next number; when it is published it keeps it, and its parts are written again
 * as published. The first part of each is a single byte, so that the list of plans is quick to read.
 */
#ifndef DAEMON_SERVE_PLAN_RECORD_H
#define DAEMON_SERVE_PLAN_RECORD_H

#include <jansson.h>
#include "daemon/plan/plan.h"
#include "daemon/serve/call.h"

/* The numbers of the newest; 0: there is none. */
struct plan_numbers {
    int64_t last; /* the highest, draft or not */
    int64_t published;
    int64_t draft; /* newer than what is published, else 0 */
};

enum err plan_record_numbers(struct call *call, struct plan_numbers *out_numbers,
                             struct err_text *why);

/* What is kept of a plan, with "number", "day" and "state" ("draft" or "published") in it; of a
 * number that was published: the published one. *out_view is yours. ERR_NOT_FOUND: there is no
 * such plan, or parts are missing. */
enum err plan_record_get(struct call *call, int64_t number, json_t **out_view,
                         struct err_text *why);

/* The newest published plan. *out_view is yours. ERR_NOT_FOUND. */
enum err plan_record_read(struct call *call, json_t **out_view, struct err_text *why);

/* Keeps `view` as the next draft; its number, day and state are added to it. One transaction.
 * ERR_DENIED: the caller may not write plans. */
enum err plan_record_draft(struct call *call, int32_t today, json_t *view, struct err_text *why);

/* Writes `view` (its "number" says which) as published, and a pick-up list a run and café for the
 * tubs that are there. One transaction. ERR_DENIED. */
enum err plan_record_publish(struct call *call, int32_t today, const struct problem *problem,
                             const struct plan *plan, json_t *view, struct err_text *why);

#endif
