/* target.c - the inverse of model B. */
#include "daemon/calc/target.h"

#include <math.h>
#include <stdbool.h>

#include "daemon/calc/blend.h"
#include "daemon/calc/ethanol.h"
#include "daemon/calc/near.h"
#include "daemon/calc/solve.h"

/* Liquor without the filling, and what the filling is made of. */
struct recipe {
    struct calc_parts parts; /* water: of spirit and grounds */
    double solids_share;     /* of the filling */
    double volume_ml;        /* wanted */
    double spirit_g;
    double grounds_water_g;
};

static struct recipe
recipe_of(const struct calc_target_in *in)
{
    bool by_grounds = in->volume_ml <= 0;
    double sugar_g = by_grounds ? in->grounds_g : in->sugar_g_per_l * in->volume_ml / 1000;
    double volume_ml = by_grounds ? 1000 * sugar_g / in->sugar_g_per_l : in->volume_ml;
    double ethanol_g = calc_blend_ethanol_g(volume_ml, in->abv_pct);
    double p = calc_ethanol_mass_fraction(in->spirit_abv_pct, CALC_REFERENCE_C);
    double spirit_g = ethanol_g > 0 ? ethanol_g / p : 0;
    double moisture_g = in->grounds_g * in->grounds_moisture_pct / 100;
    return (struct recipe){
        .parts = {.ethanol_g = ethanol_g,
                  .water_g = spirit_g - ethanol_g + moisture_g,
                  .sugar_g = sugar_g},
        .solids_share = in->coffee_tds_pct / 100,
        .volume_ml = volume_ml,
        .spirit_g = spirit_g,
        .grounds_water_g = moisture_g,
    };
}

static struct calc_parts
filled(const struct recipe *r, double fill_g)
{
    struct calc_parts p = r->parts;
    p.water_g += fill_g * (1 - r->solids_share);
    p.solids_g += fill_g * r->solids_share;
    return p;
}

/* ml too many with this filling; the slope by a small difference. */
static double
volume_gap(double fill_g, const void *context, double *out_slope)
{
    const struct recipe *r = context;
    double step = 1e-6 * r->volume_ml;
    struct calc_parts here = filled(r, fill_g);
    struct calc_parts there = filled(r, fill_g + step);
    double volume = calc_blend_volume_ml(&here);
    *out_slope = (calc_blend_volume_ml(&there) - volume) / step;
    return volume - r->volume_ml;
}

static double
volume_with_water(const struct recipe *r, double water_g)
{
    struct calc_parts p = r->parts;
    p.water_g = water_g;
    return calc_blend_volume_ml(&p);
}

/* Is the volume full, give or take a trillionth, with only so much water? */
static bool
too_much(const struct recipe *r, double water_g)
{
    return volume_with_water(r, water_g) > r->volume_ml * (1 + 1e-12);
}

static enum calc_target_limit
no_room(const struct recipe *r)
{
    double spirit_water_g = r->spirit_g - r->parts.ethanol_g;
    if (too_much(r, 0))
        return CALC_TARGET_TOO_SWEET;
    if (too_much(r, spirit_water_g))
        return CALC_TARGET_SPIRIT_TOO_WEAK;
    if (too_much(r, spirit_water_g + r->grounds_water_g))
        return CALC_TARGET_GROUNDS_TOO_WET;
    return CALC_TARGET_REACHED;
}

/* What the finished liquor says of itself. */
static enum calc_target_limit
past_model(const struct calc_blend *b)
{
    switch (b->limit) {
    case CALC_BLEND_UNDISSOLVED:
        return CALC_TARGET_TOO_SWEET;
    case CALC_BLEND_TOO_STRONG:
    case CALC_BLEND_TOO_SWEET:
    case CALC_BLEND_NO_LIQUOR:
        return CALC_TARGET_OUTSIDE_MODEL;
    case CALC_BLEND_INSIDE:
        break;
    }
    return CALC_TARGET_REACHED;
}

static enum calc_target_limit
try_target(const struct calc_target_in *in, struct calc_target *out)
{
    if (in->abv_pct > 0 && calc_over(in->abv_pct, in->spirit_abv_pct))
        return CALC_TARGET_SPIRIT_TOO_WEAK;
    struct recipe r = recipe_of(in);
    enum calc_target_limit limit = no_room(&r);
    if (limit != CALC_TARGET_REACHED)
        return limit;
    double most = 2 * r.volume_ml; /* g: no filling is half as dense as water */
    out->fill_g = calc_solve(volume_gap, &r, 0, most, 1e-13 * most);
    struct calc_parts parts = filled(&r, out->fill_g);
    struct calc_blend b;
    calc_blend_of_parts(&parts, &b);
    out->spirit_g = r.spirit_g;
    out->spirit_ml = 1000 * r.spirit_g / calc_ethanol_density_of_abv(in->spirit_abv_pct, 20);
    out->sugar_g = r.parts.sugar_g;
    out->volume_ml = b.volume_ml;
    out->mass_g = b.mass_g;
    return past_model(&b);
}

/* Lowers *member, a number of `trial`, to the largest value up to the wanted one
 * that can be reached; false when not even 0 can. */
static bool
lower_until_reached(struct calc_target_in *trial, double *member)
{
    struct calc_target unused;
    double low = 0;
    double high = *member;
    double close = 1e-5 * high;
    *member = 0;
    if (try_target(trial, &unused) != CALC_TARGET_REACHED)
        return false;
    while (high - low > close) {
        *member = (low + high) / 2;
        if (try_target(trial, &unused) == CALC_TARGET_REACHED)
            low = *member;
        else
            high = *member;
    }
    *member = low;
    return true;
}

static void
find_nearest(const struct calc_target_in *in, struct calc_target *out)
{
    struct calc_target_in trial = *in;
    bool found = out->limit != CALC_TARGET_TOO_SWEET && in->abv_pct > 0 &&
                 lower_until_reached(&trial, &trial.abv_pct);
    if (!found && in->volume_ml > 0) { /* sugar decides the size where grounds do */
        trial = *in;
        found = lower_until_reached(&trial, &trial.sugar_g_per_l);
    }
    out->nearest_abv_pct = found ? trial.abv_pct : NAN;
    out->nearest_sugar_g_per_l = found ? trial.sugar_g_per_l : NAN;
}

void
calc_target(const struct calc_target_in *in, struct calc_target *out)
{
    *out = (struct calc_target){.nearest_abv_pct = in->abv_pct,
                                .nearest_sugar_g_per_l = in->sugar_g_per_l};
    out->limit = try_target(in, out);
    if (out->limit != CALC_TARGET_REACHED)
        find_nearest(in, out);
}

const char *
calc_target_limit_text(enum calc_target_limit limit)
{
    static const char *const texts[] = {
        [CALC_TARGET_REACHED] = "",
        [CALC_TARGET_SPIRIT_TOO_WEAK] =
            "the spirit is too weak: its own water leaves no room for this strength",
        [CALC_TARGET_GROUNDS_TOO_WET] =
            "the grounds bring too much water for this strength, sweetness and size",
        [CALC_TARGET_TOO_SWEET] =
            "too sweet: not all of the sugar dissolves, limit 67 % sugar in sugar and water",
        [CALC_TARGET_OUTSIDE_MODEL] =
            "too strong or too sweet for the model: limit 45 % vol and 450 g/l with both in it",
    };
    return texts[limit];
}
