/* currency.h - minor units of money as people read them.
 *
 * ISO 4217 (list one, from memory): most currencies have 2 decimals; the table in
 * currency.c names those that have 0, 3 or 4.
 */
#ifndef DAEMON_CALC_CURRENCY_H
#define DAEMON_CALC_CURRENCY_H

#include <stdint.h>

enum {
    CALC_MONEY_TEXT = 40
};

/* Decimals of a currency: GBP 2, JPY 0, KWD 3; 2 for one that is not known. */
int calc_currency_decimals(const char *currency);

/* "GBP 12.05", "JPY 1205", "-" as sign in front of the digits. Returns `text`. */
const char *calc_money_print(int64_t minor, const char *currency, char text[CALC_MONEY_TEXT]);

#endif
