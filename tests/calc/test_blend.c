/* Model B, water activity. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>

#include "daemon/calc/activity.h"
#include "daemon/calc/blend.h"
#include "daemon/calc/ethanol.h"
#include "daemon/calc/sucrose.h"
#include "tests/calc/csv.h"
#include "tests/calc/near.h"

static struct calc_blend
blend(struct calc_blend_in in)
{
    struct calc_blend out;
    calc_blend(&in, &out);
    return out;
}

Test(blend, agrees_with_the_worked_batches_of_model_b)
{
    struct csv *t = csv_reference("liqueur_batches_model_b.csv");
    for (int r = 0; r < t->rows; r++) {
        struct calc_blend b =
            blend((struct calc_blend_in){.spirit_ml = csv_number(t, r, "spirit_ml"),
                                         .spirit_abv_pct = csv_number(t, r, "spirit_abv_pct_vol"),
                                         .t_c = 20,
                                         .sugar_g = csv_number(t, r, "sucrose_g"),
                                         .water_g = csv_number(t, r, "water_g")});
        EXPECT_NEAR(b.mass_g, csv_number(t, r, "total_mass_g"), 0.06, "row %d", r);
        EXPECT_NEAR(b.volume_ml, csv_number(t, r, "volume_ml"), 0.5, "row %d", r);
        EXPECT_NEAR(b.density_kg_m3, csv_number(t, r, "density_kg_m3"), 0.3, "row %d", r);
        EXPECT_NEAR(b.abv_pct, csv_number(t, r, "abv_pct_vol"), 0.02, "row %d", r);
        EXPECT_NEAR(b.sugar_g_per_l, csv_number(t, r, "sucrose_g_per_l"), 0.2, "row %d", r);
        EXPECT_NEAR(b.brix_in_water_pct, csv_number(t, r, "brix_in_water_pct"), 0.01, "row %d", r);
    }
}

/* Masses of a litre with this strength and sweetness, by bisection on the water. */
static struct calc_blend
litre_of(double abv, double sugar_g, double solids_g)
{
    struct calc_parts p = {
        .ethanol_g = calc_blend_ethanol_g(1000, abv), .sugar_g = sugar_g, .solids_g = solids_g};
    double low = 0, high = 1100;
    for (int i = 0; i < 60; i++) {
        p.water_g = (low + high) / 2;
        *(calc_blend_volume_ml(&p) < 1000 ? &low : &high) = p.water_g;
    }
    struct calc_blend b;
    calc_blend_of_parts(&p, &b);
    return b;
}

Test(blend, agrees_with_the_density_models_table)
{
    struct csv *t = csv_reference("liqueur_density_models.csv");
    for (int r = 0; r < t->rows; r++) {
        struct calc_blend b =
            litre_of(csv_number(t, r, "abv_pct_vol"), csv_number(t, r, "sucrose_g_per_l"), 0);
        EXPECT_NEAR(b.density_kg_m3, csv_number(t, r, "density_model_b_kg_m3"), 0.2, "row %d", r);
    }
}

Test(blend, published_drinks_lie_within_the_table_s_tolerance)
{
    struct csv *t = csv_reference("liqueur_density_published.csv");
    for (int r = 0; r < t->rows; r++) {
        double abv = csv_number(t, r, "ethanol_g_per_100ml") / CALC_ETHANOL_20C * 1000;
        struct calc_blend b = litre_of(abv, 10 * csv_number(t, r, "sugars_g_per_100ml"),
                                       csv_number(t, r, "extra_extract_g_per_l"));
        double sg = b.density_kg_m3 / CALC_WATER_20C;
        EXPECT_NEAR(sg, csv_number(t, r, "sg_model_b"), 0.0003, "%s", csv_text(t, r, "drink"));
        EXPECT_NEAR(sg, csv_number(t, r, "sg_published"), csv_number(t, r, "tolerance"), "%s",
                    csv_text(t, r, "drink"));
    }
}

/* 27 CFR 30.32(b): sugar in a spirit hides strength from the hydrometer. */
Test(blend, obscuration_agrees_with_the_gauging_rule)
{
    struct csv *t = csv_reference("obscuration.csv");
    for (int r = 0; r < t->rows; r++) {
        double solids = 10 * csv_number(t, r, "solids_g_per_100ml");
        for (int abv = 40; abv <= 50; abv += 10) {
            struct calc_blend b = litre_of(abv, solids, 0);
            double p = 0;
            cr_assert(calc_ethanol_of_density(b.density_kg_m3, 20, &p));
            EXPECT_NEAR(2 * (abv - calc_ethanol_abv_pct(p, 20)),
                        csv_number(t, r, "obscuration_proof"), csv_number(t, r, "tolerance_proof"),
                        "%d %%vol", abv);
        }
    }
}

/* calc.md rule 8. */
Test(blend, rule_8_spirit_alone_gives_back_its_own_strength)
{
    for (int i = 0; i <= 1000; i++) {
        struct calc_blend b =
            blend((struct calc_blend_in){.spirit_ml = 700, .spirit_abv_pct = i / 10.0, .t_c = 20});
        EXPECT_NEAR(b.abv_pct, i / 10.0, 1e-10, "%d", i);
        EXPECT_NEAR(b.volume_ml, 700, 1e-9, "%d", i);
    }
}

/* calc.md rule 15: dry grounds stand outside; what goes in comes out. */
Test(blend, rule_15_mass_is_conserved_and_dry_grounds_stand_outside)
{
    struct calc_blend b = blend((struct calc_blend_in){.spirit_g = 100,
                                                       .spirit_abv_pct = 40,
                                                       .sugar_g = 100,
                                                       .water_g = 7,
                                                       .coffee_g = 200,
                                                       .coffee_tds_pct = 1.3,
                                                       .grounds_g = 100,
                                                       .grounds_moisture_pct = 60});
    EXPECT_NEAR(b.mass_g + b.dry_grounds_g, 507, 1e-9, "mass");
    EXPECT_NEAR(b.dry_grounds_g, 40, 1e-12, "dry grounds");
    EXPECT_NEAR(b.parts.solids_g, 2.6, 1e-12, "coffee solids");
    EXPECT_NEAR(b.parts.water_g, 66.7004 + 7 + 197.4 + 60, 1e-3, "water");
    EXPECT_NEAR(b.density_kg_m3, 1000 * b.mass_g / b.volume_ml, 1e-9, "density");
    EXPECT_NEAR(b.brix_in_water_pct, 100 * 100 / (100 + b.parts.water_g), 1e-9, "brix");
    cr_assert(b.abv_pct > 9 && b.abv_pct < 11); /* design.md: near 10 % vol */
}

Test(blend, twice_everything_is_twice_the_volume_and_the_same_drink)
{
    struct calc_blend_in in = {.spirit_ml = 400, .spirit_abv_pct = 60, .t_c = 5, .sugar_g = 321};
    struct calc_blend one = blend(in);
    in.spirit_ml *= 2;
    in.sugar_g *= 2;
    struct calc_blend two = blend(in);
    EXPECT_NEAR(two.volume_ml, 2 * one.volume_ml, 1e-9, "volume");
    EXPECT_NEAR(two.abv_pct, one.abv_pct, 1e-12, "strength");
    EXPECT_NEAR(two.water_activity_high, one.water_activity_high, 1e-12, "activity");
}

Test(blend, more_water_is_weaker_and_more_sugar_is_sweeter)
{
    double abv = 100, sugar = -1;
    for (int i = 0; i < 300; i++) {
        struct calc_blend b = blend((struct calc_blend_in){
            .spirit_g = 200, .spirit_abv_pct = 80, .sugar_g = 50, .water_g = i * 5});
        cr_assert(b.abv_pct < abv);
        abv = b.abv_pct;
        b = blend((struct calc_blend_in){
            .spirit_g = 200, .spirit_abv_pct = 40, .sugar_g = i, .water_g = 100});
        cr_assert(b.sugar_g_per_l > sugar);
        sugar = b.sugar_g_per_l;
    }
}

/* calc.md rule 16: 45 % vol or 450 g/l when both are in it, and 67 % in water. */
Test(blend, rule_16_limits_count_only_with_both_in_it)
{
    struct calc_blend syrup = blend((struct calc_blend_in){.sugar_g = 500, .water_g = 500});
    cr_assert(syrup.limit == CALC_BLEND_INSIDE && syrup.sugar_g_per_l > 600);
    EXPECT_NEAR(syrup.density_kg_m3, calc_sucrose_density(0.5), 1e-9, "syrup");
    cr_assert(blend((struct calc_blend_in){.spirit_g = 5, .spirit_abv_pct = 96}).limit ==
              CALC_BLEND_INSIDE);
    cr_assert(
        blend((struct calc_blend_in){.spirit_g = 500, .spirit_abv_pct = 96, .sugar_g = 1}).limit ==
        CALC_BLEND_TOO_STRONG);
    cr_assert(blend((struct calc_blend_in){
                        .spirit_g = 50, .spirit_abv_pct = 40, .sugar_g = 500, .water_g = 500})
                  .limit == CALC_BLEND_TOO_SWEET);
    struct calc_blend thick = blend((struct calc_blend_in){.sugar_g = 70, .water_g = 30});
    cr_assert(thick.limit == CALC_BLEND_UNDISSOLVED && thick.volume_ml > 0);
    cr_assert(blend((struct calc_blend_in){.sugar_g = 67, .water_g = 33}).limit ==
              CALC_BLEND_INSIDE);
    cr_assert(blend((struct calc_blend_in){.grounds_g = 10}).limit == CALC_BLEND_NO_LIQUOR);
}

Test(blend, ranges_hold_the_answer)
{
    for (int s = 0; s < 60; s++)
        for (int a = 0; a <= 96; a += 8) {
            struct calc_blend b = blend((struct calc_blend_in){
                .spirit_g = 100, .spirit_abv_pct = a, .sugar_g = s * 3, .water_g = 20});
            cr_assert(b.density_low <= b.density_kg_m3 && b.density_kg_m3 <= b.density_high);
            cr_assert(b.abv_low <= b.abv_pct && b.abv_pct <= b.abv_high);
            cr_assert(b.water_activity_low <= b.water_activity_high + 1e-15);
            cr_assert(b.water_activity_high <= 1 + 1e-15);
        }
}

Test(activity, norrish_agrees_with_the_isopiestic_and_the_freezing_tables)
{
    struct csv *t = csv_reference("water_activity_sucrose_25C.csv");
    for (int r = 0; r < t->rows; r++) {
        double s = csv_number(t, r, "sucrose_mass_pct");
        EXPECT_NEAR(calc_activity_sugar(s, 100 - s), csv_number(t, r, "water_activity"), 0.001,
                    "%g %%", s);
    }
    t = csv_reference("water_activity_sucrose_freezing.csv");
    for (int r = 0; r < t->rows; r++) {
        double s = csv_number(t, r, "sucrose_mass_pct");
        EXPECT_NEAR(calc_activity_sugar(s, 100 - s), csv_number(t, r, "water_activity"),
                    s > 30 ? 0.0018 : 0.0004, "%g %%", s);
    }
}

/* Measured wines 0.940 on average (water_activity_ethanol_drinks.csv); the strength
 * and sugar of that row are not given, 12 % vol dry is from memory. */
Test(activity, a_dry_wine_lies_where_wines_were_measured)
{
    struct calc_blend b =
        blend((struct calc_blend_in){.spirit_ml = 750, .spirit_abv_pct = 12, .t_c = 20});
    cr_assert(b.water_activity_low > 0.94 && b.water_activity_high < 0.968);
}

/* calc.md rule 13. */
Test(activity, rule_13_no_ethanol_is_norrish_and_no_sugar_is_the_bare_pair)
{
    double low = 0, high = 0;
    calc_activity_range(0, 100, 200, &low, &high);
    EXPECT_NEAR(low, calc_activity_sugar(100, 200), 1e-15, "low");
    EXPECT_NEAR(high, low, 1e-15, "high");
    calc_activity_range(33.3, 0, 66.7, &low, &high);
    EXPECT_NEAR(low, calc_activity_raoult(33.3, 66.7), 1e-15, "Raoult");
    EXPECT_NEAR(high, calc_activity_van_laar(33.3, 66.7), 1e-15, "van Laar");
    /* by hand: 33.3 g ethanol 0.72283 mol, 66.7 g water 3.70247 mol, x_w 0.83666;
     * share 1.6798 x 0.16334 / (0.27438 + 0.77199) = 0.26222; exp(0.9227 x 0.06876) */
    EXPECT_NEAR(low, 0.83666, 0.00001, "by hand");
    EXPECT_NEAR(high, 0.83666 * 1.06550, 0.00002, "by hand");
}

Test(activity, falls_with_sugar_and_with_ethanol)
{
    for (int i = 0; i < 200; i++) {
        cr_assert(calc_activity_sugar(i + 1, 100) < calc_activity_sugar(i, 100));
        cr_assert(calc_activity_raoult(i + 1, 100) < calc_activity_raoult(i, 100));
        cr_assert(calc_activity_van_laar(i + 1, 100) < calc_activity_van_laar(i, 100));
    }
    cr_assert(eq(dbl, calc_activity_sugar(1, 0), 0));
}
