/* decimal.h - exact decimal numbers: temperatures, factors, masses times factors.
 *
 * A value is mantissa / 10^scale. What people type is kept digit for digit, so
 * 4.9999 is under 5 and a product has all its digits; rounding happens at one
 * named place. Up to 38 digits; more is ERR_INPUT, never a silent rounding.
 */
#ifndef PROTO_DECIMAL_H
#define PROTO_DECIMAL_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include "proto/err.h"

__extension__ typedef __int128 decimal_int;

/* |mantissa| < 10^38, |scale| <= DECIMAL_SCALE_MOST; no zeros at the mantissa's
 * end, so equal values have equal members; zero is {0, 0}. `scale` is below 0
 * for 5e3 = {5, -3}. A struct filled with zeros is 0. */
struct decimal {
    decimal_int mantissa;
    int scale;
};

enum {
    DECIMAL_SCALE_MOST = 400,
    DECIMAL_TEXT_MAX = 448
};

/* Text of the form -?[0-9]+(\.[0-9]+)?([eE][-+]?[0-9]+)? and nothing else: no
 * blank, comma, unit, "nan" or "inf". Smaller than a double can hold (1e-400)
 * is 0. ERR_INPUT: another form, over 1e308 or more than 38 digits. */
enum err decimal_parse(const char *text, struct decimal *out_value, struct err_text *why);

/* Is `text` of that form? Says nothing about its size. */
bool decimal_is_number(const char *text);

/* unscaled / 10^scale: decimal_of(4990, 3) is 4.99. scale: 0 .. 38. */
struct decimal decimal_of(int64_t unscaled, int scale);

/* -1, 0 or 1; exact whatever the sizes. */
int decimal_compare(const struct decimal *a, const struct decimal *b);

/* Exact. ERR_INPUT: the result has more than 38 digits. */
enum err decimal_add(const struct decimal *a, const struct decimal *b, struct decimal *out_sum,
                     struct err_text *why);
enum err decimal_subtract(const struct decimal *a, const struct decimal *b,
                          struct decimal *out_difference, struct err_text *why);
enum err decimal_multiply(const struct decimal *a, const struct decimal *b,
                          struct decimal *out_product, struct err_text *why);

/* a / b: exact where the quotient ends, else rounded half away from zero to
 * `places` decimals (0 .. 18). ERR_INPUT: b is 0, or more than 38 digits. */
enum err decimal_divide(const struct decimal *a, const struct decimal *b, int places,
                        struct decimal *out_quotient, struct err_text *why);

/* Half away from zero to `places` decimals (0 .. 38): -2.5 to 0 places is -3. */
struct decimal decimal_round(const struct decimal *a, int places);

/* Cut (towards zero) to `places` decimals (0 .. 38). */
struct decimal decimal_cut(const struct decimal *a, int places);

/* All digits, no exponent, no zeros at the end: "2293.18647275", "5000", "0".
 * Returns `text`, which holds DECIMAL_TEXT_MAX bytes. */
const char *decimal_print(const struct decimal *a, char text[DECIMAL_TEXT_MAX]);

/* Rounded to exactly `places` decimals (0 .. 38), zeros kept: "12.500". */
const char *decimal_print_places(const struct decimal *a, int places, char text[DECIMAL_TEXT_MAX]);

/* The nearest double; for estimates and charts, never for a comparison. */
double decimal_double(const struct decimal *a);

#endif
