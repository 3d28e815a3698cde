/* Forms of numbers: report rules, part 4. Worked by hand. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include "daemon/report/number.h"

Test(number, N1_kg_have_exactly_three_decimals)
{
    char room[NUMBER_TEXT];
    cr_expect(eq(str, (char *)number_kg(0, room), "0.000"));
    cr_expect(eq(str, (char *)number_kg(-83, room), "-0.083"));
    cr_expect(eq(str, (char *)number_kg(INT64_MAX, room), "9223372036854775.807"));
}

Test(number, N3_N4_percentages_are_rounded_half_away_from_zero)
{
    static const struct {
        int64_t part, whole;
        const char *rounded, *cut;
    } rows[] = {
        {1, 3, "33.3333", "33.3333"},
        {2, 3, "66.6667", "66.6666"},
        {-2, 3, "-66.6667", "-66.6666"},
        {1, 2000000, "0.0001", "0.0000"},
        {-1, 2000000, "-0.0001", "0.0000"},
        {1, 2000001, "0.0000", "0.0000"},
        {5, -8, "-62.5000", "-62.5000"},
        {0, 7, "0.0000", "0.0000"},
        {999999, 1000000, "99.9999", "99.9999"},
        {54, 55, "98.1818", "98.1818"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        char room[NUMBER_TEXT];
        cr_expect(eq(str, (char *)number_pct(rows[i].part, rows[i].whole, room),
                     (char *)rows[i].rounded));
        cr_expect(eq(str, (char *)number_pct_cut(rows[i].part, rows[i].whole, room),
                     (char *)rows[i].cut));
    }
}

Test(number, N5_a_share_of_nothing_does_not_exist)
{
    char room[NUMBER_TEXT];
    cr_expect(eq(ptr, (void *)number_pct(1, 0, room), NULL));
    cr_expect(eq(ptr, (void *)number_pct_cut(0, 0, room), NULL));
}

Test(number, N2_a_quotient_has_all_its_digits_or_six_decimals)
{
    static const struct {
        int64_t a, b;
        const char *text;
    } rows[] = {
        {1, 8, "0.125"},
        {1, 3, "0.333333"},
        {2, 3, "0.666667"},
        {5, 1, "5"},
        {1, 1024, "0.0009765625"},
        {-1, 6, "-0.166667"},
        {20000000, 6, "3333333.333333"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        char room[NUMBER_TEXT];
        struct decimal a = decimal_of(rows[i].a, 0), b = decimal_of(rows[i].b, 0);
        cr_assert(eq(int, number_quotient(&a, &b, room, NULL), ERR_OK));
        cr_expect(eq(str, room, (char *)rows[i].text));
    }
}

/* WE-04 and WE-05: 1 short ton is 0.90718474 t exactly; 0.67 t in one are 738.548578 kg in a t. */
Test(number, a_short_ton_as_in_WE_05)
{
    char room[NUMBER_TEXT];
    struct decimal kg = decimal_of(670, 0), ton = decimal_of(90718474, 8);
    cr_assert(eq(int, number_quotient(&kg, &ton, room, NULL), ERR_OK));
    cr_expect(eq(str, room, "738.548578"));
}

/* WE-06: 320 lb at 0.11 t CO2e a short ton: 0.16 x 0.11 t = 17.6 kg. */
Test(number, pounds_as_in_WE_06)
{
    char room[NUMBER_TEXT];
    struct decimal kg = decimal_of(1451495584, 7), value = decimal_of(11, 2); /* 320 lb */
    struct decimal ton = decimal_of(90718474, 8), product;
    cr_assert(eq(int, decimal_multiply(&kg, &value, &product, NULL), ERR_OK));
    cr_assert(eq(int, number_quotient(&product, &ton, room, NULL), ERR_OK));
    cr_expect(eq(str, room, "17.6"));
}

Test(number, tenths_are_never_minus_nothing)
{
    char room[NUMBER_TEXT];
    cr_expect(eq(str, (char *)number_tenth(-0.04, room), "0.0"));
    cr_expect(eq(str, (char *)number_tenth(-0.06, room), "-0.1"));
    cr_expect(eq(str, (char *)number_tenth(8505.94, room), "8505.9"));
}
