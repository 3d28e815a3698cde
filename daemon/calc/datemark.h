/* datemark.h - by when a cold food is used or discarded.
 *
 * FDA Food Code 3-501.17 and 3-501.18: the day of preparation is day 1, the
 * earliest-dated ingredient sets the date, freezing stops the count and does not
 * start it again. The number of days is the site's own (7 in the Code). Always
 * "by the end of" the day. A local code comes first.
 *
 * Days are numbers, 0 on 1970-01-01 (proleptic Gregorian calendar).
 */
#ifndef DAEMON_CALC_DATEMARK_H
#define DAEMON_CALC_DATEMARK_H

#include <stdbool.h>
#include "proto/err.h"

#define CALC_NO_DAY (-2147483647 - 1)

struct calc_datemark_in {
    int made;
    int oldest_ingredient; /* CALC_NO_DAY: none is older */
    int frozen, thawed;    /* CALC_NO_DAY: not, or not yet; one freezing only */
    int days;              /* 1 .. 365 */
};

struct calc_datemark {
    int discard_by; /* CALC_NO_DAY while it is frozen */
    int days_left;  /* from the day of thawing, that day counted; -1: never frozen */
    bool used_up;   /* all days were used before freezing */
};

/* By hand (worked-examples.csv WE-11): made on the 1st, frozen on the 3rd: days 1
 * and 2 are used; thawed on the 10th, which is day 3: by the end of the 14th.
 * ERR_INPUT: thawed without frozen, days in the wrong order, an ingredient dated
 * after the making, days out of range. */
enum err calc_datemark(const struct calc_datemark_in *in, struct calc_datemark *out,
                       struct err_text *why);

/* Reads "YYYY-MM-DD", a day that exists, years 0000 .. 9999; false otherwise. */
bool calc_day_read(const char *text, int *out_day);

/* Writes it; false (text "") outside the years 0000 .. 9999. */
bool calc_day_print(int day, char text[11]);

/* The number of a day of the calendar, unchecked. */
int calc_day_of(int year, int month, int day);

/* Days of a month, 28 .. 31. */
int calc_days_in_month(int year, int month);

#endif
