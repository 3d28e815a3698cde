/* Sums of quotients without rounding. Numbers worked out by hand; no source beyond arithmetic. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include "daemon/report/fraction.h"

static int64_t
rounded(const struct fraction *f)
{
    int64_t whole = -1;
    cr_assert(fraction_round(f, &whole));
    return whole;
}

Test(fraction, one_quotient_is_rounded_half_away_from_zero)
{
    static const struct {
        int64_t a, b, c, want;
    } rows[] = {
        {0, 0, 1, 0},
        {7, 1, 1, 7},
        {1, 1, 2, 1},              /* 0.5 */
        {3, 1, 2, 2},              /* 1.5 */
        {1, 4999999, 10000000, 0}, /* 0.4999999 */
        {24873, 1250, 70000, 444}, /* 444.160... */
        {1000000000, 1000000000000, 1000000000000, 1000000000},
        {1000000000, 1000000000, 3, 333333333333333333}, /* ...333.3 */
        {4000000000, 1000000000, 1, 4000000000000000000},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct fraction f;
        fraction_init(&f);
        fraction_add(&f, rows[i].a, rows[i].b, rows[i].c);
        cr_expect(eq(i64, rounded(&f), rows[i].want), "row %zu", i);
    }
}

Test(fraction, three_thirds_are_one_and_a_half_of_three_sixths_is_a_quarter)
{
    struct fraction f;
    fraction_init(&f);
    for (int i = 0; i < 3; i++)
        fraction_add(&f, 1, 1, 3);
    fraction_scale(&f, 1000000007, 1);
    cr_expect(eq(i64, rounded(&f), 1000000007));
    fraction_init(&f);
    fraction_add(&f, 1, 1, 6);
    fraction_add(&f, 2, 1, 6);
    fraction_scale(&f, 1, 2);
    fraction_scale(&f, 100, 1);
    cr_expect(eq(i64, rounded(&f), 25));
}

/* 1/2 + 1/3 + 1/7 + 1/43 + 1/1807 + 1/3263443 is 1 less 1 / 10650056950806 (Sylvester's sequence):
 * times that plus a half the exact result ends in .5 less 1, which doubles would not show. */
Test(fraction, a_sum_just_below_a_half_is_not_rounded_up)
{
    static const int64_t parts[] = {2, 3, 7, 43, 1807, 3263443};
    struct fraction f;
    int64_t whole = 0;
    fraction_init(&f);
    for (size_t i = 0; i < 6; i++)
        fraction_add(&f, 1, 1, parts[i]);
    struct fraction g = f;
    fraction_add(&g, 1, 1, 2);
    cr_expect(eq(i64, rounded(&g), 1)); /* 1.4999... */
    fraction_add(&g, 1, 1, 10650056950806);
    cr_expect(eq(i64, rounded(&g), 2)); /* 1.5 */
    fraction_scale(&f, 10650056950806, 1);
    cr_assert(fraction_round(&f, &whole));
    cr_expect(eq(i64, whole, 10650056950805));
}

Test(fraction, fractions_add_up_in_any_order)
{
    struct fraction a, b, c;
    fraction_init(&a);
    fraction_init(&b);
    fraction_add(&a, 24873, 1250, 70001);
    fraction_add(&b, 99, 1234567, 24999);
    c = a;
    fraction_sum(&c, &b);
    fraction_sum(&b, &a);
    cr_expect(eq(i64, rounded(&b), rounded(&c)));
    cr_expect(eq(i64, rounded(&c), 444 + 4889)); /* 444.153 + 4889.085 */
}

Test(fraction, thirty_of_the_widest_quotients_fit_and_what_does_not_says_so)
{
    struct fraction f;
    int64_t whole = 0;
    fraction_init(&f);
    for (int i = 0; i < 30; i++)
        fraction_add(&f, 1000000000, 1000000000, 1000000000 - i);
    cr_expect(fraction_round(&f, &whole));
    cr_expect(ge(i64, whole, 30000000000));
    for (int i = 30; i < 2000; i++)
        fraction_add(&f, 1000000000, 1000000000, 1000000000 - i);
    cr_expect(not(fraction_round(&f, &whole)));
    fraction_init(&f);
    fraction_add(&f, 5000000000, 1000000000, 1);
    cr_expect(not(fraction_round(&f, &whole)), "over 2^62");
}
