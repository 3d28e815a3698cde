/* money.c - what bottles are worth on a day, posted to the books. */
#include "daemon/ledger/money.h"

#include <inttypes.h>
#include <stdio.h>
#include "proto/when.h"

const char *
money_of_site(const struct catalogue *catalogue, const char *site, int32_t day)
{
    const Knockbox__Site *version =
        (const Knockbox__Site *)catalogue_get(catalogue, KNOCKBOX__RECORD__BODY_SITE_, site, day);
    return version != NULL ? version->currency : NULL;
}

/* Transfer price for DELIVERED, list price for the rest; false: no such price. */
static bool
unit_price(const struct catalogue *catalogue, enum measure measure, const struct bottles *bottles,
           const char *currency, int32_t day, int64_t *out_minor)
{
    char key[128];
    (void)snprintf(key, sizeof key, "%s|%" PRId64 "|%s", bottles->product, bottles->bottle_ml,
                   currency);
    const Knockbox__Price *price =
        (const Knockbox__Price *)catalogue_get(catalogue, KNOCKBOX__RECORD__BODY_PRICE, key, day);
    if (price == NULL || (measure == MEASURE_DELIVERED && !price->has_transfer_minor))
        return false;
    *out_minor = measure == MEASURE_DELIVERED ? price->transfer_minor : price->list_minor;
    return true;
}

static const char *
which_price(enum measure measure)
{
    return measure == MEASURE_DELIVERED ? "delivered" : measure == MEASURE_LOST ? "lost" : "list";
}

enum err
money_post(const struct fold_input *input, struct outcome *outcome, enum measure measure,
           const struct fact *fact, const char *where, const struct bottles *bottles)
{
    char key[160];
    int64_t minor = 0;
    const char *currency = money_of_site(input->catalogue, where, fact->day);
    if (bottles->count == 0 || bottles->product == NULL)
        return ERR_OK;
    if (currency == NULL)
        currency = "";
    if (!unit_price(input->catalogue, measure, bottles, currency, fact->day, &minor)) {
        (void)snprintf(key, sizeof key, "%s|%s|%s", bottles->product, currency,
                       which_price(measure));
        return outcome_post(outcome, MEASURE_UNPRICED, fact->month, fact->site, key, 1);
    }
    (void)snprintf(key, sizeof key, "%s|%s", bottles->product, currency);
    return outcome_post(outcome, measure, fact->month, fact->site, key, minor * bottles->count);
}

enum err
money_post_sale(struct outcome *outcome, const struct fact *fact, const char *product,
                int64_t bottle_ml)
{
    char key[160], day[DAY_TEXT];
    const Knockbox__Sale *sale = fact->record->sale;
    (void)snprintf(key, sizeof key, "%s|%s", product, sale->currency);
    enum err e = outcome_post(outcome, MEASURE_SOLD, fact->month, fact->site, key,
                              sale->count * sale->unit_minor);
    (void)snprintf(key, sizeof key, "%s|%s", product, day_print(fact->day, day));
    return e == ERR_OK ? outcome_post(outcome, MEASURE_SOLD_ML, fact->month, fact->site, key,
                                      sale->count * bottle_ml)
                       : e;
}
