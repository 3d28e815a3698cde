/* money.h - minor units as people read them: "GBP 8,877.00", "JPY 1,200", "KWD 1.250".
 *
 * Exponents as in ISO 4217, from memory of the published list: currencies that stand in no row here
 * have two decimals.
 */
#ifndef DAEMON_REPORT_MONEY_H
#define DAEMON_REPORT_MONEY_H

#include <stdint.h>

enum {
    MONEY_TEXT = 48
};

/* Decimals of a currency: 0 .. 4. */
int money_exponent(const char *currency);

/* `currency` "": the number alone. Any `minor`; returns `room`. */
const char *money_print(int64_t minor, const char *currency, char room[MONEY_TEXT]);

#endif
