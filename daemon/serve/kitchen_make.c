/* kitchen_make.c - products, recipes and ingredients, with what usual practice says where the
 * catalogue is silent: 100 g of grounds give about 300 g of liqueur or 150 g of syrup. */
#include <stdio.h>
#include <string.h>
#include "daemon/serve/kitchen_trade.h"
#include "proto/decimal.h"

enum {
    SHELF_DAYS = 365,
    LIQUEUR_ML_PER_KG = 3000,
    SYRUP_ML_PER_KG = 1300,
    OTHER_ML_PER_KG = 1000,
    LIQUEUR_DAYS = 2,
    GROUNDS_MOST_G = 10000,
    BATCH_S = 1800,
    RATE_MOST = 100000,
    HALF_PRICE = 2, /* what is left at the end is worth half of the list price */
};

#define DELIVERY_G INT64_C(100000000) /* as much as is wanted */

/* ---- prices and products */

/* The price in the kitchen's currency, of the product's usual bottle if it has one, else of the
 * first by key. */
struct kitchen_price
kitchen_price_of(const struct kitchen *k, const char *product)
{
    struct kitchen_price out = {.known = false};
    const char *const *keys = NULL;
    unsigned n = kitchen_keys(k, KNOCKBOX__RECORD__BODY_PRICE, &keys);
    const Knockbox__Product *usual =
        (const Knockbox__Product *)kitchen_get(k, KNOCKBOX__RECORD__BODY_PRODUCT, product);
    for (unsigned i = 0; i < n; i++) {
        const Knockbox__Price *price =
            (const Knockbox__Price *)kitchen_get(k, KNOCKBOX__RECORD__BODY_PRICE, keys[i]);
        if (price == NULL || strcmp(price->product, product) != 0 ||
            (k->site != NULL && strcmp(price->currency, k->site->currency) != 0))
            continue;
        bool is_usual =
            usual != NULL && usual->has_bottle_ml && usual->bottle_ml == price->bottle_ml;
        if (out.known && !is_usual)
            continue;
        int64_t ml = price->bottle_ml;
        out.known = true;
        out.list_cents_per_l = price->list_minor * 1000 / ml;
        out.transfer_cents_per_l =
            (price->has_transfer_minor ? price->transfer_minor : price->list_minor) * 1000 / ml;
        out.buy_in_cents_per_l = price->has_buy_in_minor ? price->buy_in_minor * 1000 / ml : 0;
    }
    return out;
}

enum err
kitchen_products(struct kitchen *k, struct err_text *why)
{
    const char *const *keys = NULL;
    struct problem *p = k->p;
    unsigned n = kitchen_keys(k, KNOCKBOX__RECORD__BODY_PRODUCT, &keys);
    (void)why;
    for (unsigned i = 0; i < n; i++) {
        const Knockbox__Product *product =
            (const Knockbox__Product *)kitchen_get(k, KNOCKBOX__RECORD__BODY_PRODUCT, keys[i]);
        struct problem_product *one =
            product != NULL ? kitchen_add(k, &p->products, &p->products_n, sizeof *one) : NULL;
        if (one == NULL)
            continue;
        struct kitchen_price price = kitchen_price_of(k, keys[i]);
        kitchen_name(one->id, keys[i]);
        one->shelf_days = product->has_shelf_d ? (int)product->shelf_d : SHELF_DAYS;
        one->end_cents_per_l = price.list_cents_per_l / HALF_PRICE;
        if (!price.known)
            kitchen_assume(k, "%s has no price in the kitchen's currency: it earns nothing.",
                           keys[i]);
    }
    return ERR_OK;
}

/* ---- recipes */

static Knockbox__ProductClass
class_of(const struct kitchen *k, const char *product)
{
    const Knockbox__Product *p =
        (const Knockbox__Product *)kitchen_get(k, KNOCKBOX__RECORD__BODY_PRODUCT, product);
    return p != NULL ? p->class_ : KNOCKBOX__PRODUCT_CLASS__PRODUCT_CLASS_OTHER;
}

static int64_t
usual_yield(Knockbox__ProductClass class)
{
    if (class == KNOCKBOX__PRODUCT_CLASS__PRODUCT_CLASS_LIQUEUR)
        return LIQUEUR_ML_PER_KG;
    return class == KNOCKBOX__PRODUCT_CLASS__PRODUCT_CLASS_SYRUP ? SYRUP_ML_PER_KG
                                                                 : OTHER_ML_PER_KG;
}

static double
parts_of(const Knockbox__Recipe *recipe, const char *input, double *out_all)
{
    double found = 0;
    *out_all = 0;
    for (size_t i = 0; i < recipe->n_parts; i++) {
        struct decimal value;
        struct err_text ignored; /* checked when it was written */
        if (decimal_parse(recipe->parts[i]->parts, &value, &ignored) != ERR_OK)
            continue;
        double parts = decimal_double(&value);
        *out_all += parts;
        if (strcmp(recipe->parts[i]->input, input) == 0)
            found += parts;
    }
    return found;
}

/* The largest vessel in use, 0: none. */
static int64_t
largest_vessel_ml(const struct kitchen *k)
{
    const char *const *keys = NULL;
    int64_t most = 0;
    unsigned n = kitchen_keys(k, KNOCKBOX__RECORD__BODY_VESSEL, &keys);
    for (unsigned i = 0; i < n; i++) {
        const Knockbox__Vessel *vessel =
            (const Knockbox__Vessel *)kitchen_get(k, KNOCKBOX__RECORD__BODY_VESSEL, keys[i]);
        bool there = vessel != NULL && (!vessel->has_to || vessel->to >= k->ask->today);
        if (there && vessel->holds_ml > most)
            most = vessel->holds_ml;
    }
    return most;
}

/* The mix of a batch fills the largest vessel at 1 g a millilitre; half of it is the least. */
static void
fill_size(struct kitchen *k, const Knockbox__Recipe *recipe, struct problem_recipe *one)
{
    double all, grounds = parts_of(recipe, "grounds", &all);
    int64_t vessel = largest_vessel_ml(k), most = GROUNDS_MOST_G;
    if (vessel > 0 && grounds > 0)
        most = (int64_t)((double)vessel * grounds / all);
    one->puck_max_g = recipe->has_grounds_max_g ? recipe->grounds_max_g : most;
    one->puck_min_g = recipe->has_grounds_min_g ? recipe->grounds_min_g : one->puck_max_g / 2;
    if (one->puck_min_g > one->puck_max_g)
        one->puck_max_g = one->puck_min_g;
    if (!recipe->has_grounds_max_g)
        kitchen_assume(k, "A batch of %s takes %lld to %lld g of grounds (%s).", recipe->code,
                       (long long)one->puck_min_g, (long long)one->puck_max_g,
                       vessel > 0 ? "the largest vessel" : "no vessel is recorded");
}

static void
fill_work(struct kitchen *k, const Knockbox__Recipe *recipe, struct problem_recipe *one)
{
    int64_t half = recipe->has_labour_min ? recipe->labour_min * 30 : BATCH_S;
    bool said =
        recipe->has_mix_s_per_batch || recipe->has_bottle_s_per_batch || recipe->has_labour_min;
    one->mix_s_per_batch = recipe->has_mix_s_per_batch ? recipe->mix_s_per_batch : half;
    one->bottle_s_per_batch = recipe->has_bottle_s_per_batch ? recipe->bottle_s_per_batch : half;
    one->mix_s_per_kg = recipe->mix_s_per_kg < RATE_MOST ? recipe->mix_s_per_kg : RATE_MOST;
    one->bottle_s_per_kg =
        recipe->bottle_s_per_kg < RATE_MOST ? recipe->bottle_s_per_kg : RATE_MOST;
    if (!said)
        kitchen_assume(k, "A batch of %s takes half an hour to mix and half an hour to bottle.",
                       recipe->code);
}

static void
fill_yield(struct kitchen *k, const Knockbox__Recipe *recipe, struct problem_recipe *one)
{
    Knockbox__ProductClass class = class_of(k, recipe->product);
    bool liqueur = class == KNOCKBOX__PRODUCT_CLASS__PRODUCT_CLASS_LIQUEUR;
    if (recipe->has_yield_ml_per_kg)
        one->yield_ml_per_kg = recipe->yield_ml_per_kg;
    else if (recipe->has_yield_g_per_kg)
        one->yield_ml_per_kg = recipe->yield_g_per_kg; /* about 1 g a millilitre */
    else
        one->yield_ml_per_kg = usual_yield(class);
    if (!recipe->has_yield_ml_per_kg && !recipe->has_yield_g_per_kg)
        kitchen_assume(k, "%s gives %lld ml from a kilogram of grounds.", recipe->code,
                       (long long)one->yield_ml_per_kg);
    one->strain_days = recipe->has_strain_days ? (int)recipe->strain_days
                       : liqueur               ? LIQUEUR_DAYS
                                               : 1;
    if (!recipe->has_strain_days)
        kitchen_assume(k, "%s strains %d %s.", recipe->code, one->strain_days,
                       one->strain_days == 1 ? "day" : "days");
}

static void
fill_needs(struct kitchen *k, const Knockbox__Recipe *recipe, struct problem_recipe *one)
{
    struct problem *p = k->p;
    double all, grounds = parts_of(recipe, "grounds", &all);
    for (size_t i = 0; i < recipe->n_parts && grounds > 0; i++) {
        const char *input = recipe->parts[i]->input;
        if (strcmp(input, "grounds") == 0)
            continue;
        int at = kitchen_find(p->ingredients, p->ingredients_n, sizeof *p->ingredients, input);
        if (at < 0 && p->ingredients_n < PROBLEM_PARTS_MAX) {
            struct problem_ingredient *ingredient =
                kitchen_add(k, &p->ingredients, &p->ingredients_n, sizeof *ingredient);
            if (ingredient == NULL)
                return;
            kitchen_name(ingredient->id, input);
            at = p->ingredients_n - 1;
        }
        double need = parts_of(recipe, input, &all) / grounds * 1000;
        if (at >= 0)
            one->need_g_per_kg[at] = need < RATE_MOST ? (int64_t)(need + 0.5) : RATE_MOST;
    }
}

/* A bit for each coffee that it takes; none named: all of them, later ones too (kitchen_tubs). */
static void
fill_coffees(struct kitchen *k, const Knockbox__Recipe *recipe, struct problem_recipe *one)
{
    const char *const *keys = NULL;
    unsigned n = kitchen_keys(k, KNOCKBOX__RECORD__BODY_COFFEE, &keys);
    for (unsigned i = 0; i < n; i++) {
        int profile = kitchen_profile(k, keys[i]);
        bool takes = recipe->coffees == NULL;
        for (size_t c = 0; recipe->coffees != NULL && c < recipe->coffees->n_v; c++)
            takes = takes || strcmp(recipe->coffees->v[c], keys[i]) == 0;
        if (takes && profile >= 0)
            problem_take(one, profile);
    }
}

enum err
kitchen_recipes(struct kitchen *k, struct err_text *why)
{
    const char *const *keys = NULL;
    struct problem *p = k->p;
    unsigned n = kitchen_keys(k, KNOCKBOX__RECORD__BODY_RECIPE, &keys);
    (void)why;
    for (unsigned i = 0; i < n; i++) {
        const Knockbox__Recipe *recipe =
            (const Knockbox__Recipe *)kitchen_get(k, KNOCKBOX__RECORD__BODY_RECIPE, keys[i]);
        int product = recipe != NULL ? kitchen_find(p->products, p->products_n, sizeof *p->products,
                                                    recipe->product)
                                     : -1;
        if (product < 0)
            continue;
        struct problem_recipe *one = kitchen_add(k, &p->recipes, &p->recipes_n, sizeof *one);
        if (one == NULL)
            break;
        kitchen_name(one->id, keys[i]);
        one->product = product;
        fill_size(k, recipe, one);
        fill_yield(k, recipe, one);
        fill_work(k, recipe, one);
        fill_needs(k, recipe, one);
        fill_coffees(k, recipe, one);
    }
    return ERR_OK;
}

/* ---- ingredients */

static bool
add_supply(void *owner, const char *code, const ProtobufCMessage *row)
{
    struct kitchen *k = owner;
    struct problem *p = k->p;
    const Knockbox__SupplyRow *supply = (const Knockbox__SupplyRow *)row;
    (void)code;
    int at = supply->item != NULL ? kitchen_find(p->ingredients, p->ingredients_n,
                                                 sizeof *p->ingredients, supply->item)
                                  : -1;
    bool good = !supply->has_best_before || supply->best_before >= k->ask->today;
    if (at < 0 || !good || supply->left_g <= 0)
        return true;
    struct problem_ingredient *one = &p->ingredients[at];
    one->stock_g +=
        supply->left_g < PROBLEM_MOST - one->stock_g ? supply->left_g : PROBLEM_MOST - one->stock_g;
    if (supply->has_cost_minor && supply->mass_g > 0) /* the newest price paid stays */
        one->cents_per_kg = supply->cost_minor * 1000 / supply->mass_g;
    return true;
}

static void
add_delivery(struct kitchen *k, struct problem_ingredient *one, int day, int64_t g)
{
    struct problem_delivery *delivery =
        day < k->p->days ? kitchen_add(k, &one->deliveries, &one->deliveries_n, sizeof *delivery)
                         : NULL;
    if (delivery != NULL)
        *delivery = (struct problem_delivery){day, g < PROBLEM_MOST ? g : PROBLEM_MOST};
}

static void
add_coming(struct kitchen *k, const struct trade_coming *coming, struct problem_ingredient *one)
{
    add_delivery(k, one, coming->use, coming->g);
    if (coming->purchase[0] == '\0')
        kitchen_assume(k,
                       "%.2f kg of %s are under way, ordered as the plan said: knockbox log "
                       "purchase tells otherwise.",
                       (double)coming->g / 1000, one->id);
}

/* What is under way, and as much as is wanted from the first day that an order made now serves. */
static void
fill_deliveries(struct kitchen *k, const struct trade *trade, struct problem_ingredient *one)
{
    const Knockbox__Item *item = trade_item(trade, one->id);
    struct buy_terms terms = trade_terms(trade, one->id);
    for (int i = 0; i < trade->n_coming; i++)
        if (!trade->coming[i].answered && strcmp(trade->coming[i].item, one->id) == 0)
            add_coming(k, &trade->coming[i], one);
    add_delivery(k, one, buy_first_use(&trade->days, &terms), DELIVERY_G);
    if (item == NULL || !item->has_lead_d)
        kitchen_assume(k, "%s comes %d working days after it is ordered.", one->id, TRADE_LEAD);
}

static void
fill_ingredient(struct kitchen *k, const struct trade *trade, struct problem_ingredient *one)
{
    const Knockbox__Item *item = trade_item(trade, one->id);
    struct buy_terms terms = trade_terms(trade, one->id);
    if (item != NULL && item->has_pack_minor && terms.pack_g > 0)
        one->cents_per_kg = item->pack_minor * 1000 / terms.pack_g;
    else if (one->cents_per_kg == 0)
        kitchen_assume(k, "%s costs nothing: neither a pack nor a delivery has a price.", one->id);
    if (one->cents_per_kg > PROBLEM_MOST)
        one->cents_per_kg = PROBLEM_MOST;
    if (item != NULL && item->class_ == KNOCKBOX__ITEM_CLASS__ITEM_CLASS_WATER)
        one->stock_g = PROBLEM_MOST;
    fill_deliveries(k, trade, one);
}

enum err
kitchen_supplies(struct kitchen *k, struct err_text *why)
{
    struct trade trade;
    enum err e = trade_load(k->ask, &trade, why);
    if (e == ERR_OK)
        e = ledger_rows(k->ask->ledger, SUBJECT_SUPPLY, add_supply, k, why);
    for (int i = 0; i < k->p->ingredients_n && e == ERR_OK; i++)
        fill_ingredient(k, &trade, &k->p->ingredients[i]);
    trade_done(&trade);
    return e;
}
