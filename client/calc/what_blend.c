/* what_blend.c - calc blend. */
#include <math.h>

#include "client/calc/run.h"
#include "daemon/calc/blend.h"
#include "daemon/calc/ethanol.h"
#include "daemon/calc/reminders.h"

/* A mass or volume that may be left out: 0 then, and not listed as assumed. */
static double
part(struct calc_run *run, const char *name)
{
    return calc_given(run, name) ? calc_number(run, name) : 0;
}

/* The percentage is required with its mass. */
static bool
need_with(struct calc_run *run, const char *mass, const char *pct)
{
    return !calc_given(run, mass) || calc_given(run, pct) || calc_missing(run, pct);
}

static bool
check_together(struct calc_run *run)
{
    static const char *const spirit[] = {"spirit_ml", "spirit_g", NULL};
    if (calc_count_given(run, spirit) > 1 && !calc_exactly_one(run, spirit))
        return false;
    return need_with(run, "spirit_ml", "spirit_abv_pct") &&
           need_with(run, "spirit_g", "spirit_abv_pct") &&
           need_with(run, "coffee_g", "coffee_tds_pct") &&
           need_with(run, "grounds_g", "grounds_moisture_pct");
}

static bool
read_blend(struct calc_run *run, struct calc_blend_in *in)
{
    if (!check_together(run))
        return false;
    *in = (struct calc_blend_in){
        .spirit_ml = part(run, "spirit_ml"),
        .spirit_g = part(run, "spirit_g"),
        .spirit_abv_pct = part(run, "spirit_abv_pct"),
        .t_c = calc_given(run, "spirit_ml") ? calc_number(run, "t_c") : CALC_REFERENCE_C,
        .sugar_g = part(run, "sugar_g"),
        .water_g = part(run, "water_g"),
        .coffee_g = part(run, "coffee_g"),
        .coffee_tds_pct = part(run, "coffee_tds_pct"),
        .grounds_g = part(run, "grounds_g"),
        .grounds_moisture_pct = part(run, "grounds_moisture_pct"),
    };
    if (in->spirit_ml + in->spirit_g + in->sugar_g + in->water_g + in->coffee_g + in->grounds_g > 0)
        return true;
    return calc_refuse_all(run, "at least one mass or volume above 0");
}

static void
answer_reminders(struct calc_run *run, const struct calc_blend_in *in, const struct calc_blend *b)
{
    const struct calc_rule *rules[CALC_REMINDERS_MOST];
    struct calc_drink drink = {
        .abv_pct = b->abv_pct,
        .invert_g_per_l = b->invert_g_per_l,
        .sugar_mass_pct = 100 * b->parts.sugar_g / b->mass_g,
        .has_coffee = in->coffee_g > 0 || in->grounds_g > 0,
        .has_grounds = in->grounds_g > 0,
    };
    size_t n =
        b->limit == CALC_BLEND_NO_LIQUOR ? 0 : calc_reminders(&drink, CALC_MARKET_ALL, rules);
    json_t *list = json_array();
    for (size_t i = 0; i < n; i++) {
        char text[CALC_REMINDER_TEXT];
        json_t *one = json_pack("{s:s, s:s, s:s}", "id", rules[i]->id, "text",
                                calc_reminder_text(rules[i], text), "source", rules[i]->source);
        run->full |= json_array_append_new(list, one) != 0;
    }
    calc_answer_json(run, "reminders", list);
}

static void
answer_ranges(struct calc_run *run, const struct calc_blend *b)
{
    if (b->limit == CALC_BLEND_NO_LIQUOR) {
        calc_answer_null(run, "density_kg_m3");
        calc_answer_null(run, "abv_pct");
        calc_answer_no_range(run);
        return;
    }
    calc_answer_range(run, "density_kg_m3", b->density_low, b->density_kg_m3, b->density_high);
    calc_answer_range(run, "abv_pct", b->abv_low, b->abv_pct, b->abv_high);
}

static void
answer_activity(struct calc_run *run, const struct calc_blend *b)
{
    bool none = b->limit == CALC_BLEND_NO_LIQUOR;
    json_t *low = none ? json_null() : calc_json_number(run, b->water_activity_low);
    json_t *high = none ? json_null() : calc_json_number(run, b->water_activity_high);
    calc_answer_json(run, "water_activity", json_pack("{s:o, s:o}", "low", low, "high", high));
}

static bool
run_blend(struct calc_run *run)
{
    struct calc_blend_in in;
    struct calc_blend b;
    if (!read_blend(run, &in))
        return false;
    calc_blend(&in, &b);
    calc_answer_number(run, "mass_g", b.mass_g);
    calc_answer_number(run, "volume_ml", b.volume_ml);
    answer_ranges(run, &b);
    calc_answer_maybe(run, "sugar_g_per_l", b.sugar_g_per_l);
    calc_answer_maybe(run, "invert_g_per_l", b.invert_g_per_l);
    calc_answer_maybe(run, "brix_in_water_pct", b.brix_in_water_pct);
    calc_answer_number(run, "ethanol_ml", b.ethanol_ml);
    answer_activity(run, &b);
    calc_answer_number(run, "dry_grounds_g", b.dry_grounds_g);
    answer_reminders(run, &in, &b);
    double p = calc_ethanol_mass_fraction(in.spirit_abv_pct, CALC_REFERENCE_C);
    bool frozen = in.spirit_ml > 0 && !calc_ethanol_liquid(p, in.t_c);
    calc_answer_valid(run, frozen ? "the spirit is below its freezing curve at t_c"
                                  : calc_blend_limit_text(b.limit));
    calc_answer_source(run, "model B: OIML R 22 and CRC sucrose densities, mass conserved; water "
                            "activity: Norrish with Raoult (low) and van Laar (high)");
    return true;
}

#define MASS(name, help)                                                    \
    {                                                                       \
        name, CALC_ARG_NUMBER, CALC_OPTIONAL, "g", 0, 1e9, NULL, help, NULL \
    }

static const struct calc_arg args[] = {
    {"spirit_ml", CALC_ARG_NUMBER, CALC_OPTIONAL, "ml at t_c", 0, 1e9, NULL, "spirit by volume",
     NULL},
    MASS("spirit_g", "or spirit by mass"),
    {"spirit_abv_pct", CALC_ARG_NUMBER, CALC_OPTIONAL, "% vol at 20 C", 0, 100, NULL,
     "strength of the spirit", NULL},
    {"t_c", CALC_ARG_NUMBER, CALC_OPTIONAL, "Celsius", -20, 40, "20", "temperature of spirit_ml",
     NULL},
    MASS("sugar_g", "sugar"),
    MASS("water_g", "water"),
    MASS("coffee_g", "brewed coffee"),
    {"coffee_tds_pct", CALC_ARG_NUMBER, CALC_OPTIONAL, "% mass", 0, 100, NULL,
     "strength of the coffee", NULL},
    MASS("grounds_g", "wet grounds"),
    {"grounds_moisture_pct", CALC_ARG_NUMBER, CALC_OPTIONAL, "% mass", 0, 100, NULL,
     "water in the grounds", NULL},
};

const struct calc_what calc_what_blend = {
    "blend",
    "what a mix becomes: volume, strength, sweetness, reminders",
    args,
    sizeof args / sizeof args[0],
    run_blend,
    CALC_CAUTION_ALCOHOL | CALC_CAUTION_FOOD,
    {"knockbox calc blend spirit_ml=1000 spirit_abv_pct=40 sugar_g=300",
     "knockbox calc blend spirit_g=100 spirit_abv_pct=40 sugar_g=100 coffee_g=200 "
     "coffee_tds_pct=1.3 grounds_g=100 grounds_moisture_pct=60"},
};
