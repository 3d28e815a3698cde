/* plan_file.h - a plan as a JSON file. The form: docs/planning.md, section 8. */
#ifndef DAEMON_PLAN_PLAN_FILE_H
#define DAEMON_PLAN_PLAN_FILE_H

#include <stdio.h>

#include "daemon/plan/plan.h"

/* Reads a plan about `p`. *out_plan is yours. Other keys, missing keys and numbers that are not
 * whole make it unreadable; names that are not in the problem do not (the checker reports them).
 * ERR_IO; ERR_INPUT. */
enum err plan_read(const char *path, const struct problem *p, struct plan **out_plan,
                   struct err_text *why);
enum err plan_parse(const char *json, size_t len, const struct problem *p, struct plan **out_plan,
                    struct err_text *why);

/* Writes the plan, one line a record, in the order of the plan's lists. ERR_IO. */
enum err plan_write(const struct plan *plan, const struct problem *p, const char *path,
                    struct err_text *why);
void plan_print(const struct plan *plan, const struct problem *p, FILE *f);

#endif
