/* carry.h - an older plan brought over to a problem of today: as much of it as still keeps the
 * rules.
 *
 * Tubs, runs, recipes, orders and products are the same when their ids are; days move by `shift`.
 * What is gone is left out, vessels are closed again from what stands in the kitchen, product is
 * shared out anew where it must be. What nothing has touched stays as it was, to the millilitre.
 */
#ifndef DAEMON_PLAN_CARRY_H
#define DAEMON_PLAN_CARRY_H

#include "daemon/plan/plan.h"

/* `plan` is a plan about `old`, made `shift` days ago (0 or more). *out_plan is about `now`,
 * yours, and keeps all rules; NULL with ERR_OK: nothing of it does. ERR_MEM. */
enum err carry_plan(const struct problem *old, const struct plan *plan, int shift,
                    const struct problem *now, struct plan **out_plan, struct err_text *why);

/* Its lines as they are, without what is past or gone; it may break rules. *out_plan is yours. */
enum err carry_same(const struct problem *old, const struct plan *plan, int shift,
                    const struct problem *now, struct plan **out_plan, struct err_text *why);

#endif
