/* recipe.c - from parts to masses, product, strength and sweetness. */
#include "daemon/calc/recipe.h"

#include <math.h>

enum {
    LINES_MOST = 64
};

static double
sum_of(const struct calc_recipe *r, enum calc_input_kind kind)
{
    double sum = 0;
    for (size_t i = 0; i < r->count; i++)
        sum += r->lines[i].kind == kind ? r->lines[i].parts : 0;
    return sum;
}

static double
sum_all(const struct calc_recipe *r)
{
    double sum = 0;
    for (size_t i = 0; i < r->count; i++)
        sum += r->lines[i].parts;
    return sum;
}

bool
calc_recipe_has(const struct calc_recipe *recipe, enum calc_input_kind kind)
{
    return sum_of(recipe, kind) > 0;
}

enum calc_recipe_fault
calc_recipe_check(const struct calc_recipe *recipe)
{
    if (!(sum_all(recipe) > 0))
        return CALC_RECIPE_EMPTY;
    for (size_t i = 0; i < recipe->count; i++)
        if (recipe->lines[i].wet && recipe->lines[i].kind == CALC_SUGAR &&
            recipe->lines[i].parts > 0 && calc_recipe_has(recipe, CALC_GROUNDS))
            return CALC_RECIPE_WET_SUGAR;
    return CALC_RECIPE_GOOD;
}

/* ---- the liquor: `which` takes the low, middle or high end of what is not known */

enum end {
    END_LOW,
    END_MIDDLE,
    END_HIGH
};

static double
pct_at(const struct calc_recipe_line *line, enum end end)
{
    return end == END_LOW ? line->low : end == END_HIGH ? line->high : line->pct;
}

static void
add_line(struct calc_parts *parts, const struct calc_recipe_line *line, double pct, double water)
{
    struct calc_blend_in in = {.spirit_abv_pct = pct, .spirit_g = line->parts, .t_c = 20};
    struct calc_blend spirit;
    double share = line->parts * pct / 100;
    switch (line->kind) {
    case CALC_GROUNDS:
        parts->water_g += share * water;
        break;
    case CALC_SUGAR:
        parts->sugar_g += line->parts;
        break;
    case CALC_SPIRIT:
        calc_blend(&in, &spirit);
        parts->ethanol_g += spirit.parts.ethanol_g;
        parts->water_g += spirit.parts.water_g;
        break;
    case CALC_COFFEE:
        parts->solids_g += share;
        parts->water_g += line->parts - share;
        break;
    case CALC_WATER:
        parts->water_g += line->parts;
        break;
    }
}

/* The liquor of one g a part, with the grounds as wet as `end` says and `mixed` of their water. */
static void
liquor_at(const struct calc_recipe *r, enum end grounds, double mixed, struct calc_blend *out)
{
    struct calc_parts parts = {.water_g = 0};
    for (size_t i = 0; i < r->count; i++) {
        const struct calc_recipe_line *line = &r->lines[i];
        enum end end = line->kind == CALC_GROUNDS ? grounds : END_MIDDLE;
        add_line(&parts, line, pct_at(line, end), mixed);
    }
    calc_blend_of_parts(&parts, out);
}

/* Sweetness: the driest grounds whose held water did not mix are the sweet end. */
static void
fill_sweetness(const struct calc_recipe *r, struct calc_recipe_card *out)
{
    struct calc_blend wet, dry;
    liquor_at(r, END_HIGH, 1, &wet);
    liquor_at(r, END_LOW, 1 - CALC_UNMIXED_SHARE, &dry);
    out->sugar_low = wet.sugar_g_per_l * wet.density_low / wet.density_kg_m3;
    out->sugar_high = dry.sugar_g_per_l * dry.density_high / dry.density_kg_m3;
}

/* Strength: the balance of a batch that comes out as expected. */
static void
fill_strength(const struct calc_recipe *r, struct calc_recipe_card *out)
{
    struct calc_input inputs[LINES_MOST];
    struct calc_balance balance;
    struct calc_outputs outputs = {.product_g = out->product_g,
                                   .residue_g = out->total_g - out->product_g,
                                   .measured_abv_pct = NAN};
    size_t n = r->count < LINES_MOST ? r->count : LINES_MOST;
    for (size_t i = 0; i < n; i++) {
        const struct calc_recipe_line *line = &r->lines[i];
        inputs[i] = (struct calc_input){line->kind, line->parts * out->g_per_part, line->pct,
                                        line->low, line->high};
    }
    calc_balance(inputs, n, &outputs, &balance);
    out->abv_low = fmin(balance.abv_low, out->liquor.abv_low);
    out->abv_high = fmax(balance.abv_high, out->liquor.abv_high);
}

/* ---- the size */

static void
fill_yield(const struct calc_recipe *r, struct calc_recipe_card *out)
{
    struct calc_recipe_parts parts = {
        .grounds = sum_of(r, CALC_GROUNDS),
        .sugar = sum_of(r, CALC_SUGAR),
        .spirit = sum_of(r, CALC_SPIRIT),
        .coffee = sum_of(r, CALC_COFFEE),
        .water = sum_of(r, CALC_WATER),
    };
    double prior = r->yield_said > 0 ? r->yield_said : calc_yield_prior(&parts);
    if (prior > 0)
        calc_yield(prior, r->yields, r->yields_count, &out->yield);
    else
        out->yield = (struct calc_yield){NAN, NAN, NAN, 0};
}

/* Product of one g a part. */
static double
product_per_part(const struct calc_recipe *r, double yield)
{
    return isnan(yield) ? sum_all(r) : sum_of(r, CALC_GROUNDS) * yield;
}

static void
fill_product(const struct calc_recipe *r, struct calc_recipe_card *out)
{
    double ml_per_g = 1000 / out->liquor.density_kg_m3;
    out->product_g = out->g_per_part * product_per_part(r, out->yield.mean);
    out->product_g_low = out->g_per_part * product_per_part(r, out->yield.low);
    out->product_g_high = out->g_per_part * product_per_part(r, out->yield.high);
    out->product_ml = out->product_g * ml_per_g;
    out->product_ml_low = out->product_g_low * ml_per_g;
    out->product_ml_high = out->product_g_high * ml_per_g;
}

enum calc_recipe_fault
calc_recipe(const struct calc_recipe *recipe, const struct calc_recipe_size *size,
            struct calc_recipe_card *out)
{
    enum calc_recipe_fault fault = calc_recipe_check(recipe);
    double grounds = sum_of(recipe, CALC_GROUNDS);
    *out = (struct calc_recipe_card){.g_per_part = 0};
    if (fault == CALC_RECIPE_GOOD && size->grounds_g > 0 && !(grounds > 0))
        fault = CALC_RECIPE_NO_GROUNDS;
    if (fault != CALC_RECIPE_GOOD)
        return fault;
    fill_yield(recipe, out);
    liquor_at(recipe, END_MIDDLE, 1, &out->liquor);
    if (out->liquor.limit == CALC_BLEND_NO_LIQUOR)
        return CALC_RECIPE_DRY;
    double product_g = size->product_ml > 0 ? size->product_ml * out->liquor.density_kg_m3 / 1000
                                            : size->product_g;
    out->g_per_part = size->grounds_g > 0 ? size->grounds_g / grounds
                                          : product_g / product_per_part(recipe, out->yield.mean);
    out->grounds_g = grounds * out->g_per_part;
    out->total_g = sum_all(recipe) * out->g_per_part;
    fill_product(recipe, out);
    fill_strength(recipe, out);
    fill_sweetness(recipe, out);
    return CALC_RECIPE_GOOD;
}

/* ---- words */

static const char wet_sugar[] = "a liquid sweetener brings its own water, so it cannot draw "
                                "moisture out of the grounds; the base takes a dry sugar only";

const char *
calc_recipe_fault_text(enum calc_recipe_fault fault)
{
    static const char *const texts[] = {
        [CALC_RECIPE_GOOD] = "",
        [CALC_RECIPE_EMPTY] = "the recipe has no part above 0",
        [CALC_RECIPE_WET_SUGAR] = wet_sugar,
        [CALC_RECIPE_DRY] = "there is no liquor in it: only dry grounds",
        [CALC_RECIPE_NO_GROUNDS] = "the recipe has no grounds: give a size of the product",
    };
    return texts[fault];
}

const struct calc_step *
calc_step_at(enum calc_step_id id)
{
    static const struct calc_step steps[CALC_STEPS] = {
        [CALC_STEP_THAW] = {"thaw", "Tip frozen tubs into the sugar first and let them thaw in it",
                            "until no ice is left"},
        [CALC_STEP_DISSOLVE] = {"dissolve",
                                "Stir until the sugar has dissolved in the grounds' own water",
                                "with fresh grounds within minutes"},
        [CALC_STEP_ADD] = {"add", "Add the rest, and stir again", ""},
        [CALC_STEP_STEEP] = {"steep", "Let it steep, covered", ""},
        [CALC_STEP_STRAIN] = {"strain", "Strain through paper", "a day or two"},
        [CALC_STEP_PAPER] = {"paper", "Replace a paper that has clogged",
                             "when it hardly drips any more"},
        [CALC_STEP_BOTTLE] = {"bottle", "Weigh product and residue, measure, bottle", ""},
    };
    return &steps[id];
}
