/* calc.h - the bench calculator: knockbox calc WHAT name=value ... [--json]
 *
 * Needs no daemon. Rules and tables: docs/calc.md.
 */
#ifndef CLIENT_CALC_CALC_H
#define CLIENT_CALC_CALC_H

#include <stdbool.h>
#include <stdio.h>

/* argv[0 .. argc) is WHAT name=value ..., and may hold --help and --json. The
 * answer goes to `out`, what is wrong to `err`. Returns the exit status: 0; 2 the
 * command line makes no sense; 3 a value was refused; 1 out of memory, or `out`
 * did not take it. */
int calc_command(int argc, char **argv, bool json, FILE *out, FILE *err);

#endif
