/* sheet_text.h - texts of tables as the cells and names of a spreadsheet take them.
 */
#ifndef DAEMON_EXCHANGE_SHEET_TEXT_H
#define DAEMON_EXCHANGE_SHEET_TEXT_H

#include <stdbool.h>
#include <stddef.h>
#include <time.h>

enum {
    SHEET_NAME = 31 * 4 + 1, /* at most 31 characters */
    SHEET_NAMES_MOST = 200
};

/* Names that are taken, compared without case of A to Z. */
struct sheet_names {
    char taken[SHEET_NAMES_MOST][SHEET_NAME];
    size_t n;
};

/* A name for a sheet that is not taken, from a title; remembers it; returns `out`. */
const char *sheet_name(struct sheet_names *names, const char *title, char out[SHEET_NAME]);

/* The text without control bytes (U+FFFD in their place), cut to what a cell holds; yours, NULL:
 * out of memory. */
char *sheet_clean(const char *text);

/* "-12.340": its value and number of decimals; false: another form, or over so many digits. */
bool sheet_number(const char *text, int digits_most, double *out_value, int *out_places);

/* "2026-03-31" of the years 1900 to 9999. */
bool sheet_day(const char *text, int *out_year, int *out_month, int *out_day);

/* Seconds since 1970 at the beginning of that day; 0: no day. */
time_t sheet_seconds(const char *text);

/* Characters. */
size_t sheet_width(const char *text);

#endif
