/* plan_solve.h - `knockbox plan solve PROBLEM.json --out PLAN.json [--effort N]`.
 *
 * Reads a planning problem, writes a plan that keeps all its rules, and says what it is worth and
 * how much more any plan could be worth at most. Needs no daemon.
 */
#ifndef CLIENT_PLAN_PLAN_SOLVE_H
#define CLIENT_PLAN_PLAN_SOLVE_H

#include <stdbool.h>
#include <stdio.h>

/* argv[0 .. argc) is what stands after `plan solve`, and may hold --json. Prints objective_cents,
 * bound_cents, gap_pct and seconds on `out`, as one JSON object with `json`, and what went wrong
 * on `err`. Returns the exit status: 0 done, 1 failed, 2 misuse, 3 the problem was refused. When
 * the optimiser fails the constructive plan is written, `err` says so, and the status is 0. */
int plan_solve_command(int argc, char **argv, bool json, FILE *out, FILE *err);

#endif
