/* amount.h - weights and clock times as people type them.
 */
#ifndef CLIENT_AMOUNT_H
#define CLIENT_AMOUNT_H

#include <stdbool.h>
#include <stdint.h>
#include "daemon/base/zone.h"
#include "proto/err.h"

/* "3.62 kg", "3,62kg", "3620 g", "3620" (grams), "3.62" (kilograms, because of the decimals);
 * rounded to a gram, half up. A whole number under 100 without a unit could be either and is
 * asked again. ERR_INPUT: none of these, or over 10^9 g. */
enum err amount_mass(const char *field, const char *text, int64_t *out_g, struct err_text *why);

/* The business day that a clock time belongs to. */
struct amount_day {
    const struct zone *zone;
    int32_t day;   /* business day */
    int start_min; /* minute of the day on which it begins; before it is the day after */
    int64_t now_ms;
};

/* "17:40", "17.40", "1740", "now", or "2026-03-03 17:40". A clock time alone is that of the
 * business day. ERR_INPUT: no time, a time that the clocks leave out, or one to come. */
enum err amount_time(const char *field, const char *text, const struct amount_day *day,
                     int64_t *out_ms, struct err_text *why);

/* RFC 3339 at the zone; "17:40". */
char *amount_print(const struct zone *zone, int64_t ms, char out[40]);
char *amount_clock(const struct zone *zone, int64_t ms, char out[8]);

#endif
