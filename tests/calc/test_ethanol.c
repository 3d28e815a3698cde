/* Ethanol and water: OIML R 22 against every published table at hand. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>

#include "daemon/calc/ethanol.h"
#include "tests/calc/csv.h"
#include "tests/calc/near.h"

/* Misprints circulate that no table can find: the digits in the source are
 * compared with the digits of the reference. */
Test(ethanol, all_54_coefficients_stand_in_the_source_digit_for_digit)
{
    static char source[65536];
    FILE *in = fopen(TEST_SOURCE "/daemon/calc/ethanol.c", "r");
    cr_assert(in != NULL);
    size_t n = fread(source, 1, sizeof source - 1, in);
    source[n] = '\0';
    fclose(in);
    struct csv *t = csv_reference("oiml_r22_coefficients.csv");
    cr_assert(eq(int, t->rows, 54));
    const char *at = source;
    for (int r = 0; r < t->rows; r++) { /* in the order of the standard */
        const char *digits = csv_text(t, r, "value");
        at = strstr(at, digits);
        cr_assert(at != NULL, "%s %s;%s = %s", csv_text(t, r, "series"), csv_text(t, r, "i"),
                  csv_text(t, r, "k"), digits);
        at += strlen(digits);
        cr_assert(at[0] < '0' || at[0] > '9', "%s goes on", digits);
    }
}

Test(ethanol, agrees_with_the_formula_table_at_20_c)
{
    struct csv *t = csv_reference("ethanol_water_20C.csv");
    for (int r = 0; r < t->rows; r++) {
        double abv = csv_number(t, r, "abv_pct_vol");
        double p = calc_ethanol_mass_fraction(abv, 20);
        EXPECT_NEAR(100 * p, csv_number(t, r, "mass_pct"), 0.0002, "%g %%vol", abv);
        EXPECT_NEAR(calc_ethanol_density(p, 20), csv_number(t, r, "density_kg_m3"), 0.002,
                    "%g %%vol", abv);
    }
}

Test(ethanol, agrees_with_the_published_densities)
{
    struct csv *t = csv_reference("ethanol_water_20C_published.csv");
    for (int r = 0; r < t->rows; r++) {
        double abv = csv_number(t, r, "abv_pct_vol");
        EXPECT_NEAR(calc_ethanol_density_of_abv(abv, 20), csv_number(t, r, "density_kg_m3"), 0.006,
                    "%g %%vol", abv);
    }
}

Test(ethanol, agrees_with_the_temperature_table_and_all_its_rows_are_liquid)
{
    struct csv *t = csv_reference("ethanol_water_temperature.csv");
    for (int r = 0; r < t->rows; r++) {
        double p = csv_number(t, r, "mass_pct") / 100;
        double t_c = csv_number(t, r, "temperature_c");
        EXPECT_NEAR(calc_ethanol_density(p, t_c), csv_number(t, r, "density_kg_m3"), 0.002,
                    "%g at %g C", p, t_c);
        cr_assert(calc_ethanol_liquid(p, t_c));
    }
}

Test(ethanol, agrees_with_the_crc_handbook_and_its_freezing_points)
{
    struct csv *t = csv_reference("ethanol_crc.csv");
    for (int r = 0; r < t->rows; r++) {
        double p = csv_number(t, r, "mass_pct") / 100;
        EXPECT_NEAR(calc_ethanol_density(p, 20), 1000 * csv_number(t, r, "density_g_cm3"), 0.3,
                    "%g", p);
        if (csv_empty(t, r, "freezing_point_depression_k"))
            continue;
        double depression = csv_number(t, r, "freezing_point_depression_k");
        EXPECT_NEAR(calc_ethanol_freezing_c(p), -depression, 1e-9, "%g", p);
        cr_assert(calc_ethanol_liquid(p, -depression));
        cr_assert(not(calc_ethanol_liquid(p, -depression - 0.01)));
    }
}

static void
expect_usp_row(const struct csv *t, int r, double p)
{
    double water_25 = calc_ethanol_density(0, 25);
    double water_15 = calc_ethanol_density(0, CALC_REFERENCE_US_C);
    EXPECT_NEAR(calc_ethanol_density(p, 25) / water_25, csv_number(t, r, "sg_25_25"), 0.0002, "%g",
                p);
    EXPECT_NEAR(calc_ethanol_density(p, CALC_REFERENCE_US_C) / water_15,
                csv_number(t, r, "sg_15c56_15c56"), 0.0002, "%g", p);
}

Test(ethanol, agrees_with_the_us_pharmacopeia_at_60_f)
{
    struct csv *t = csv_reference("ethanol_usp_by_mass.csv");
    for (int r = 0; r < t->rows; r++) {
        double p = csv_number(t, r, "mass_pct") / 100;
        EXPECT_NEAR(calc_ethanol_abv_pct(p, CALC_REFERENCE_US_C),
                    csv_number(t, r, "abv_15c56_pct_vol"), 0.0101, "%g", p);
        expect_usp_row(t, r, p);
    }
    t = csv_reference("ethanol_usp_by_volume.csv");
    for (int r = 0; r < t->rows; r++) {
        double abv = csv_number(t, r, "abv_15c56_pct_vol");
        double p = calc_ethanol_mass_fraction(abv, CALC_REFERENCE_US_C);
        EXPECT_NEAR(100 * p, csv_number(t, r, "mass_pct"), 0.0101, "%g %%vol", abv);
        expect_usp_row(t, r, p);
    }
}

Test(ethanol, agrees_with_the_two_reference_temperatures)
{
    struct csv *t = csv_reference("abv_20C_versus_60F.csv");
    for (int r = 0; r < t->rows; r++) {
        double p = calc_ethanol_mass_fraction(csv_number(t, r, "abv_20c_pct_vol"), 20);
        double us = calc_ethanol_abv_pct(p, CALC_REFERENCE_US_C);
        EXPECT_NEAR(us, csv_number(t, r, "abv_60f_pct_vol"), 0.0006, "row %d", r);
        EXPECT_NEAR(2 * us, csv_number(t, r, "us_proof"), 0.0006, "row %d", r);
    }
}

Test(ethanol, agrees_with_the_contraction_table)
{
    struct csv *t = csv_reference("contraction_20C.csv");
    for (int r = 0; r < t->rows; r++) {
        double e = csv_number(t, r, "ethanol_volumes") * calc_ethanol_density(1, 20);
        double w = csv_number(t, r, "water_volumes") * calc_ethanol_density(0, 20);
        double p = e / (e + w);
        double mixed = (e + w) / calc_ethanol_density(p, 20);
        EXPECT_NEAR(mixed, csv_number(t, r, "mixed_volumes"), 0.001, "row %d", r);
        EXPECT_NEAR(100 - mixed, csv_number(t, r, "contraction_volumes"), 0.001, "row %d", r);
        EXPECT_NEAR(calc_ethanol_abv_pct(p, 20), csv_number(t, r, "abv_pct_vol"), 0.001, "row %d",
                    r);
    }
}

/* The table's head names the tolerance. */
Test(ethanol, agrees_with_the_dilution_table_of_the_gauging_manual)
{
    struct csv *t = csv_reference("dilution_water_to_add.csv");
    for (int r = 0; r < t->rows; r++) {
        double us = CALC_REFERENCE_US_C;
        double p0 = calc_ethanol_mass_fraction(csv_number(t, r, "start_abv_pct_vol"), us);
        double p1 = calc_ethanol_mass_fraction(csv_number(t, r, "target_abv_pct_vol"), us);
        double mass = 100 * calc_ethanol_density(p0, us);
        double water = (mass * p0 / p1 - mass) / calc_ethanol_density(0, us);
        double want = csv_number(t, r, "water_volumes_per_100_volumes");
        EXPECT_NEAR(water, want, fmax(0.06, 0.007 * want) + 1e-9, "row %d", r);
    }
}

/* Apparent weights in air: density of air 1.2225 kg/m3, brass 8400 kg/m3 (head of the table). */
static double
weight_in_air_kg(double volume_m3, double density)
{
    return volume_m3 * (density - 1.2225) / (1 - 1.2225 / 8400);
}

static double
gallons_per_pound(double proof)
{
    double us = CALC_REFERENCE_US_C;
    double rho = calc_ethanol_density(calc_ethanol_mass_fraction(proof / 2, us), us);
    return 0.45359237 / weight_in_air_kg(0.003785411784, rho);
}

static double
water_parts(double proof)
{
    double us = CALC_REFERENCE_US_C;
    double p = calc_ethanol_mass_fraction(proof / 2, us);
    return 100 * (1 - p) * calc_ethanol_density(p, us) / calc_ethanol_density(0, us);
}

static double
gauge(const char *kind, double a, double b)
{
    if (strcmp(kind, "water_parts_in_100_parts_at_proof") == 0)
        return water_parts(a);
    if (strcmp(kind, "gallons_water_to_reduce_100_gallons_from_proof_to_proof") == 0)
        return 100 * a / b * water_parts(b) / 100 - water_parts(a);
    if (strcmp(kind, "wine_gallons_per_pound_at_proof") == 0)
        return gallons_per_pound(a);
    if (strcmp(kind, "proof_gallons_per_pound_at_proof") == 0)
        return gallons_per_pound(a) * a / 100;
    if (strcmp(kind, "wine_gallons_in_pounds_at_proof") == 0)
        return a * gallons_per_pound(b);
    if (strcmp(kind, "proof_gallons_in_pounds_at_proof") == 0)
        return a * gallons_per_pound(b) * b / 100;
    return gallons_per_pound(0); /* wine_gallons_per_pound_of_water_at_60F */
}

Test(ethanol, agrees_with_the_worked_figures_of_the_gauging_manual)
{
    struct csv *t = csv_reference("proof_gauging_examples.csv");
    for (int r = 0; r < t->rows; r++)
        EXPECT_NEAR(
            gauge(csv_text(t, r, "kind"), csv_number(t, r, "input_1"), csv_number(t, r, "input_2")),
            csv_number(t, r, "result"), csv_number(t, r, "tolerance"), "%s",
            csv_text(t, r, "kind"));
}

Test(ethanol, inverses_come_back_within_a_billionth)
{
    for (int i = 0; i <= 5000; i++) {
        double p = i / 5000.0;
        for (int t_c = -20; t_c <= 40; t_c += 15) {
            double back = -1;
            cr_assert(calc_ethanol_of_density(calc_ethanol_density(p, t_c), t_c, &back));
            EXPECT_NEAR(back, p, 1e-9, "density, %g at %d C", p, t_c);
        }
        double abv = calc_ethanol_abv_pct(p, 20);
        EXPECT_NEAR(calc_ethanol_mass_fraction(abv, 20), p, 1e-9, "%g", p);
    }
    cr_assert(eq(dbl, calc_ethanol_mass_fraction(0, 20), 0));
    cr_assert(eq(dbl, calc_ethanol_mass_fraction(100, 20), 1));
}

Test(ethanol, more_ethanol_is_lighter_and_stronger_at_every_temperature)
{
    for (int t_c = -20; t_c <= 40; t_c++)
        for (int i = 0; i < 1000; i++) {
            double p = i / 1000.0;
            cr_assert(calc_ethanol_density(p + 0.001, t_c) < calc_ethanol_density(p, t_c));
            cr_assert(calc_ethanol_density_slope(p, t_c) < 0);
            cr_assert(calc_ethanol_abv_pct(p + 0.001, t_c) > calc_ethanol_abv_pct(p, t_c));
            cr_assert(calc_ethanol_freezing_c(p + 0.001) < calc_ethanol_freezing_c(p));
        }
}

Test(ethanol, slope_is_the_derivative)
{
    for (int i = 1; i < 100; i++) {
        double p = i / 100.0;
        double d = (calc_ethanol_density(p + 1e-6, 5) - calc_ethanol_density(p - 1e-6, 5)) / 2e-6;
        EXPECT_NEAR(calc_ethanol_density_slope(p, 5), d, 1e-3, "%g", p);
    }
}

/* calc.md rule 9: up to 0.01 kg/m3 past an end counts as that end. */
Test(ethanol, rule_9_density_a_little_past_an_end_is_that_end)
{
    double p = -1;
    double water = calc_ethanol_density(0, 10);
    double ethanol = calc_ethanol_density(1, 10);
    cr_assert(calc_ethanol_of_density(water + 0.01, 10, &p) && p == 0);
    cr_assert(calc_ethanol_of_density(ethanol - 0.01, 10, &p) && p == 1);
    cr_assert(not(calc_ethanol_of_density(water + 0.0101, 10, &p)));
    cr_assert(not(calc_ethanol_of_density(ethanol - 0.0101, 10, &p)));
    cr_assert(not(calc_ethanol_of_density(NAN, 10, &p)));
}
