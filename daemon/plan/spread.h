/* spread.h - from kilograms of classes to whole tubs, day by day.
 *
 * docs/planning.md, section 6: within what the class programme takes for a day, the oldest tubs
 * first; each vessel closed by swaps; after each day the programme is solved again with that day
 * as it really came out.
 */
#ifndef DAEMON_PLAN_SPREAD_H
#define DAEMON_PLAN_SPREAD_H

#include "daemon/plan/draft.h"
#include "daemon/plan/model.h"

/* `x` is a solution of the model (with all slots and classes): its whole numbers are kept, the rest
 * is found anew. `again` false: without solving again. *out_draft is yours: draft_done(). */
enum err spread_solution(const struct model *m, const double *x, bool again,
                         struct draft *out_draft, struct err_text *why);

#endif
