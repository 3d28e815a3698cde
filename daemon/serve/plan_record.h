/* plan_record.h - a published plan in the hub's log: numbered parts, and pick-up lists.
 */
#ifndef DAEMON_SERVE_PLAN_RECORD_H
#define DAEMON_SERVE_PLAN_RECORD_H

#include <jansson.h>
#include "daemon/plan/plan.h"
#include "daemon/serve/call.h"

/* Writes the plan under the next number, which is added to `view` (with its day), and a pick-up
 * list a run and café for the tubs that are there. One transaction.
 * ERR_DENIED: the caller may not publish plans. */
enum err plan_record_write(struct call *call, int32_t today, const struct problem *problem,
                           const struct plan *plan, json_t *view, struct err_text *why);

/* The newest plan of which all parts are there. *out_view is yours. ERR_NOT_FOUND. */
enum err plan_record_read(struct call *call, json_t **out_view, struct err_text *why);

#endif
