/* what_target.c - calc target. */
#include "client/calc/run.h"
#include "daemon/calc/target.h"

static bool
read_target(struct calc_run *run, struct calc_target_in *in)
{
    static const char *const sizes[] = {"volume_ml", "grounds_g", NULL};
    double abv = calc_number(run, "abv_pct");
    if (calc_count_given(run, sizes) == 0)
        return calc_exactly_one(run, sizes);
    if (abv > 0 && !calc_given(run, "spirit_abv_pct"))
        return calc_missing(run, "spirit_abv_pct");
    if (calc_given(run, "grounds_g") && !calc_given(run, "grounds_moisture_pct"))
        return calc_missing(run, "grounds_moisture_pct");
    *in = (struct calc_target_in){
        .abv_pct = abv,
        .sugar_g_per_l = calc_number(run, "sugar_g_per_l"),
        .volume_ml = calc_given(run, "volume_ml") ? calc_number(run, "volume_ml") : 0,
        .grounds_g = calc_given(run, "grounds_g") ? calc_number(run, "grounds_g") : 0,
        .spirit_abv_pct =
            calc_given(run, "spirit_abv_pct") ? calc_number(run, "spirit_abv_pct") : 0,
    };
    if (calc_given(run, "grounds_g"))
        in->grounds_moisture_pct = calc_number(run, "grounds_moisture_pct");
    if (calc_given(run, "coffee_tds_pct"))
        in->coffee_tds_pct = calc_number(run, "coffee_tds_pct");
    if (calc_given(run, "volume_ml"))
        return in->volume_ml > 0 || calc_refuse(run, "volume_ml", "above 0 (ml)");
    if (in->sugar_g_per_l <= 0)
        return calc_refuse(run, "sugar_g_per_l", "above 0 (g/l) when grounds decide the size");
    return in->grounds_g > 0 || calc_refuse(run, "grounds_g", "above 0 (g), or give volume_ml");
}

static void
set_number(struct calc_run *run, json_t *object, const char *key, double value)
{
    run->full |= json_object_set_new(object, key, calc_json_number(run, value)) != 0;
}

/* Names and values are the arguments of calc blend. */
static json_t *
blend_arguments(struct calc_run *run, const struct calc_target_in *in, const struct calc_target *t)
{
    json_t *blend = json_object();
    if (calc_given(run, "spirit_abv_pct")) {
        set_number(run, blend, "spirit_g", t->spirit_g);
        set_number(run, blend, "spirit_abv_pct", in->spirit_abv_pct);
    }
    set_number(run, blend, "sugar_g", t->sugar_g);
    bool coffee = calc_given(run, "coffee_tds_pct");
    set_number(run, blend, "water_g", coffee ? 0 : t->fill_g);
    if (coffee) {
        set_number(run, blend, "coffee_g", t->fill_g);
        set_number(run, blend, "coffee_tds_pct", in->coffee_tds_pct);
    }
    if (calc_given(run, "grounds_g")) {
        set_number(run, blend, "grounds_g", in->grounds_g);
        set_number(run, blend, "grounds_moisture_pct", in->grounds_moisture_pct);
    }
    return blend;
}

static json_t *
list_parts(struct calc_run *run, const struct calc_target_in *in, const struct calc_target *t)
{
    const struct {
        const char *item;
        double mass_g;
    } items[] = {{"grounds", in->grounds_g},
                 {"sugar", t->sugar_g},
                 {"spirit", t->spirit_g},
                 {calc_given(run, "coffee_tds_pct") ? "coffee" : "water", t->fill_g}};
    double unit = in->grounds_g > 0 ? in->grounds_g : t->sugar_g > 0 ? t->sugar_g : t->spirit_g;
    json_t *list = json_array();
    for (size_t i = 0; i < sizeof items / sizeof items[0]; i++) {
        if (i == 0 && !calc_given(run, "grounds_g"))
            continue;
        json_t *one = json_pack("{s:s}", "item", items[i].item);
        set_number(run, one, "mass_g", items[i].mass_g);
        json_t *part = unit > 0 ? calc_json_number(run, items[i].mass_g / unit) : json_null();
        run->full |= json_object_set_new(one, "part", part) != 0;
        run->full |= json_array_append_new(list, one) != 0;
    }
    return list;
}

static void
answer_reached(struct calc_run *run, const struct calc_target_in *in, const struct calc_target *t)
{
    calc_answer_json(run, "blend", blend_arguments(run, in, t));
    calc_answer_number(run, "spirit_ml", t->spirit_ml);
    calc_answer_number(run, "volume_ml", t->volume_ml);
    calc_answer_number(run, "mass_g", t->mass_g);
    calc_answer_json(run, "parts", list_parts(run, in, t));
    calc_answer_null(run, "nearest");
}

static void
answer_nearest(struct calc_run *run, const struct calc_target *t)
{
    static const char *const keys[] = {"blend", "spirit_ml", "volume_ml", "mass_g"};
    for (size_t i = 0; i < sizeof keys / sizeof keys[0]; i++)
        calc_answer_null(run, keys[i]);
    calc_answer_json(run, "parts", json_array());
    if (t->nearest_abv_pct != t->nearest_abv_pct) { /* NAN: none */
        calc_answer_null(run, "nearest");
        return;
    }
    json_t *nearest = json_object();
    set_number(run, nearest, "abv_pct", t->nearest_abv_pct);
    set_number(run, nearest, "sugar_g_per_l", t->nearest_sugar_g_per_l);
    calc_answer_json(run, "nearest", nearest);
}

static bool
run_target(struct calc_run *run)
{
    struct calc_target_in in = {0};
    struct calc_target t;
    if (!read_target(run, &in))
        return false;
    calc_target(&in, &t);
    if (t.limit == CALC_TARGET_REACHED)
        answer_reached(run, &in, &t);
    else
        answer_nearest(run, &t);
    calc_answer_valid(run, calc_target_limit_text(t.limit));
    calc_answer_source(run, "inverse of model B (see calc blend)");
    return true;
}

static const struct calc_arg args[] = {
    {"abv_pct", CALC_ARG_NUMBER, CALC_REQUIRED, "% vol at 20 C", 0, 100, NULL, "wanted strength",
     NULL},
    {"sugar_g_per_l", CALC_ARG_NUMBER, CALC_REQUIRED, "g/l", 0, 1e9, NULL, "wanted sweetness",
     NULL},
    {"volume_ml", CALC_ARG_NUMBER, CALC_OPTIONAL, "ml at 20 C", 0, 1e9, NULL, "wanted size", NULL},
    {"grounds_g", CALC_ARG_NUMBER, CALC_OPTIONAL, "g", 0, 1e9, NULL,
     "wet grounds; alone: sugar as heavy as they are", NULL},
    {"grounds_moisture_pct", CALC_ARG_NUMBER, CALC_OPTIONAL, "% mass", 0, 100, NULL,
     "water in the grounds", NULL},
    {"spirit_abv_pct", CALC_ARG_NUMBER, CALC_OPTIONAL, "% vol at 20 C", 0, 100, NULL,
     "strength of the spirit at hand", NULL},
    {"coffee_tds_pct", CALC_ARG_NUMBER, CALC_OPTIONAL, "% mass", 0, 100, NULL,
     "fill with coffee of this strength instead of water", NULL},
};

const struct calc_what calc_what_target = {
    "target",
    "what to weigh for a strength, a sweetness and a size",
    args,
    sizeof args / sizeof args[0],
    run_target,
    CALC_CAUTION_ALCOHOL,
    {"knockbox calc target abv_pct=20 sugar_g_per_l=250 volume_ml=5000 spirit_abv_pct=40",
     "knockbox calc target abv_pct=15 sugar_g_per_l=200 grounds_g=800 "
     "grounds_moisture_pct=60 spirit_abv_pct=96"},
};
