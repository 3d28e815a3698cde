/* recipe_cost.c - which ingredient lots a batch takes, and what they and the work cost. */
#include <math.h>
#include <string.h>
#include "daemon/calc/ethanol.h"
#include "daemon/serve/recipe.h"
#include "daemon/serve/show.h"

const char *
recipe_currency(const struct recipe_ask *ask)
{
    if (ask->at != NULL && ask->at->currency != NULL)
        return ask->at->currency;
    for (size_t i = 0; i < ask->stock.n_lots; i++)
        if (ask->stock.lots[i].currency[0] != '\0')
            return ask->stock.lots[i].currency;
    return NULL;
}

static bool
same_currency(const struct recipe_ask *ask, const char *currency)
{
    const char *ours = recipe_currency(ask);
    return ours != NULL && (currency == NULL || currency[0] == '\0' || strcmp(currency, ours) == 0);
}

/* Minor units a gram; NAN: nobody wrote it down in our currency. */
static double
lot_price(const struct recipe_ask *ask, const struct recipe_lot *lot)
{
    if (lot->cost_minor < 0 || lot->mass_g <= 0 || !same_currency(ask, lot->currency))
        return NAN;
    return (double)lot->cost_minor / (double)lot->mass_g;
}

static double
pack_price(const struct recipe_ask *ask, const Knockbox__Item *item)
{
    if (!item->has_pack_minor || !same_currency(ask, item->currency))
        return NAN;
    if (item->has_pack_g)
        return (double)item->pack_minor / (double)item->pack_g;
    double abv = recipe_number(item->abv_pct);
    double g_per_ml = calc_ethanol_density_of_abv(isnan(abv) ? 0 : abv, CALC_REFERENCE_C) / 1000;
    return item->has_pack_ml ? (double)item->pack_minor / ((double)item->pack_ml * g_per_ml) : NAN;
}

/* Of what is not there yet: the pack's, else what was paid last. */
static double
next_price(const struct recipe_ask *ask, const struct recipe_part *part)
{
    double price = pack_price(ask, part->item);
    int32_t newest = INT32_MIN;
    for (size_t i = 0; i < ask->stock.n_lots && !part->item->has_pack_minor; i++) {
        const struct recipe_lot *lot = &ask->stock.lots[i];
        if (strcmp(lot->item, part->item_code) != 0 || isnan(lot_price(ask, lot)) ||
            lot->received < newest)
            continue;
        newest = lot->received;
        price = lot_price(ask, lot);
    }
    return price;
}

static void
add_cost(struct recipe_cost *out, double price, int64_t mass_g)
{
    if (mass_g > 0 && isnan(price))
        out->known = false;
    else if (mass_g > 0)
        out->minor += price * (double)mass_g;
}

void
recipe_take_item(const struct recipe_ask *ask, const struct recipe_part *part, int64_t mass_g,
                 struct recipe_cost *out)
{
    *out = (struct recipe_cost){.lots = json_array(), .known = true};
    if (part->item->class_ == KNOCKBOX__ITEM_CLASS__ITEM_CLASS_WATER)
        return; /* out of the tap */
    for (size_t i = 0; i < ask->stock.n_lots && mass_g > 0; i++) {
        const struct recipe_lot *lot = &ask->stock.lots[i];
        if (strcmp(lot->item, part->item_code) != 0 || !recipe_lot_good(ask, lot))
            continue;
        int64_t take = lot->left_g < mass_g ? lot->left_g : mass_g;
        double price = lot_price(ask, lot);
        add_cost(out, isnan(price) ? next_price(ask, part) : price, take);
        (void)json_array_append_new(
            out->lots,
            json_pack("{s:s, s:I, s:o}", "lot", lot->lot, "take_g", (json_int_t)take, "best_before",
                      lot->best_before != INT32_MAX ? show_day(lot->best_before) : json_null()));
        mass_g -= take;
    }
    out->short_g = mass_g;
    add_cost(out, next_price(ask, part), mass_g);
}

double
recipe_work_s(const struct recipe_ask *ask, double grounds_g)
{
    const Knockbox__Recipe *r = ask->recipe;
    if (r->has_labour_min)
        return (double)r->labour_min * 60;
    if (!r->has_mix_s_per_batch && !r->has_mix_s_per_kg && !r->has_bottle_s_per_batch &&
        !r->has_bottle_s_per_kg)
        return -1;
    return (double)(r->mix_s_per_batch + r->bottle_s_per_batch) +
           (double)(r->mix_s_per_kg + r->bottle_s_per_kg) * grounds_g / 1000;
}
