/* view_events.h - a plan as a list of things to do, which the lines of CSV, the table of the page
 * and the calendar all are made from; and the few words that all prints of a plan share.
 */
#ifndef CLIENT_PLAN_VIEW_EVENTS_H
#define CLIENT_PLAN_VIEW_EVENTS_H

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* The events of a plan's view (the daemon's answer), by day, then thaw, mix, strain, bottle, van,
 * then as the plan has them:
 *   {what, day, until, key, recipe, product, alcoholic, batch, station, run, route, departs, cafes,
 *    grounds_g, ml, tubs}; what does not fit an event is null or empty.
 * `until` is the day of bottling for "strain", null for the others. `key` is the same for the same
 * thing in every plan: "mix-2026-03-05-syrup-1-1". Yours; NULL: no memory. */
json_t *view_events(const json_t *view);

/* Of an event, a day or the view: its text, "" for none; its number, 0 for none. */
const char *view_text(const json_t *object, const char *name);
int64_t view_number(const json_t *object, const char *name);

/* First and last day of the plan; false: it has none. */
bool view_days(const json_t *view, int32_t *out_first, int32_t *out_last);

/* "Wed 4", "Wed 4 March". Return `out`. */
char *view_short_date(int32_t day, char out[32]);
char *view_date(int32_t day, char out[32]);

/* "Kitchen plan 12, Wed 4 to Tue 17 March". */
char *view_title(const json_t *view, char *out, size_t size);

/* Sentences below a plan, one by one: at most so far from the best, what is alcoholic, what to buy
 * and what is lost. Calls `say` with each; the text is lent for the call. */
typedef void view_say(void *owner, const char *text);
void view_sentences(const json_t *view, view_say *say, void *owner);

#endif
