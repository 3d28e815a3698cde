/* solve.h - the optimiser: from a first plan to a better one, with a bound that is proven.
 *
 * docs/planning.md, sections 5 and 6. Runs in a program of its own (solve_main.c), because solvers
 * may hang, print or die; the rest of the product speaks to it by child.h.
 */
#ifndef DAEMON_PLAN_SOLVE_H
#define DAEMON_PLAN_SOLVE_H

#include "daemon/plan/check.h"

/* Called after each step that found something: a feasible plan and its exact worth. `bound` is in
 * units: no plan is worth more. The plan is lent for the call. */
typedef enum err solve_tell(void *to, const struct plan *plan, check_units worth, check_units bound,
                            struct err_text *why);

/* Improves on `first`, a feasible plan. `effort` 1 and more; 0: an answer soon (a plan made again
 * after news). The same problem, first plan and
 * effort tell the same plans, always. ERR_MEM; what `tell` returns. */
enum err solve_problem(const struct problem *p, const struct plan *first, int effort,
                       solve_tell *tell, void *to, struct err_text *why);

#endif
