/* blend.h - what a mix of spirit, sugar, water, coffee and wet grounds becomes.
 *
 * Model B (tests/data/reference/liqueur_density_models.csv), 20 C:
 *
 *   V = (me + mw) / rho_OIML(me / (me + mw))
 *     + (ms + mw) / rho_sucrose(ms / (ms + mw)) - mw / rho_water
 *
 * with me ethanol, mw all water, ms sugar and dissolved coffee. Exact for spirit
 * alone and for syrup; with both, published drinks lie within 0.4 % in density.
 */
#ifndef DAEMON_CALC_BLEND_H
#define DAEMON_CALC_BLEND_H

#include <stdbool.h>

/* The liquor's parts, g; all 0 or more. */
struct calc_parts {
    double ethanol_g;
    double water_g; /* of spirit, coffee and grounds too */
    double sugar_g;
    double solids_g; /* dissolved coffee: counts as sugar in volume and activity */
};

/* ml at 20 C by model B. By hand: 1000 ml of 40 % and 300 g sugar: 1186.2. */
double calc_blend_volume_ml(const struct calc_parts *parts);

/* What is put in. Masses g, 0 .. 1e9; percentages 0 .. 100. */
struct calc_blend_in {
    double spirit_ml; /* at t_c; spirit_ml or spirit_g, the other 0 */
    double spirit_g;
    double spirit_abv_pct; /* at 20 C */
    double t_c;            /* of spirit_ml, -20 .. 40 */
    double sugar_g;
    double water_g;
    double coffee_g;
    double coffee_tds_pct; /* % mass dissolved */
    double grounds_g;
    double grounds_moisture_pct; /* % mass, wet basis */
};

enum calc_blend_limit {
    CALC_BLEND_INSIDE,
    CALC_BLEND_NO_LIQUOR,   /* only dry grounds, or nothing */
    CALC_BLEND_TOO_STRONG,  /* over 45 % vol with sugar in it */
    CALC_BLEND_TOO_SWEET,   /* over 450 g/l with ethanol in it */
    CALC_BLEND_UNDISSOLVED, /* over 67 % sugar in sugar + water */
};

#define CALC_BLEND_ABV_MOST 45.0
#define CALC_BLEND_SUGAR_MOST 450.0
#define CALC_BLEND_BRIX_MOST 67.0

/* The liquor, 20 C; NAN where a number does not exist. mass_g + dry_grounds_g is
 * the sum of what was put in. */
struct calc_blend {
    struct calc_parts parts;
    double dry_grounds_g; /* outside mass_g and volume_ml */
    double mass_g;
    double volume_ml;
    double density_kg_m3, density_low, density_high;
    double abv_pct, abv_low, abv_high;
    double ethanol_ml;
    double sugar_g_per_l;
    double invert_g_per_l;
    double brix_in_water_pct; /* 100 sugar / (sugar + water) */
    double water_activity_low, water_activity_high;
    enum calc_blend_limit limit; /* the first that is passed; numbers are given all the same */
};

void calc_blend(const struct calc_blend_in *in, struct calc_blend *out);

/* The same from parts already known, for a batch followed by its inputs. */
void calc_blend_of_parts(const struct calc_parts *parts, struct calc_blend *out);

/* Mass of ethanol in g, of spirit by volume at 20 C: ml x % through the density. */
double calc_blend_ethanol_g(double volume_ml, double abv_pct);

/* One sentence for a limit that is passed, "" for CALC_BLEND_INSIDE. */
const char *calc_blend_limit_text(enum calc_blend_limit limit);

#endif
