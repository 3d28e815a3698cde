/* Exact decimals. All cases worked by hand; no outside source. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdlib.h>

#include "proto/decimal.h"

static struct decimal
read(const char *text)
{
    struct decimal d = {0, 0};
    struct err_text why = {0};
    cr_assert(decimal_parse(text, &d, &why) == ERR_OK, "%s: %s", text, why.s);
    return d;
}

static void
expect_text(struct decimal d, const char *want)
{
    char text[DECIMAL_TEXT_MAX];
    cr_assert(eq(str, (char *)decimal_print(&d, text), (char *)want));
}

Test(decimal, prints_what_it_read_without_zeros_at_the_end)
{
    static const char *const rows[][2] = {
        {"0", "0"},
        {"-0", "0"},
        {"5", "5"},
        {"5000", "5000"},
        {"-18.0", "-18"},
        {"0.50", "0.5"},
        {"1.5e3", "1500"},
        {"1.5E-3", "0.0015"},
        {"007", "7"},
        {"1e-400", "0"},
        {"12e+1", "120"},
        {"-0.05", "-0.05"},
        {"100.010", "100.01"},
        {"1e22", "10000000000000000000000"},
        {"0e999999999", "0"},
        {"1.00000000000000000000000000000000000000000000000", "1"},
        {"700.2098817534277", "700.2098817534277"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        expect_text(read(rows[i][0]), rows[i][1]);
}

Test(decimal, refuses_everything_else)
{
    static const char *const rows[] = {
        "",      "-",     "+1",  ".5",   "5.",
        "1,5",   " 1",    "1 ",  "0x10", "1_000",
        "nan",   "inf",   "1e",  "1e+",  "--1",
        "1.2.3", "1e400", "5 %", "٣",    "123456789012345678901234567890123456789",
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct decimal d = {42, 0};
        struct err_text why = {0};
        cr_assert(decimal_parse(rows[i], &d, &why) == ERR_INPUT, "%s", rows[i]);
        cr_assert(d.mantissa == 42, "%s changed the output", rows[i]);
        cr_assert(why.s[0] != '\0');
    }
}

Test(decimal, compares_exactly_whatever_the_sizes)
{
    static const struct {
        const char *a, *b;
        int want;
    } rows[] = {
        {"4.9999", "5", -1},
        {"5.0000", "5", 0},
        {"-18", "-17.9", -1},
        {"0", "-0.0", 0},
        {"1e300", "1e-300", 1},
        {"-1e300", "1", -1},
        {"0", "1e-300", -1},
        {"20.3", "20.30", 0},
        {"99999999999999999999999999999999999999", "1e38", -1},
        {"1.0000000000000000000000000000000000001", "1", 1},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct decimal a = read(rows[i].a);
        struct decimal b = read(rows[i].b);
        cr_assert(eq(int, decimal_compare(&a, &b), rows[i].want), "%s %s", rows[i].a, rows[i].b);
        cr_assert(eq(int, decimal_compare(&b, &a), -rows[i].want), "%s %s", rows[i].a, rows[i].b);
    }
}

Test(decimal, adds_multiplies_and_keeps_every_digit)
{
    struct decimal a = read("3274.678");
    struct decimal b = read("700.30886");
    struct decimal thousand = decimal_of(1000, 0);
    struct decimal r;
    cr_assert(decimal_multiply(&a, &b, &r, NULL) == ERR_OK);
    expect_text(r, "2293286.01704708");
    cr_assert(decimal_divide(&r, &thousand, 6, &r, NULL) == ERR_OK);
    expect_text(r, "2293.28601704708"); /* ends, so nothing is rounded */
    cr_assert(decimal_add(&a, &b, &r, NULL) == ERR_OK);
    expect_text(r, "3974.98686");
    cr_assert(decimal_subtract(&a, &a, &r, NULL) == ERR_OK);
    expect_text(r, "0");
}

Test(decimal, a_result_too_long_is_an_error_and_not_a_rounding)
{
    struct decimal a = read("12345678901234567890123456789");
    struct decimal r = {7, 0};
    cr_assert(decimal_multiply(&a, &a, &r, NULL) == ERR_INPUT);
    struct decimal big = read("1e200");
    struct decimal one = decimal_of(1, 0);
    cr_assert(decimal_add(&big, &one, &r, NULL) == ERR_INPUT);
    cr_assert(decimal_multiply(&big, &big, &r, NULL) == ERR_OK);
    cr_assert(decimal_multiply(&r, &big, &r, NULL) == ERR_INPUT);
}

Test(decimal, a_quotient_that_does_not_end_is_rounded_once)
{
    static const struct {
        const char *a, *b;
        int places;
        const char *want;
    } rows[] = {
        {"2", "3", 6, "0.666667"},
        {"-2", "3", 6, "-0.666667"},
        {"1", "8", 2, "0.125"},
        {"670", "0.90718474", 6, "738.548578"}, /* worked-examples.csv WE-05 */
        {"0.00001", "3", 2, "0"},
        {"5", "-4", 0, "-1.25"},
        {"1e20", "7", 3, "14285714285714285714.286"},
        {"0.0049", "7", 6, "0.0007"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct decimal a = read(rows[i].a);
        struct decimal b = read(rows[i].b);
        struct decimal r;
        cr_assert(decimal_divide(&a, &b, rows[i].places, &r, NULL) == ERR_OK);
        expect_text(r, rows[i].want);
    }
    struct decimal a = read("1");
    struct decimal zero = {0, 0};
    cr_assert(decimal_divide(&a, &zero, 6, &a, NULL) == ERR_INPUT);
}

Test(decimal, rounds_half_away_from_zero_and_cuts_towards_it)
{
    struct decimal a = read("-2.5");
    struct decimal b = read("2.4999");
    expect_text(decimal_round(&a, 0), "-3");
    expect_text(decimal_round(&b, 0), "2");
    expect_text(decimal_cut(&a, 0), "-2");
    struct decimal c = read("0.999995");
    char text[DECIMAL_TEXT_MAX];
    cr_assert(eq(str, (char *)decimal_print_places(&c, 5, text), "1.00000"));
    struct decimal d = read("1500");
    cr_assert(eq(str, (char *)decimal_print_places(&d, 3, text), "1500.000"));
    struct decimal e = read("1e-300");
    cr_assert(eq(str, (char *)decimal_print_places(&e, 3, text), "0.000"));
    expect_text(decimal_round(&e, 3), "0");
}

Test(decimal, is_near_enough_as_a_double)
{
    static const char *const rows[] = {"0", "-18.5", "1e300", "1e-300", "700.2098817534277"};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct decimal d = read(rows[i]);
        cr_assert(eq(dbl, decimal_double(&d), strtod(rows[i], NULL)));
    }
}
