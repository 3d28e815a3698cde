/* emission_sum.c - sums of masses times factors of several units, exact until they are printed. */
#include "daemon/report/part.h"

/* What kg x value is to be divided by for kg CO2e. Short and long ton: 2000 and 2240 pounds of
 * 0.45359237 kg, UCUM. */
static struct decimal
divisor_of(enum emission_unit unit)
{
    switch (unit) {
    case EMISSION_PER_SHORT_TON:
        return decimal_of(90718474, 8);
    case EMISSION_PER_LONG_TON:
        return decimal_of(10160469088, 10);
    default:
        return decimal_of(1000, 0);
    }
}

enum err
emission_sum_add(struct emission_sum *sum, int64_t mass_g, const char *value,
                 enum emission_unit unit, struct err_text *why)
{
    struct decimal number, kg = decimal_of(mass_g, 3), product;
    enum err e = decimal_parse(value, &number, why);
    if (e == ERR_OK)
        e = decimal_multiply(&kg, &number, &product, why);
    if (e != ERR_OK)
        return e;
    sum->any[unit] = true;
    return decimal_add(&sum->per[unit], &product, &sum->per[unit], why);
}

enum err
emission_per_t(const char *value, enum emission_unit unit, char room[NUMBER_TEXT],
               struct err_text *why)
{
    struct decimal number, thousand = decimal_of(1000, 0), divisor = divisor_of(unit), kg;
    enum err e = decimal_parse(value, &number, why);
    if (e != ERR_OK)
        return e;
    if (unit == EMISSION_PER_T) {
        (void)number_exact(&number, room);
        return ERR_OK;
    }
    e = decimal_multiply(&number, &thousand, &kg, why);
    return e == ERR_OK ? number_quotient(&kg, &divisor, room, why) : e;
}

/* Adds per / divisor to top / bottom. */
static enum err
add_quotient(const struct emission_sum *sum, enum emission_unit unit, struct decimal *top,
             struct decimal *bottom)
{
    struct decimal divisor = divisor_of(unit), left, right;
    enum err e = decimal_multiply(top, &divisor, &left, NULL);
    if (e == ERR_OK)
        e = decimal_multiply(&sum->per[unit], bottom, &right, NULL);
    if (e == ERR_OK)
        e = decimal_add(&left, &right, top, NULL);
    return e == ERR_OK ? decimal_multiply(bottom, &divisor, bottom, NULL) : e;
}

/* All on one line, which may take more than 38 digits. */
static enum err
fraction_of(const struct emission_sum *sum, struct decimal *top, struct decimal *bottom)
{
    enum err e = ERR_OK;
    *top = decimal_of(0, 0);
    *bottom = decimal_of(1, 0);
    for (int unit = EMISSION_UNITS - 1; e == ERR_OK && unit >= 0; unit--)
        if (sum->any[unit] && sum->per[unit].mantissa != 0) /* fewer digits on the way */
            e = add_quotient(sum, (enum emission_unit)unit, top, bottom);
    return e;
}

/* Where it does: each unit to 12 decimals, then their sum to `places`. */
static enum err
print_apart(const struct emission_sum *sum, int places, char room[NUMBER_TEXT],
            struct err_text *why)
{
    struct decimal all = decimal_of(0, 0), part;
    enum err e = ERR_OK;
    for (int unit = 0; e == ERR_OK && unit < EMISSION_UNITS; unit++) {
        struct decimal divisor = divisor_of((enum emission_unit)unit);
        e = decimal_divide(&sum->per[unit], &divisor, 12, &part, why);
        if (e == ERR_OK)
            e = decimal_add(&all, &part, &all, why);
    }
    if (e == ERR_OK)
        (void)decimal_print_places(&all, places, room);
    return e;
}

/* E3: one rounding for the sum of all lines. */
enum err
emission_print(const struct emission_sum *sum, char room[NUMBER_TEXT], struct err_text *why)
{
    struct decimal top, bottom;
    enum err e = fraction_of(sum, &top, &bottom);
    if (e == ERR_OK)
        e = number_quotient(&top, &bottom, room, NULL);
    return e == ERR_OK ? ERR_OK : print_apart(sum, 6, room, why);
}

enum err
emission_brief(const struct emission_sum *sum, char room[NUMBER_TEXT], struct err_text *why)
{
    struct decimal top, bottom, quotient;
    enum err e = fraction_of(sum, &top, &bottom);
    if (e == ERR_OK)
        e = decimal_divide(&top, &bottom, 3, &quotient, NULL);
    if (e != ERR_OK)
        return print_apart(sum, 3, room, why);
    (void)decimal_print_places(&quotient, 3, room);
    return ERR_OK;
}
