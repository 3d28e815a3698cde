/* plan_diff.h - `knockbox plan diff`: what changed from one plan to another, and why.
 */
#ifndef CLIENT_PLAN_DIFF_H
#define CLIENT_PLAN_DIFF_H

#include "client/command.h"

/* The published plan and the newest draft; with one number that plan in the draft's place; with two
 * numbers those. */
enum err plan_diff(const struct given *given, struct err_text *why);

#endif
