/* args.h - reads name=value words against the table of a WHAT. */
#ifndef CLIENT_CALC_ARGS_H
#define CLIENT_CALC_ARGS_H

#include "client/calc/run.h"

/* Takes the words after WHAT. First the line as a whole (unknown names, a name
 * twice, no "="), then values in the table's order (readable, in range, required
 * ones there). False: run->failure is filled. `name` of an unknown word is kept in
 * `spare`, which must live as long as the failure. */
bool calc_read_args(struct calc_run *run, int argc, char **argv, char spare[128]);

/* "0 to 100 (% vol)", "YYYY-MM-DD", "slab, cylinder or sphere": what an argument
 * takes. Returns `text`. */
const char *calc_arg_want(const struct calc_arg *arg, char text[256]);

#endif
