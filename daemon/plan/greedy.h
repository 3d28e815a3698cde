/* greedy.h - the constructive plan: oldest date first, vessel by vessel.
 *
 * Always at hand, breaks no rule, needs no solver. It tries a handful of habits (which vessel
 * next, van or no van) and keeps the best, then leaves out van runs and batches that do not earn
 * what they cost. It is the plan that stands when the optimiser fails, and where that one starts.
 */
#ifndef DAEMON_PLAN_GREEDY_H
#define DAEMON_PLAN_GREEDY_H

#include "daemon/plan/plan.h"

/* *out_plan is yours; `p` is settled. ERR_MEM. The same problem gives the same plan, always. */
enum err greedy_plan(const struct problem *p, struct plan **out_plan, struct err_text *why);

#endif
