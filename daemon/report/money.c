/* money.c - see money.h. */
#include "daemon/report/money.h"

#include <stdio.h>
#include <string.h>
#include "daemon/report/number.h"

static const struct {
    int exponent;
    const char *currencies;
} exponents[] = {
    {0, "BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX UYI VND VUV XAF XOF XPF"},
    {3, "BHD IQD JOD KWD LYD OMR TND"},
    {4, "CLF UYW"},
};

int
money_exponent(const char *currency)
{
    for (size_t i = 0; i < sizeof exponents / sizeof exponents[0]; i++)
        if (strlen(currency) == 3 && strstr(exponents[i].currencies, currency) != NULL)
            return exponents[i].exponent;
    return 2;
}

const char *
money_print(int64_t minor, const char *currency, char room[MONEY_TEXT])
{
    char number[NUMBER_TEXT];
    (void)snprintf(room, MONEY_TEXT, "%.3s%s%.40s", currency, currency[0] != '\0' ? " " : "",
                   number_fixed(minor, money_exponent(currency), true, number));
    return room;
}
