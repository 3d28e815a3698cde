/* number.h - numbers of a report as text: one rounding, half away from zero, at the very end.
 *
 * Report rules, part 4. Texts go into `room` and are returned; NULL stands for "null".
 */
#ifndef DAEMON_REPORT_NUMBER_H
#define DAEMON_REPORT_NUMBER_H

#include <stdbool.h>
#include <stdint.h>
#include "proto/decimal.h"
#include "proto/err.h"

enum {
    NUMBER_TEXT = DECIMAL_TEXT_MAX
};

/* Grams as kg with exactly 3 decimals: -83 is "-0.083". */
const char *number_kg(int64_t g, char room[NUMBER_TEXT]);
/* Whole numbers: g, mL, minor units, counts. */
const char *number_whole(int64_t value, char room[NUMBER_TEXT]);
/* value / 10^places, places 0 .. 18; `grouped`: a comma before each third digit of the whole. */
const char *number_fixed(int64_t value, int places, bool grouped, char room[NUMBER_TEXT]);
/* 100 part / whole with 4 decimals; NULL when the whole is 0. */
const char *number_pct(int64_t part, int64_t whole, char room[NUMBER_TEXT]);
/* The same cut towards zero, not rounded (C1). */
const char *number_pct_cut(int64_t part, int64_t whole, char room[NUMBER_TEXT]);
/* All digits, no zeros at the end. */
const char *number_exact(const struct decimal *value, char room[NUMBER_TEXT]);
/* a / b: all digits where the quotient ends, else exactly 6 decimals. ERR_INPUT: over 38 digits. */
enum err number_quotient(const struct decimal *a, const struct decimal *b, char room[NUMBER_TEXT],
                         struct err_text *why);
/* An estimate to 1 decimal, never "-0.0". */
const char *number_tenth(double value, char room[NUMBER_TEXT]);

#endif
