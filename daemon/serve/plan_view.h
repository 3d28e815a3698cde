/* plan_view.h - a plan by days and in words' reach: what to thaw, mix, bottle and fetch.
 */
#ifndef DAEMON_SERVE_PLAN_VIEW_H
#define DAEMON_SERVE_PLAN_VIEW_H

#include <jansson.h>
#include "daemon/plan/check.h"

/* {"days": [{day, thaw[], mix[], straining, bottle[], van[]}], "lost": [], "worth": {}}
 * with dates from `today` on. `plan` keeps all rules (`result` says so). Yours; NULL: no memory. */
json_t *plan_view(const struct problem *p, const struct plan *plan,
                  const struct check_result *result, int32_t today);

#endif
