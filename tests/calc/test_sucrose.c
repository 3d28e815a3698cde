/* Sucrose and water against every published table at hand. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>

#include "daemon/calc/ethanol.h"
#include "daemon/calc/sucrose.h"
#include "tests/calc/csv.h"
#include "tests/calc/near.h"

Test(sucrose, agrees_with_every_row_of_the_crc_tables)
{
    struct csv *t = csv_reference("sucrose_crc.csv");
    for (int r = 0; r < t->rows; r++) {
        double w = csv_number(t, r, "sucrose_mass_pct") / 100;
        EXPECT_NEAR(calc_sucrose_density(w), 1000 * csv_number(t, r, "density_g_cm3"), 0.1, "%g",
                    w);
        EXPECT_NEAR(calc_sucrose_refractive_index(w), csv_number(t, r, "n20_d"), 0.0001, "%g", w);
    }
    t = csv_reference("sucrose_crc_high.csv");
    for (int r = 0; r < t->rows; r++) {
        double w = csv_number(t, r, "sucrose_mass_pct") / 100;
        EXPECT_NEAR(calc_sucrose_density(w), csv_number(t, r, "density_kg_m3"), 0.1, "%g", w);
        EXPECT_NEAR(calc_sucrose_g_per_l(w), csv_number(t, r, "sucrose_g_per_l"), 0.15, "%g", w);
    }
}

Test(sucrose, agrees_with_the_refractive_indices_of_the_oiv)
{
    struct csv *t = csv_reference("sucrose_refractive_index_oiv.csv");
    for (int r = 0; r < t->rows; r++) {
        double w = csv_number(t, r, "sucrose_mass_pct") / 100;
        EXPECT_NEAR(calc_sucrose_refractive_index(w), csv_number(t, r, "n20_d"), 0.00001, "%g", w);
    }
}

Test(sucrose, agrees_with_the_solubility_tables)
{
    struct csv *t = csv_reference("sucrose_solubility.csv");
    for (int r = 0; r < t->rows; r++) {
        double t_c = csv_number(t, r, "temperature_c");
        double pct = calc_sucrose_soluble_pct(t_c);
        EXPECT_NEAR(pct, csv_number(t, r, "sucrose_mass_pct"), 0.05, "%g C", t_c);
    }
    EXPECT_NEAR(calc_sucrose_soluble_pct(20), 67.09, 0.005, "head of the table");
    t = csv_reference("sucrose_solubility_alt.csv");
    for (int r = 0; r < t->rows; r++)
        EXPECT_NEAR(calc_sucrose_soluble_pct(csv_number(t, r, "temperature_c")),
                    csv_number(t, r, "sucrose_mass_pct"), CALC_SOLUBLE_DOUBT_PCT, "row %d", r);
}

Test(sucrose, agrees_with_the_syrups)
{
    struct csv *t = csv_reference("syrups.csv");
    for (int r = 0; r < t->rows; r++)
        EXPECT_NEAR(calc_sucrose_density(csv_number(t, r, "brix_pct") / 100) / 1000,
                    csv_number(t, r, "density_g_ml"), csv_number(t, r, "tolerance"), "%s",
                    csv_text(t, r, "case"));
}

/* Relative density 20/20 to g extract per litre; 0.1 small, 0.3 near 1.10 (head). */
Test(sucrose, agrees_with_extract_from_relative_density)
{
    struct csv *t = csv_reference("extract_from_relative_density.csv");
    for (int r = 0; r < t->rows; r++) {
        double rho = csv_number(t, r, "relative_density_20_20") * CALC_WATER_20C;
        double low = 0, high = CALC_SUCROSE_MOST;
        for (int i = 0; i < 60; i++) {
            double w = (low + high) / 2;
            *(calc_sucrose_density(w) < rho ? &low : &high) = w;
        }
        double want = csv_number(t, r, "extract_g_per_l");
        EXPECT_NEAR(calc_sucrose_g_per_l(low), want, want > 100 ? 0.3 : 0.1, "row %d", r);
    }
}

Test(sucrose, brix_and_g_per_l_are_an_inverse_pair)
{
    for (int i = 0; i <= 1000; i++) {
        double w = i / 1000.0;
        EXPECT_NEAR(calc_sucrose_fraction(calc_sucrose_g_per_l(w)), w, 1e-11, "%g", w);
    }
}

Test(sucrose, more_sugar_is_denser_and_bends_light_more_without_kinks)
{
    double h = 1e-4;
    double before = 0;
    for (int i = 1; i < 9999; i++) {
        double w = i * h;
        double slope = (calc_sucrose_density(w + h) - calc_sucrose_density(w - h)) / (2 * h);
        cr_assert(slope > 0);
        cr_assert(calc_sucrose_refractive_index(w + h) > calc_sucrose_refractive_index(w));
        if (i > 1)
            EXPECT_NEAR(slope, before, 0.2, "kink at %g", w); /* second derivative under 2000 */
        before = slope;
    }
    cr_assert(eq(dbl, calc_sucrose_density(0), CALC_WATER_20C));
}

Test(sucrose, more_dissolves_in_warmer_water)
{
    for (int t_c = 0; t_c < 100; t_c++)
        cr_assert(calc_sucrose_soluble_pct(t_c + 1) > calc_sucrose_soluble_pct(t_c));
}

/* calc.md rule 12, worked-examples.csv WE-15 and WE-16. */
Test(sucrose, rule_12_invert_is_sucrose_times_1_0526)
{
    EXPECT_NEAR(190 * CALC_INVERT_RATIO, 199.994, 1e-9, "WE-15");
    EXPECT_NEAR(95 * CALC_INVERT_RATIO, 99.997, 1e-9, "WE-16");
}
