/* calendar.h - a plan as iCalendar (RFC 5545), by libical.
 */
#ifndef CLIENT_CALENDAR_CALENDAR_H
#define CLIENT_CALENDAR_CALENDAR_H

#include <jansson.h>
#include "proto/err.h"

/* An event for each thing to do (view_events.h). What has no time of day is a whole day; a run
 * that has one is an instant in UTC, from the kitchen's own zone. UID is the event's key and the
 * kitchen's code, SEQUENCE the plan's number, DTSTAMP the instant of the plan: the same plan gives
 * the same bytes, and a newer one moves the events that it still has.
 * *out_text is yours. ERR_MEM; ERR_INPUT: not a plan. */
enum err calendar_print(const json_t *view, char **out_text, struct err_text *why);

#endif
