/* currency.c - decimals of currencies, ISO 4217. */
#include "daemon/calc/currency.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const struct {
    const char *currencies;
    int decimals;
} odd[] = {
    {"BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX UYI VND VUV XAF XOF XPF", 0},
    {"BHD IQD JOD KWD LYD OMR TND", 3},
    {"CLF UYW", 4},
};

int
calc_currency_decimals(const char *currency)
{
    for (size_t i = 0; i < sizeof odd / sizeof odd[0] && strlen(currency) == 3; i++)
        if (strstr(odd[i].currencies, currency) != NULL)
            return odd[i].decimals;
    return 2;
}

const char *
calc_money_print(int64_t minor, const char *currency, char text[CALC_MONEY_TEXT])
{
    int decimals = calc_currency_decimals(currency);
    uint64_t size = minor < 0 ? 0 - (uint64_t)minor : (uint64_t)minor, unit = 1;
    const char *sign = minor < 0 ? "-" : "";
    for (int i = 0; i < decimals; i++)
        unit *= 10;
    if (decimals == 0)
        (void)snprintf(text, CALC_MONEY_TEXT, "%.3s %s%llu", currency, sign,
                       (unsigned long long)size);
    else
        (void)snprintf(text, CALC_MONEY_TEXT, "%.3s %s%llu.%0*llu", currency, sign,
                       (unsigned long long)(size / unit), decimals,
                       (unsigned long long)(size % unit));
    return text;
}
