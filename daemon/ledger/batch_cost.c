/* batch_cost.c - see batch_cost.h. */
#include "daemon/ledger/batch_cost.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>
#include "daemon/ledger/lineage.h"
#include "daemon/ledger/money.h"
#include "daemon/ledger/supply_mass.h"
#include "proto/when.h"

/* So many minor units for so many grams. */
struct price {
    const char *currency;
    int64_t minor, mass_g;
};

static enum err
post(const struct cost_batch *b, enum measure measure, const char *key, int64_t amount)
{
    return outcome_post(b->outcome, measure, b->month, b->site, key, amount);
}

static const Knockbox__Item *
item_of(const struct cost_batch *b, const struct fact *supply)
{
    return (const Knockbox__Item *)catalogue_get(b->input->catalogue, KNOCKBOX__RECORD__BODY_ITEM,
                                                 supply->record->supply->item, supply->day);
}

/* As written, else that of the site that has the lot. */
static const char *
currency_of(const struct cost_batch *b, const struct fact *supply, const char *written)
{
    return written != NULL && written[0] != '\0'
               ? written
               : money_of_site(b->input->catalogue, supply->site, supply->day);
}

/* One delivery into the price of its lot; false: it has no price, or one in another currency. */
static bool
add_delivery(const struct cost_batch *b, const struct fact *fact, struct price *price)
{
    const Knockbox__Supply *supply = fact->record->supply;
    const char *currency = currency_of(b, fact, supply->currency);
    const Knockbox__Item *item = item_of(b, fact);
    const char *abv = supply->abv_pct != NULL ? supply->abv_pct
                      : item != NULL          ? item->abv_pct
                                              : NULL;
    if (!supply->has_cost_minor || currency == NULL ||
        (price->currency != NULL && strcmp(price->currency, currency) != 0))
        return false;
    price->currency = currency;
    price->minor += supply->cost_minor;
    price->mass_g += supply->has_mass_g ? supply->mass_g : supply_mass_g(supply->volume_ml, abv);
    return true;
}

/* K1: what all deliveries of the lot cost together, by the gram. */
static enum err
price_of_lot(const struct cost_batch *b, const char *lot, struct price *out_price, bool *out_known)
{
    const struct fact *facts = NULL;
    size_t n = 0;
    enum err e = b->input->facts_of_kind(b->input->owner, SUBJECT_SUPPLY, lot,
                                         KNOCKBOX__RECORD__BODY_SUPPLY, &facts, &n);
    *out_price = (struct price){NULL, 0, 0};
    *out_known = e == ERR_OK && n > 0;
    for (size_t i = 0; *out_known && i < n; i++)
        *out_known = add_delivery(b, &facts[i], out_price);
    *out_known = *out_known && out_price->mass_g > 0;
    return e;
}

/* K1: else the catalogue's pack, as on the day of the lot's first delivery. */
static bool
price_of_pack(const struct cost_batch *b, const struct fact *supply, const Knockbox__Item *item,
              struct price *out_price)
{
    if (item == NULL || !item->has_pack_minor || (!item->has_pack_g && !item->has_pack_ml))
        return false;
    bool by_mass = item->has_pack_g;
    out_price->currency = currency_of(b, supply, item->currency);
    out_price->minor = by_mass ? item->pack_minor : item->pack_minor * 1000;
    out_price->mass_g = by_mass ? item->pack_g : supply_mass_g(item->pack_ml * 1000, item->abv_pct);
    return out_price->currency != NULL && out_price->mass_g > 0;
}

static enum err
post_price(const struct cost_batch *b, const struct price *price, int64_t mass_g)
{
    char key[192];
    (void)snprintf(key, sizeof key, "%s %" PRId64 " %" PRId64 " %s", price->currency, price->minor,
                   price->mass_g, b->batch);
    return post(b, MEASURE_BATCH_PRICE, key, mass_g);
}

static enum err
post_unknown(const struct cost_batch *b, char mark, const char *code, int64_t mass_g)
{
    char key[192];
    (void)snprintf(key, sizeof key, "%c %s %s", mark, code, b->batch);
    return post(b, MEASURE_BATCH_PRICE, key, mass_g);
}

/* No supply: bottles taken back, or nobody knows it. */
static enum err
post_other(const struct cost_batch *b, const char *lot, int64_t mass_g)
{
    const struct fact *bottle =
        b->input->first_fact(b->input->owner, SUBJECT_LOT, lot, KNOCKBOX__RECORD__BODY_BOTTLE);
    return bottle != NULL ? post_unknown(b, '~', bottle->record->bottle->batch, mass_g)
                          : post_unknown(b, '?', lot, mass_g);
}

enum err
cost_post_input(const struct cost_batch *b, const char *lot, int64_t mass_g)
{
    struct price price;
    bool known = false;
    const struct fact *supply = lineage_supply(b->input, lot);
    if (supply == NULL)
        return post_other(b, lot, mass_g);
    const Knockbox__Item *item = item_of(b, supply);
    enum err e = price_of_lot(b, lot, &price, &known);
    if (e != ERR_OK)
        return e;
    if (known || price_of_pack(b, supply, item, &price))
        return post_price(b, &price, mass_g);
    bool water = item != NULL && item->class_ == KNOCKBOX__ITEM_CLASS__ITEM_CLASS_WATER;
    return water ? ERR_OK : post_unknown(b, '-', supply->record->supply->item, mass_g);
}

enum err
cost_post_made(const struct cost_batch *b, const struct fact *mix)
{
    char key[192], day[DAY_TEXT];
    (void)snprintf(key, sizeof key, "%s %s %s", mix->record->mix->recipe, day_print(mix->day, day),
                   b->batch);
    return post(b, MEASURE_BATCH_MADE, key, 1);
}

enum err
cost_post_bottles(const struct cost_batch *b, const Knockbox__Bottle *bottle)
{
    char key[128];
    (void)snprintf(key, sizeof key, "%" PRId64 " %s", bottle->bottle_ml, b->batch);
    return post(b, MEASURE_BATCH_BOTTLES, key, bottle->count);
}
