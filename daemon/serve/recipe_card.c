/* recipe_card.c - the card of a recipe for a wanted amount, or for the tubs at hand. */
#include <math.h>
#include <stdio.h>
#include <string.h>
#include "daemon/calc/currency.h"
#include "daemon/calc/reminders.h"
#include "daemon/calc/target.h"
#include "daemon/serve/recipe.h"
#include "daemon/serve/show.h"
#include "proto/fields.h"

static json_t *
real(double x)
{
    return isfinite(x) ? json_real(x) : json_null();
}

static void
put(struct recipe_card *card, const char *name, json_t *value)
{
    (void)json_object_set_new(card->answer, name, value);
}

static bool
is_class(const struct recipe_card *card, Knockbox__ProductClass class)
{
    return card->ask->product != NULL && card->ask->product->class_ == class;
}

/* ---- what to weigh */

static json_t *
notes_json(const Knockbox__Texts *notes)
{
    json_t *list = json_array();
    for (size_t i = 0; notes != NULL && i < notes->n_v; i++)
        (void)json_array_append_new(list, json_string(notes->v[i]));
    return list;
}

static json_t *
grounds_json(struct recipe_card *card, const struct recipe_part *part, int64_t mass_g)
{
    return json_pack("{s:s, s:s, s:n, s:f, s:I, s:[], s:I, s:i, s:[], s:f}", "input", part->input,
                     "class", "grounds", "name", "parts", part->parts, "mass_g", (json_int_t)mass_g,
                     "lots", "short_g", (json_int_t)card->grounds_short_g, "cost_minor", 0, "notes",
                     "moisture_pct", part->line.pct);
}

static json_t *
item_json(struct recipe_card *card, const struct recipe_part *part, int64_t mass_g)
{
    struct recipe_cost cost;
    recipe_take_item(card->ask, part, mass_g, &cost);
    card->cost_known = card->cost_known && cost.known;
    if (cost.known)
        card->cost_minor += cost.minor;
    else
        (void)json_array_append_new(card->unpriced, json_string(part->item_code));
    json_t *line =
        json_pack("{s:s, s:s, s:s, s:f, s:I, s:o, s:I, s:o, s:o, s:b}", "input", part->item_code,
                  "class", enum_word(&knockbox__item_class__descriptor, (int)part->item->class_),
                  "name", part->item->name, "parts", part->parts, "mass_g", (json_int_t)mass_g,
                  "lots", cost.lots, "short_g", (json_int_t)cost.short_g, "cost_minor",
                  cost.known ? json_integer(llround(cost.minor)) : json_null(), "notes",
                  notes_json(part->item->notes), "alcoholic", part->line.kind == CALC_SPIRIT);
    if (strcmp(part->input, part->item_code) != 0)
        (void)json_object_set_new(line, "in_place_of", json_string(part->input));
    if (part->line.kind == CALC_SPIRIT)
        (void)json_object_set_new(line, "abv_pct", real(part->line.pct));
    if (part->line.kind == CALC_COFFEE)
        (void)json_object_set_new(line, "tds_pct", real(part->line.pct));
    return line;
}

static void
put_parts(struct recipe_card *card)
{
    json_t *list = json_array();
    for (size_t i = 0; i < card->ask->n; i++) {
        const struct recipe_part *part = &card->ask->parts[i];
        int64_t mass_g = llround(part->parts * card->c.g_per_part);
        (void)json_array_append_new(list, part->item == NULL ? grounds_json(card, part, mass_g)
                                                             : item_json(card, part, mass_g));
    }
    put(card, "parts", list);
}

static void
put_tubs(struct recipe_card *card)
{
    json_t *list = json_array();
    for (size_t i = 0; i < card->ask->stock.n_tubs; i++) {
        const struct recipe_tub *tub = &card->ask->stock.tubs[i];
        const Knockbox__Coffee *coffee = (const Knockbox__Coffee *)recipe_get(
            card->ask, KNOCKBOX__RECORD__BODY_COFFEE, tub->coffee);
        if (tub->take_g == 0)
            continue;
        (void)json_array_append_new(
            list,
            json_pack("{s:s, s:s, s:I, s:I, s:o, s:o}", "tub", tub->tub, "coffee", tub->coffee,
                      "take_g", (json_int_t)tub->take_g, "net_g", (json_int_t)tub->net_g, "use_by",
                      tub->use_by != INT32_MAX ? show_day(tub->use_by) : json_null(), "notes",
                      notes_json(coffee != NULL ? coffee->notes : NULL)));
    }
    put(card, "tubs", list);
}

/* ---- what comes of it */

static const char *
yield_source(const struct recipe_card *card)
{
    if (card->c.yield.batches > 0)
        return "the kitchen's own batches, around what is usual";
    return card->recipe.yield_said > 0 ? "the recipe" : "common practice, no source";
}

static void
put_product(struct recipe_card *card)
{
    const struct calc_recipe_card *c = &card->c;
    put(card, "grounds_g", json_integer(llround(c->grounds_g)));
    put(card, "total_g", json_integer(llround(c->total_g)));
    put(card, "yield_g_per_kg", real(c->yield.mean * 1000));
    put(card, "yield_batches", json_integer((json_int_t)card->recipe.yields_count));
    put(card, "yield_source",
        isnan(c->yield.mean) ? json_string("nothing stays behind")
                             : json_string(yield_source(card)));
    put(card, "product_g", real(c->product_g));
    put(card, "product_ml", real(c->product_ml));
    put(card, "abv_pct", real(c->liquor.abv_pct));
    put(card, "sugar_g_per_l", real(c->liquor.sugar_g_per_l));
    put(card, "invert_g_per_l", real(c->liquor.invert_g_per_l));
    put(card, "density_kg_m3", real(c->liquor.density_kg_m3));
    put(card, "low",
        json_pack("{s:o, s:o, s:o, s:o, s:o}", "yield_g_per_kg", real(c->yield.low * 1000),
                  "product_g", real(c->product_g_low), "product_ml", real(c->product_ml_low),
                  "abv_pct", real(c->abv_low), "sugar_g_per_l", real(c->sugar_low)));
    put(card, "high",
        json_pack("{s:o, s:o, s:o, s:o, s:o}", "yield_g_per_kg", real(c->yield.high * 1000),
                  "product_g", real(c->product_g_high), "product_ml", real(c->product_ml_high),
                  "abv_pct", real(c->abv_high), "sugar_g_per_l", real(c->sugar_high)));
    put(card, "valid", json_boolean(c->liquor.limit == CALC_BLEND_INSIDE));
    put(card, "why", show_text(calc_blend_limit_text(c->liquor.limit)));
}

/* NAN: as the mix has it. */
static struct calc_target_in
target_in(const struct recipe_card *card, double abv, double sugar)
{
    const struct recipe_ask *ask = card->ask;
    struct calc_target_in in = {
        .abv_pct = isnan(abv) ? card->c.liquor.abv_pct : abv,
        .sugar_g_per_l = isnan(sugar) ? card->c.liquor.sugar_g_per_l : sugar,
        .volume_ml = card->c.liquor.volume_ml * card->c.g_per_part,
        .grounds_g = card->c.grounds_g,
        .spirit_abv_pct = CALC_SPIRIT_ABV,
    };
    for (size_t i = 0; i < ask->n; i++) {
        if (ask->lines[i].kind == CALC_GROUNDS)
            in.grounds_moisture_pct = ask->lines[i].pct;
        if (ask->lines[i].kind == CALC_SPIRIT)
            in.spirit_abv_pct = ask->lines[i].pct;
        if (ask->lines[i].kind == CALC_COFFEE)
            in.coffee_tds_pct = ask->lines[i].pct;
    }
    return in;
}

static json_t *
target_json(const struct calc_target_in *in, const struct calc_target *t)
{
    bool reached = t->limit == CALC_TARGET_REACHED;
    return json_pack(
        "{s:f, s:f, s:b, s:o, s:o, s:o, s:o, s:s, s:o, s:o}", "abv_pct", in->abv_pct,
        "sugar_g_per_l", in->sugar_g_per_l, "reached", reached, "why",
        show_text(calc_target_limit_text(t->limit)), "spirit_g",
        reached ? real(t->spirit_g) : json_null(), "sugar_g",
        reached ? real(t->sugar_g) : json_null(), "fill_g", reached ? real(t->fill_g) : json_null(),
        "fill", in->coffee_tds_pct > 0 ? "coffee" : "water", "nearest_abv_pct",
        real(t->nearest_abv_pct), "nearest_sugar_g_per_l", real(t->nearest_sugar_g_per_l));
}

/* What would reach the strength and sweetness that the recipe, or the request, aims at. */
static enum err
put_target(struct recipe_card *card, struct err_text *why)
{
    const struct recipe_ask *ask = card->ask;
    double abv = recipe_number(ask->recipe->target_abv_pct);
    double sugar = recipe_number(ask->recipe->target_sugar_g_l);
    enum err e = recipe_arg(ask, "target_abv_pct", 0, 100, &abv, why);
    if (e == ERR_OK)
        e = recipe_arg(ask, "target_sugar_g_l", 0, 2000, &sugar, why);
    if (e != ERR_OK || (isnan(abv) && isnan(sugar))) {
        put(card, "target", json_null());
        return e;
    }
    struct calc_target_in in = target_in(card, abv, sugar);
    struct calc_target t;
    calc_target(&in, &t);
    put(card, "target", target_json(&in, &t));
    return ERR_OK;
}

/* ---- cost */

/* What is known of it; minor units, rounded here and nowhere before. */
static void
put_cost(struct recipe_card *card)
{
    const struct recipe_ask *ask = card->ask;
    const char *currency = recipe_currency(ask);
    double work_s = recipe_work_s(ask, card->c.grounds_g);
    bool paid = work_s >= 0 && ask->at != NULL && ask->at->has_labour_minor_per_hour;
    double labour = paid ? work_s / 3600 * (double)ask->at->labour_minor_per_hour : 0;
    if (!paid)
        (void)json_array_append_new(card->unpriced, json_string("labour"));
    bool has_bottle = ask->product != NULL && ask->product->has_bottle_ml;
    double bottle_ml = has_bottle ? (double)ask->product->bottle_ml : 1000;
    int64_t total = llround(card->cost_minor + labour);
    int64_t each = llround((card->cost_minor + labour) * bottle_ml / card->c.product_ml);
    char text[CALC_MONEY_TEXT], each_text[CALC_MONEY_TEXT];
    put(card, "bottle_ml", json_integer((json_int_t)bottle_ml));
    put(card, "bottles", json_integer((json_int_t)floor(card->c.product_ml / bottle_ml)));
    put(card, "cost",
        currency == NULL
            ? json_null()
            : json_pack("{s:s, s:i, s:I, s:o, s:I, s:s, s:I, s:s, s:b, s:O}", "currency", currency,
                        "decimals", calc_currency_decimals(currency), "ingredients_minor",
                        (json_int_t)llround(card->cost_minor), "labour_minor",
                        paid ? json_integer(llround(labour)) : json_null(), "total_minor",
                        (json_int_t)total, "total", calc_money_print(total, currency, text),
                        "per_bottle_minor", (json_int_t)each, "per_bottle",
                        calc_money_print(each, currency, each_text), "complete",
                        card->cost_known && paid, "not_priced", card->unpriced));
}

/* ---- marks, cautions, reminders */

static const char *
base_of(const struct recipe_card *card)
{
    bool spirit = calc_recipe_has(&card->recipe, CALC_SPIRIT);
    bool coffee = calc_recipe_has(&card->recipe, CALC_COFFEE);
    if (spirit)
        return coffee ? "spirit and coffee" : "spirit";
    return coffee ? "coffee" : "neither spirit nor coffee";
}

static void
put_marks(struct recipe_card *card)
{
    const struct recipe_ask *ask = card->ask;
    bool spirit = calc_recipe_has(&card->recipe, CALC_SPIRIT);
    bool syrup = is_class(card, KNOCKBOX__PRODUCT_CLASS__PRODUCT_CLASS_SYRUP);
    bool less = syrup && !spirit && calc_recipe_has(&card->recipe, CALC_COFFEE);
    const Knockbox__Limits *limit =
        catalogue_limit(ask->catalogue, RECIPE_KEEPS_LIMIT, ask->site, ask->today);
    put(card, "base", json_string(base_of(card)));
    put(card, "alcoholic", json_boolean(spirit));
    put(card, "keeps_less", json_boolean(less));
    put(card, "keeps",
        !less || limit == NULL ? json_null()
                               : json_pack("{s:s, s:s, s:s}", "value", limit->value, "unit",
                                           limit->unit, "source", limit->source));
    if (less && limit == NULL)
        recipe_say(ask->cautions,
                   "A syrup on coffee keeps for less time. How long is this site's own policy, "
                   "and none is written down: knockbox log limits code=%s value=DAYS unit=d "
                   "comparator='<=' source=... dated=...",
                   RECIPE_KEEPS_LIMIT);
}

static void
put_reminders(struct recipe_card *card)
{
    const char *wanted = call_arg(card->ask->call, "market");
    const struct calc_blend *liquor = &card->c.liquor;
    const struct calc_rule *rules[CALC_REMINDERS_MOST];
    unsigned market = wanted != NULL ? recipe_market(wanted) : CALC_MARKET_ALL;
    char text[CALC_REMINDER_TEXT];
    struct calc_drink drink = {
        .abv_pct = liquor->abv_pct,
        .invert_g_per_l = liquor->invert_g_per_l,
        .sugar_mass_pct = 100 * liquor->parts.sugar_g / liquor->mass_g,
        .has_grounds = calc_recipe_has(&card->recipe, CALC_GROUNDS),
    };
    drink.has_coffee = drink.has_grounds || calc_recipe_has(&card->recipe, CALC_COFFEE);
    json_t *list = json_array();
    size_t n = isfinite(liquor->abv_pct) ? calc_reminders(&drink, market, rules) : 0;
    for (size_t i = 0; i < n; i++)
        (void)json_array_append_new(list, json_pack("{s:s, s:s, s:s}", "id", rules[i]->id, "text",
                                                    calc_reminder_text(rules[i], text), "source",
                                                    rules[i]->source));
    put(card, "reminders", list);
}

static void
say_cautions(struct recipe_card *card)
{
    json_t *list = card->ask->cautions;
    recipe_say(list, "Estimates for planning. Food safety: the local food code and the site's own "
                     "safety plan come first.");
    if (calc_recipe_has(&card->recipe, CALC_SPIRIT))
        recipe_say(list,
                   "Alcoholic. Strength, name, duty and sale: local law and licensed practice "
                   "come first; measure before a label.");
}

/* ---- all of it */

static void
put_head(struct recipe_card *card)
{
    const struct recipe_ask *ask = card->ask;
    put(card, "recipe", json_string(ask->recipe->code));
    put(card, "product", json_string(ask->recipe->product));
    put(card, "name", show_text(ask->product != NULL ? ask->product->name : NULL));
    put(card, "class",
        ask->product != NULL ? json_string(enum_word(&knockbox__product_class__descriptor,
                                                     (int)ask->product->class_))
                             : json_null());
    put(card, "site", json_string(ask->site));
    put(card, "day", show_day(ask->today));
    put(card, "size_by", json_string(card->by));
}

static enum err
work_out(struct recipe_card *card, struct err_text *why)
{
    const Knockbox__Recipe *r = card->ask->recipe;
    card->recipe = (struct calc_recipe){.lines = card->ask->lines,
                                        .count = card->ask->n,
                                        .yield_said = r->has_yield_g_per_kg && r->yield_g_per_kg > 0
                                                          ? (double)r->yield_g_per_kg / 1000
                                                          : NAN,
                                        .yields = card->ask->records.yields,
                                        .yields_count = card->ask->records.n_yields};
    enum err e = recipe_size(card, why);
    if (e != ERR_OK)
        return e;
    enum calc_recipe_fault fault = calc_recipe(&card->recipe, &card->size, &card->c);
    if (fault != CALC_RECIPE_GOOD)
        return err_set(ERR_INPUT, why, "%s: %s", r->code, calc_recipe_fault_text(fault));
    recipe_take_tubs(card);
    return ERR_OK;
}

enum err
recipe_card(struct recipe_ask *ask, bool scale, json_t **out_answer, struct err_text *why)
{
    struct recipe_card card = {.ask = ask,
                               .scale = scale,
                               .by = "",
                               .cost_known = true,
                               .unpriced = json_array(),
                               .answer = json_object()};
    enum err e = work_out(&card, why);
    if (e == ERR_OK) {
        put_head(&card);
        put_marks(&card);
        put_parts(&card);
        put_tubs(&card);
        put_product(&card);
        e = put_target(&card, why);
        put_cost(&card);
        put(&card, "steps", recipe_steps(ask));
        put_reminders(&card);
        recipe_say_size(&card);
        say_cautions(&card);
        put(&card, "cautions", json_incref(ask->cautions));
        put(&card, "assumed", json_incref(ask->assumed));
    }
    json_decref(card.unpriced);
    if (e == ERR_OK)
        *out_answer = card.answer;
    else
        json_decref(card.answer);
    return e;
}
