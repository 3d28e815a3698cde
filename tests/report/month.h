/* month.h - the report of a month of a play, and what stands at a path of it.
 */
#ifndef TESTS_REPORT_MONTH_H
#define TESTS_REPORT_MONTH_H

#include <jansson.h>
#include <stdbool.h>
#include "tests/ledger/play.h"

/* The JSON print of the month as it stands; yours. Aborts on failure. */
json_t *month_json(struct play *play, const char *month);
struct report_ask;
json_t *month_asked(struct play *play, const struct report_ask *ask); /* any report; the same */
char *month_text(struct play *play, const char *month, bool people);  /* yours: JSON or words */

/* "stock.sites.kitchen.closing_kg": an element of a list is named by the first text member of its
 * object, or by its number; lent, NULL when not there. */
json_t *month_at(const json_t *report, const char *path);
/* The text there; "null", "true", "false", "-" (not there) for the rest. */
const char *month_word(const json_t *report, const char *path);

/* Is every member of `want` in `got`, with the same value? {"about","within"} is a number with a
 * tolerance. Lists are equal in length and order. Says each difference on stderr. */
bool month_same(const char *path, const json_t *want, const json_t *got);

/* All checks that hold for any month: parts are totals, a site's sum equals the whole, the check
 * sum of W6 or W10 comes to 0. Says what does not on stderr. */
bool month_adds_up(const json_t *report);

#endif
