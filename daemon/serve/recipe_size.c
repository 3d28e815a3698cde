/* recipe_size.c - how much: by grounds, product, given tubs, or the tubs at hand. */
#include <math.h>
#include <string.h>
#include "daemon/calc/reminders.h"
#include "daemon/serve/recipe.h"

#define MASS_MOST 1e9 /* g and ml */

static const double per_kg = 1000; /* g: the size of a card that nobody sized */

unsigned
recipe_market(const char *word)
{
    static const struct {
        const char *word;
        unsigned market;
    } markets[] = {{"eu", CALC_MARKET_EU},
                   {"uk", CALC_MARKET_UK},
                   {"us", CALC_MARKET_US},
                   {"all", CALC_MARKET_ALL}};
    for (size_t i = 0; i < sizeof markets / sizeof markets[0]; i++)
        if (strcmp(word, markets[i].word) == 0)
            return markets[i].market;
    return 0;
}

/* ---- the size */

/* The vessel of the request, else the largest; NULL: none. */
static const Knockbox__Vessel *
vessel_of(const struct recipe_ask *ask)
{
    const char *wanted = call_arg(ask->call, "vessel");
    const char *const *keys = NULL;
    const Knockbox__Vessel *best = NULL;
    unsigned n = catalogue_keys(ask->catalogue, KNOCKBOX__RECORD__BODY_VESSEL, &keys);
    for (unsigned i = 0; i < n; i++) {
        const Knockbox__Vessel *v =
            (const Knockbox__Vessel *)recipe_get(ask, KNOCKBOX__RECORD__BODY_VESSEL, keys[i]);
        if (v == NULL || (v->has_to && v->to < ask->today) ||
            (wanted != NULL && strcmp(wanted, keys[i]) != 0))
            continue;
        if (best == NULL || v->holds_ml > best->holds_ml)
            best = v;
    }
    return best;
}

/* Most of the mix, at 1 g a millilitre where only the volume is known. */
static double
vessel_g(const Knockbox__Vessel *vessel)
{
    double by_volume = (double)vessel->holds_ml, by_mass = (double)vessel->holds_g;
    return vessel->has_holds_g && by_mass < by_volume ? by_mass : by_volume;
}

static double
grounds_most(const struct recipe_card *card)
{
    const struct recipe_ask *ask = card->ask;
    const Knockbox__Vessel *vessel = vessel_of(ask);
    double most = ask->recipe->has_grounds_max_g ? (double)ask->recipe->grounds_max_g : MASS_MOST;
    double all = 0, grounds = 0;
    for (size_t i = 0; i < ask->n; i++) {
        all += ask->lines[i].parts;
        grounds += ask->lines[i].kind == CALC_GROUNDS ? ask->lines[i].parts : 0;
    }
    return vessel != NULL ? fmin(most, vessel_g(vessel) * grounds / all) : most;
}

static enum err
size_at_hand(struct recipe_card *card, struct err_text *why)
{
    int64_t g = recipe_take_fitting(card->ask, grounds_most(card));
    card->by = "the tubs at hand";
    card->size.grounds_g = (double)g;
    if (g > 0)
        return ERR_OK;
    return err_set(ERR_INPUT, why,
                   "no whole tub at hand fits a batch of %s: say tubs=, grounds_g= or product_ml=",
                   card->ask->recipe->code);
}

static enum err
size_by_tubs(struct recipe_card *card, const char *tubs, struct err_text *why)
{
    int64_t g = 0;
    enum err e = recipe_take_named(card->ask, tubs, &g, why);
    card->by = "the tubs given";
    card->size.grounds_g = (double)g;
    return e;
}

/* A name of the request that the catalogue does not have is no other size. */
static enum err
check_names(const struct recipe_ask *ask, struct err_text *why)
{
    const char *vessel = call_arg(ask->call, "vessel");
    const char *coffee = call_arg(ask->call, "grounds");
    const char *market = call_arg(ask->call, "market");
    if (vessel != NULL && vessel_of(ask) == NULL)
        return err_input(why, "vessel", vessel, "a vessel of the catalogue that is in use");
    if (coffee != NULL && recipe_get(ask, KNOCKBOX__RECORD__BODY_COFFEE, coffee) == NULL)
        return err_input(why, "grounds", coffee, "a coffee of the catalogue");
    if (market != NULL && recipe_market(market) == 0)
        return err_input(why, "market", market, "eu, uk, us or all");
    return ERR_OK;
}

enum err
recipe_size(struct recipe_card *card, struct err_text *why)
{
    static const char *const names[] = {"grounds_g", "product_g", "product_ml", "tubs"};
    const char *tubs = call_arg(card->ask->call, "tubs");
    double *const to[] = {&card->size.grounds_g, &card->size.product_g, &card->size.product_ml};
    enum err e = check_names(card->ask, why);
    int given = 0;
    for (size_t i = 0; i < 4; i++)
        if (call_arg(card->ask->call, names[i]) != NULL) {
            card->by = names[i];
            given++;
        }
    if (given > 1)
        return err_set(ERR_USAGE, why, "give one of grounds_g, product_g, product_ml and tubs");
    for (size_t i = 0; i < 3 && e == ERR_OK; i++)
        e = recipe_arg(card->ask, names[i], 1, MASS_MOST, to[i], why);
    if (e != ERR_OK || given == 1)
        return e == ERR_OK && tubs != NULL ? size_by_tubs(card, tubs, why) : e;
    bool grounds = calc_recipe_has(&card->recipe, CALC_GROUNDS);
    if (card->scale && grounds)
        return size_at_hand(card, why);
    card->by = grounds ? "a kilogram of grounds" : "a kilogram of product";
    *(grounds ? &card->size.grounds_g : &card->size.product_g) = per_kg;
    return ERR_OK;
}

/* Tubs for a mass that a person wanted. A card for a kilogram takes none. */
void
recipe_take_tubs(struct recipe_card *card)
{
    bool wanted = call_arg(card->ask->call, "grounds_g") != NULL ||
                  call_arg(card->ask->call, "product_g") != NULL ||
                  call_arg(card->ask->call, "product_ml") != NULL;
    if (wanted && card->c.grounds_g > 0)
        card->grounds_short_g = recipe_take_mass(card->ask, llround(card->c.grounds_g));
}

void
recipe_say_size(struct recipe_card *card)
{
    const struct recipe_ask *ask = card->ask;
    const Knockbox__Recipe *r = ask->recipe;
    const Knockbox__Vessel *vessel = vessel_of(ask);
    bool sized = strncmp(card->by, "a kilogram", 10) != 0;
    if (sized && r->has_grounds_min_g && llround(card->c.grounds_g) < r->grounds_min_g)
        recipe_say(ask->cautions, "Under the least of a batch by the recipe, %lld g of grounds.",
                   (long long)r->grounds_min_g);
    if (sized && r->has_grounds_max_g && llround(card->c.grounds_g) > r->grounds_max_g)
        recipe_say(ask->cautions, "Over the most of a batch by the recipe, %lld g of grounds.",
                   (long long)r->grounds_max_g);
    if (sized && vessel != NULL && card->c.total_g > vessel_g(vessel) + 0.5)
        recipe_say(ask->cautions, "The mix is more than vessel %s holds: make %.0f batches of it.",
                   vessel->code, ceil(card->c.total_g / vessel_g(vessel) - 1e-9));
    if (card->c.product_g > card->c.liquor.mass_g * card->c.g_per_part + 0.5)
        recipe_say(ask->cautions, "More product is expected than there is liquor in the mix: look "
                                  "at yield_g_per_kg of the recipe, and at the batches.");
    if (card->grounds_short_g > 0)
        recipe_say(ask->cautions, "The tubs at hand are %lld g short of it.",
                   (long long)card->grounds_short_g);
}
