/* Extraction, units of alcohol, dilution, label tolerance, reminders. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>

#include "daemon/calc/drink.h"
#include "daemon/calc/ethanol.h"
#include "daemon/calc/reminders.h"
#include "tests/calc/csv.h"
#include "tests/calc/near.h"

Test(drink, extraction_agrees_with_published_examples)
{
    struct csv *t = csv_reference("coffee_extraction_examples.csv");
    for (int r = 0; r < t->rows; r++)
        EXPECT_NEAR(calc_extraction_yield_pct(csv_number(t, r, "dose_g"),
                                              csv_number(t, r, "beverage_g"),
                                              csv_number(t, r, "tds_pct")),
                    csv_number(t, r, "extraction_yield_pct"), 0.05, "row %d", r);
}

static double
units_by_kind(const char *kind, double ml, double abv)
{
    struct calc_units u = calc_units_of(ml, abv, 20);
    if (strcmp(kind, "uk_unit") == 0)
        return u.uk_units;
    if (strcmp(kind, "us_standard_drink") == 0)
        return u.us_standard_drinks;
    if (strcmp(kind, "grams_ethanol") == 0)
        return u.ethanol_g;
    return u.ethanol_ml / 1000; /* lpa */
}

Test(drink, units_agree_with_the_published_examples)
{
    struct csv *t = csv_reference("alcohol_units.csv");
    for (int r = 0; r < t->rows; r++) {
        const char *kind = csv_text(t, r, "kind");
        if (strcmp(kind, "us_proof") == 0)
            continue; /* of a strength at 60 F: next test */
        EXPECT_NEAR(
            units_by_kind(kind, csv_number(t, r, "volume_ml"), csv_number(t, r, "abv_pct_vol")),
            csv_number(t, r, "result"), csv_number(t, r, "tolerance") + 1e-9, "%s %d", kind, r);
    }
}

/* calc.md rule 20. */
Test(drink, rule_20_proof_is_twice_the_strength_at_60_f_of_the_same_liquid)
{
    EXPECT_NEAR(calc_units_of(1, 40, 20).us_proof, 79.863, 0.0006, "40 %% at 20 C");
    double p = calc_ethanol_mass_fraction(20, CALC_REFERENCE_US_C);
    double abv = calc_ethanol_abv_pct(p, 20);
    EXPECT_NEAR(calc_units_of(1, abv, 20).us_proof, 40, 1e-9, "20 %% at 60 F");
    struct calc_units u = calc_units_of(568, 5, 20);
    EXPECT_NEAR(u.uk_units, 2.84, 1e-9, "ml x %% / 1000");
    EXPECT_NEAR(u.us_standard_drinks, 28.4 / 17.7441, 1e-5, "0.6 US fl oz");
    EXPECT_NEAR(u.ethanol_ml, 28.4, 1e-9, "ml");
}

/* calc.md rule 7: a warm litre holds less. */
Test(drink, rule_7_temperature_is_of_the_volumes_and_mass_is_kept)
{
    struct calc_units cold = calc_units_of(1000, 40, 5);
    struct calc_units warm = calc_units_of(1000, 40, 30);
    cr_assert(warm.ethanol_g < cold.ethanol_g);
    double p = calc_ethanol_mass_fraction(40, 20);
    EXPECT_NEAR(warm.ethanol_g, calc_ethanol_density(p, 30) * p, 1e-9, "mass");
    EXPECT_NEAR(warm.ethanol_ml, warm.ethanol_g / calc_ethanol_density(1, 30) * 1000, 1e-9, "ml");
}

/* By hand: 1000 ml of 96 % are 807.42 g with 757.67 g ethanol; at 40 % that is
 * 2275.3 g, so 1467.9 g water. */
Test(drink, dilution_by_hand)
{
    struct calc_dilution d = calc_dilute(1000, 96, 40, 20);
    EXPECT_NEAR(d.water_ml, 1467.9 / 0.99820, 0.3, "water");
    EXPECT_NEAR(d.volume_after_ml, 2400, 0.05, "the same ethanol at 40 %%");
    EXPECT_NEAR(d.contraction_ml, 1000 + d.water_ml - d.volume_after_ml, 1e-9, "contraction");
    d = calc_dilute(700, 40, 40, 20); /* rule 10 */
    cr_assert(eq(dbl, d.water_ml, 0));
    EXPECT_NEAR(d.volume_after_ml, 700, 1e-9, "nothing added");
}

Test(drink, dilution_scales_and_needs_more_water_for_less_strength)
{
    double before = -1;
    for (int to = 60; to > 0; to--) {
        double water = calc_dilute(500, 60, to, 15).water_ml;
        cr_assert(water > before);
        EXPECT_NEAR(calc_dilute(1000, 60, to, 15).water_ml, 2 * water, 1e-8, "%d", to);
        before = water;
    }
}

/* Pearson's square is exact by mass: the same ratio by mass fractions. */
Test(drink, pearson_square_is_the_ratio_by_mass)
{
    struct csv *t = csv_reference("pearson_square.csv");
    for (int r = 0; r < t->rows; r++) {
        double low = csv_number(t, r, "low"), high = csv_number(t, r, "high");
        double target = csv_number(t, r, "target");
        EXPECT_NEAR(high - target, csv_number(t, r, "parts_low"), 1e-9, "row %d", r);
        EXPECT_NEAR(target - low, csv_number(t, r, "parts_high"), 1e-9, "row %d", r);
        double mixed =
            (csv_number(t, r, "parts_low") * low + csv_number(t, r, "parts_high") * high) /
            (csv_number(t, r, "parts_low") + csv_number(t, r, "parts_high"));
        EXPECT_NEAR(mixed, target, 1e-9, "row %d", r);
    }
}

/* calc.md rules 18 and 19; 27 CFR 19.356(d), worked-examples.csv WE-14. */
Test(drink, rule_18_and_19_ends_of_a_label_tolerance_belong_to_it)
{
    struct calc_label_check c[CALC_LABEL_CHECKS];
    static const struct {
        double abv, label;
        bool eu, macerated, us;
    } rows[] = {{40.3, 40, true, true, true},    {39.7, 40, true, true, true},
                {40.31, 40, false, true, false}, {20.3, 20.0, true, true, true},
                {21.5, 20, false, true, false},  {21.51, 20, false, false, false}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        calc_label_checks(rows[i].abv, rows[i].label, c);
        cr_assert(eq(int, c[0].within, rows[i].eu));
        cr_assert(eq(int, c[1].within, rows[i].macerated));
        cr_assert(eq(int, c[2].within, rows[i].us));
    }
    calc_label_checks(40, 40, c);
    cr_assert(eq(str, (char *)c[0].id, "EU-ABV-TOL"));
    cr_assert(eq(str, (char *)c[1].id, "EU-ABV-TOL-MAC"));
    cr_assert(eq(str, (char *)c[2].id, "US-ABV-TOL"));
    EXPECT_NEAR(c[2].low_pct, 39.7, 1e-9, "WE-14");
    EXPECT_NEAR(c[2].high_pct, 40.3, 1e-9, "WE-14");
}

static bool
reminds(double abv, double invert, double sugar_pct, const char *id)
{
    const struct calc_rule *out[CALC_REMINDERS_MOST];
    struct calc_drink drink = {
        .abv_pct = abv, .invert_g_per_l = invert, .sugar_mass_pct = sugar_pct};
    size_t n = calc_reminders(&drink, CALC_MARKET_ALL, out);
    for (size_t i = 0; i < n; i++)
        if (strcmp(out[i]->id, id) == 0)
            return true;
    return false;
}

/* calc.md rules 17 and 18: on each side of each limit and within 1e-9 of it. */
Test(drink, rule_17_a_reminder_appears_when_its_limit_bears_on_the_drink)
{
    static const struct {
        const char *id;
        double abv, invert, sugar_pct;
        bool want;
    } rows[] = {
        {"EU-LIQ-ABV", 0, 300, 20, false},     {"EU-LIQ-ABV", 1e-6, 300, 20, true},
        {"EU-LIQ-ABV", 14.999, 300, 20, true}, {"EU-LIQ-ABV", 15 - 1e-10, 300, 20, false},
        {"EU-LIQ-ABV", 15, 300, 20, false},    {"GB-LIQ-ABV", 14.9, 300, 20, true},
        {"GB-LIQ-ABV", 15, 300, 20, false},    {"EU-LIQ-SUGAR", 20, 99.997, 9, true},
        {"EU-LIQ-SUGAR", 20, 100, 9, false},   {"EU-LIQ-SUGAR", 0, 50, 9, false},
        {"GB-LIQ-SUGAR", 20, 99, 9, true},     {"GB-LIQ-SUGAR", 20, 100 - 1e-10, 9, false},
        {"US-LIQ-SUGAR", 20, 99, 2.49, true},  {"US-LIQ-SUGAR", 20, 99, 2.5, false},
        {"US-LIQ-SUGAR", 0, 10, 1, false},     {"EU-INGR-EXEMPT", 1.2, 1, 1, true},
        {"EU-INGR-EXEMPT", 0, 1, 1, true},     {"EU-INGR-EXEMPT", 1.21, 1, 1, false},
        {"EU-DMD-EXEMPT", 9.99, 1, 1, true},   {"EU-DMD-EXEMPT", 10, 1, 1, false},
        {"EU-DMD-EXEMPT", 0, 1, 1, true},      {"EU-ABV-LABEL", 1.2, 1, 1, false},
        {"EU-ABV-LABEL", 1.21, 1, 1, true},    {"EU-ABV-TOL", 1.2, 1, 1, false},
        {"EU-ABV-TOL", 1.3, 1, 1, true},       {"EU-ABV-TOL-MAC", 1.2, 1, 1, false},
        {"EU-ABV-TOL-MAC", 40, 1, 1, true},    {"US-WARNING", 0.5, 1, 1, true},
        {"US-WARNING", 0.49, 1, 1, false},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        cr_assert(eq(int, reminds(rows[i].abv, rows[i].invert, rows[i].sugar_pct, rows[i].id),
                     rows[i].want),
                  "%s at %g %%vol, %g g/l, %g %%", rows[i].id, rows[i].abv, rows[i].invert,
                  rows[i].sugar_pct);
}

Test(drink, rule_17_reminders_follow_the_table_and_never_rest_on_memory)
{
    const struct calc_rule *out[CALC_REMINDERS_MOST];
    struct calc_drink drink = {5, 50, 1, true, true};
    size_t n = calc_reminders(&drink, CALC_MARKET_ALL, out);
    cr_assert(n > 10);
    for (size_t i = 0; i < n; i++) {
        cr_assert(eq(str, (char *)out[i]->status, "SAW"));
        cr_assert(i == 0 || out[i - 1] < out[i]); /* rows of one array */
        char text[CALC_REMINDER_TEXT];
        cr_assert(strlen(calc_reminder_text(out[i], text)) > 10);
        cr_assert(out[i]->source[0] != '\0');
    }
    size_t us = calc_reminders(&drink, CALC_MARKET_US, out);
    cr_assert(us > 0 && us < n);
    for (size_t i = 0; i < us; i++)
        cr_assert(strncmp(out[i]->id, "US-", 3) == 0);
}

Test(drink, price_per_litre_of_alcohol_is_price_over_pure_litres)
{
    struct csv *t = csv_reference("price_per_litre_alcohol.csv");
    for (int r = 0; r < t->rows; r++) {
        struct calc_units u =
            calc_units_of(1000 * csv_number(t, r, "volume_l"), csv_number(t, r, "abv_pct_vol"), 20);
        EXPECT_NEAR(csv_number(t, r, "price") / (u.ethanol_ml / 1000),
                    csv_number(t, r, "price_per_lpa"), 0.0001, "row %d", r);
    }
}

/* label_tolerances.csv and alcohol-rules.csv tell of the same tolerances. */
Test(drink, label_tolerances_agree_with_the_rules)
{
    static const char *const same[][2] = {{"EU 1169/2011 Annex XII 3", "EU-ABV-TOL-MAC"},
                                          {"EU 1169/2011 Annex XII 4", "EU-ABV-TOL"},
                                          {"27 CFR 19.356(c)", "US-ABV-TOL"}};
    struct csv *t = csv_reference("label_tolerances.csv");
    int found = 0;
    for (int r = 0; r < t->rows; r++)
        for (int i = 0; i < 3; i++)
            if (strcmp(csv_text(t, r, "rule"), same[i][0]) == 0) {
                EXPECT_NEAR(atof(calc_rule_find(same[i][1])->value), csv_number(t, r, "plus_minus"),
                            0, "%s", same[i][0]);
                found++;
            }
    cr_assert(eq(int, found, 3));
}
