/* blend.c - model B. */
#include "daemon/calc/blend.h"

#include <math.h>

#include "daemon/calc/activity.h"
#include "daemon/calc/ethanol.h"
#include "daemon/calc/near.h"
#include "daemon/calc/sucrose.h"

/* ml of two things by mass and the density of their mix; 0 of both is 0 ml. */
static double
volume_ml(double dissolved_g, double water_g, double (*density)(double fraction))
{
    double sum = dissolved_g + water_g;
    return sum > 0 ? 1000 * sum / density(dissolved_g / sum) : 0;
}

static double
ethanol_density_20c(double mass_fraction)
{
    return calc_ethanol_density(mass_fraction, CALC_REFERENCE_C);
}

double
calc_blend_volume_ml(const struct calc_parts *parts)
{
    double dissolved_g = parts->sugar_g + parts->solids_g;
    double strong = volume_ml(parts->ethanol_g, parts->water_g, ethanol_density_20c);
    if (dissolved_g <= 0)
        return strong;
    double sweet = volume_ml(dissolved_g, parts->water_g, calc_sucrose_density);
    return strong + sweet - 1000 * parts->water_g / CALC_WATER_20C;
}

double
calc_blend_ethanol_g(double volume, double abv_pct)
{
    return volume * abv_pct / 100 * CALC_ETHANOL_20C / 1000;
}

/* Half width of the density, kg/m3: tables are rounded to 0.1; with both ethanol
 * and sugar published drinks differ by up to 4, growing from nothing
 * (tests/data/reference/liqueur_density_published.csv). */
static double
density_doubt(double abv_pct, double dissolved_g_per_l)
{
    return 0.1 + 4 * fmin(1, abv_pct / 10 * dissolved_g_per_l / 100);
}

/* The truth may lie 7 lower in a sweet spirit above 35 % vol (same table). */
static double
doubt_below(double abv_pct, double doubt)
{
    return abv_pct > 35 ? doubt * 7 / 4 : doubt;
}

static void
fill_ranges(struct calc_blend *b)
{
    double dissolved = 1000 * (b->parts.sugar_g + b->parts.solids_g) / b->volume_ml;
    double doubt = density_doubt(b->abv_pct, dissolved);
    b->density_low = b->density_kg_m3 - doubt_below(b->abv_pct, doubt);
    b->density_high = b->density_kg_m3 + doubt;
    /* same ethanol, same mass: strength goes with density */
    b->abv_low = b->abv_pct * b->density_low / b->density_kg_m3;
    b->abv_high = fmin(b->abv_pct * b->density_high / b->density_kg_m3, 100);
}

static enum calc_blend_limit
find_limit(const struct calc_blend *b)
{
    bool both = b->parts.ethanol_g > 0 && b->parts.sugar_g > 0;
    if (b->parts.sugar_g > 0 && calc_over(b->brix_in_water_pct, CALC_BLEND_BRIX_MOST))
        return CALC_BLEND_UNDISSOLVED;
    if (both && calc_over(b->abv_pct, CALC_BLEND_ABV_MOST))
        return CALC_BLEND_TOO_STRONG;
    if (both && calc_over(b->sugar_g_per_l, CALC_BLEND_SUGAR_MOST))
        return CALC_BLEND_TOO_SWEET;
    return CALC_BLEND_INSIDE;
}

static void
fill_unknown(struct calc_blend *b)
{
    b->density_kg_m3 = b->density_low = b->density_high = NAN;
    b->abv_pct = b->abv_low = b->abv_high = NAN;
    b->sugar_g_per_l = b->invert_g_per_l = b->brix_in_water_pct = NAN;
    b->water_activity_low = b->water_activity_high = NAN;
    b->limit = CALC_BLEND_NO_LIQUOR;
}

void
calc_blend_of_parts(const struct calc_parts *parts, struct calc_blend *out)
{
    *out = (struct calc_blend){.parts = *parts};
    double dissolved_g = parts->sugar_g + parts->solids_g;
    out->mass_g = parts->ethanol_g + parts->water_g + dissolved_g;
    out->volume_ml = calc_blend_volume_ml(parts);
    out->ethanol_ml = 1000 * parts->ethanol_g / CALC_ETHANOL_20C;
    if (!(out->volume_ml > 0)) {
        fill_unknown(out);
        return;
    }
    out->density_kg_m3 = 1000 * out->mass_g / out->volume_ml;
    out->abv_pct = fmin(100 * out->ethanol_ml / out->volume_ml, 100);
    out->sugar_g_per_l = 1000 * parts->sugar_g / out->volume_ml;
    out->invert_g_per_l = CALC_INVERT_RATIO * out->sugar_g_per_l;
    double syrup_g = parts->sugar_g + parts->water_g;
    out->brix_in_water_pct = syrup_g > 0 ? 100 * parts->sugar_g / syrup_g : NAN;
    calc_activity_range(parts->ethanol_g, dissolved_g, parts->water_g, &out->water_activity_low,
                        &out->water_activity_high);
    fill_ranges(out);
    out->limit = find_limit(out);
}

void
calc_blend(const struct calc_blend_in *in, struct calc_blend *out)
{
    double p = calc_ethanol_mass_fraction(in->spirit_abv_pct, CALC_REFERENCE_C);
    double spirit_g = in->spirit_g + in->spirit_ml * calc_ethanol_density(p, in->t_c) / 1000;
    double ethanol_g = spirit_g * p;
    double solids_g = in->coffee_g * in->coffee_tds_pct / 100;
    double moisture_g = in->grounds_g * in->grounds_moisture_pct / 100;
    struct calc_parts parts = {
        .ethanol_g = ethanol_g,
        .water_g = (spirit_g - ethanol_g) + in->water_g + (in->coffee_g - solids_g) + moisture_g,
        .sugar_g = in->sugar_g,
        .solids_g = solids_g,
    };
    calc_blend_of_parts(&parts, out);
    out->dry_grounds_g = in->grounds_g - moisture_g;
}

const char *
calc_blend_limit_text(enum calc_blend_limit limit)
{
    static const char *const texts[] = {
        [CALC_BLEND_INSIDE] = "",
        [CALC_BLEND_NO_LIQUOR] = "there is no liquor: only dry grounds, or nothing",
        [CALC_BLEND_TOO_STRONG] = "above 45 % vol with sugar the model of the volume is not tested",
        [CALC_BLEND_TOO_SWEET] = "above 450 g/l sugar with ethanol the model is not tested",
        [CALC_BLEND_UNDISSOLVED] =
            "above 67 % sugar in sugar and water not all of the sugar dissolves at 20 C",
    };
    return texts[limit];
}
