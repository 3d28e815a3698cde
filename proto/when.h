/* when.h - instants, days and months as numbers and as text. No time zones here: daemon/base/zone.h.
 */
#ifndef PROTO_WHEN_H
#define PROTO_WHEN_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* 9999-12-30T23:59:59.999Z (its year has four digits in every offset), 1900-01-01, 9999-12-31: the
 * last instant and the days we know. */
#define WHEN_MOST_MS INT64_C(253402214399999)
enum {
    DAY_LEAST = -25567,
    DAY_MOST = 2932896
};
enum {
    WHEN_TEXT = 40,
    DAY_TEXT = 16,
    MONTH_TEXT = 8
}; /* sizes with the final NUL */

/* RFC 3339 with `T`, seconds, an optional fraction (1-9 digits, kept to the millisecond) and `Z`
 * or +hh:mm. false: not such a text, or a day or second (23:59:60 too) that
 * does not exist. Instants from 1970-01-01 UTC to WHEN_MOST_MS.
 * *out_offset_min may be NULL. */
bool when_parse(const char *text, int64_t *out_ms, int *out_offset_min);

/* "2026-03-03T21:40:00+00:00"; the fraction only when it is not 0. Returns `out`. */
char *when_print(int64_t ms, int offset_min, char out[WHEN_TEXT]);

/* Days since 1970-01-01. false: not YYYY-MM-DD, or no such day. Years 1900 to 9999. */
bool day_parse(const char *text, int32_t *out_day);
char *day_print(int32_t day, char out[DAY_TEXT]);
int32_t day_make(int year, int month, int day_of_month); /* proleptic Gregorian */
void day_split(int32_t day, int *out_year, int *out_month, int *out_day_of_month);
int day_weekday(int32_t day); /* 1 Monday .. 7 Sunday */

/* Months since year 0: year * 12 + month - 1. */
bool month_parse(const char *text, int32_t *out_month);
char *month_print(int32_t month, char out[MONTH_TEXT]);
int32_t month_of_day(int32_t day);
int32_t month_first_day(int32_t month);
int32_t month_last_day(int32_t month);

#endif
