/* kitchen_trade.c - see kitchen_trade.h. */
#include "daemon/serve/kitchen_trade.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/calc/ethanol.h"
#include "proto/decimal.h"
#include "proto/when.h"

enum {
    ML_MOST = 1000000000
};

const Knockbox__Item *
trade_item(const struct trade *trade, const char *code)
{
    return (const Knockbox__Item *)catalogue_get(
        ledger_catalogue(trade->ask->ledger), KNOCKBOX__RECORD__BODY_ITEM, code, trade->ask->today);
}

/* By the item's strength; about 1 g a millilitre without one. */
static int64_t
mass_of(const Knockbox__Item *item, int64_t ml)
{
    struct decimal abv = {0, 0};
    double g_per_ml = 1;
    bool strong =
        item != NULL && item->abv_pct != NULL && decimal_parse(item->abv_pct, &abv, NULL) == ERR_OK;
    if (strong)
        g_per_ml = calc_ethanol_density_of_abv(decimal_double(&abv), CALC_REFERENCE_C) / 1000;
    return (int64_t)((double)(ml < ML_MOST ? ml : ML_MOST) * g_per_ml + 0.5);
}

struct buy_terms
trade_terms(const struct trade *trade, const char *code)
{
    const Knockbox__Item *item = trade_item(trade, code);
    struct buy_terms terms = {.lead = TRADE_LEAD};
    if (item == NULL)
        return terms;
    if (item->has_lead_d)
        terms.lead = (int)item->lead_d;
    for (size_t i = 0; i < item->n_order_weekdays; i++)
        terms.weekdays |= 1U << item->order_weekdays[i];
    if (item->has_pack_g)
        terms.pack_g = item->pack_g;
    else if (item->has_pack_ml)
        terms.pack_g = mass_of(item, item->pack_ml);
    return terms;
}

/* ---- what is under way */

static struct trade_coming *
add_coming(struct trade *trade, const char *item, int32_t arrives)
{
    int32_t late = trade->ask->today - arrives;
    if (item == NULL || late > TRADE_LATE_DAYS)
        return NULL;
    struct trade_coming *more =
        realloc(trade->coming, ((size_t)trade->n_coming + 1) * sizeof *more);
    trade->no_memory = more == NULL;
    if (more == NULL)
        return NULL;
    trade->coming = more;
    struct trade_coming *one = &more[trade->n_coming++];
    *one = (struct trade_coming){.arrives = arrives, .use = late < 0 ? 1 - late : 1};
    (void)snprintf(one->item, sizeof one->item, "%s", item);
    return one;
}

static void
add_purchase(struct trade *trade, const Knockbox__Purchase *purchase, int32_t day)
{
    struct trade_coming *one = add_coming(trade, purchase->item, purchase->due);
    if (one == NULL)
        return;
    one->ordered = day;
    one->g = purchase->has_mass_g ? purchase->mass_g
                                  : mass_of(trade_item(trade, purchase->item), purchase->volume_ml);
    (void)snprintf(one->purchase, sizeof one->purchase, "%s", purchase->purchase);
}

/* What was written down since stands above what a plan said. */
static void
forget_said(struct trade *trade, const char *item, int32_t day)
{
    for (int i = 0; i < trade->n_coming; i++) {
        struct trade_coming *one = &trade->coming[i];
        if (one->purchase[0] == '\0' && one->ordered <= day && strcmp(one->item, item) == 0)
            one->answered = true;
    }
}

static bool
see_purchase(void *owner, const struct fact *fact)
{
    struct trade *trade = owner;
    if (fact->kind->number != KNOCKBOX__RECORD__BODY_PURCHASE)
        return true;
    forget_said(trade, fact->record->purchase->item, fact->day);
    add_purchase(trade, fact->record->purchase, fact->day);
    return !trade->no_memory;
}

static bool
see_supply(void *owner, const char *code, const ProtobufCMessage *row)
{
    const Knockbox__SupplyRow *supply = (const Knockbox__SupplyRow *)row;
    (void)code;
    if (supply->item != NULL && supply->has_received)
        forget_said(owner, supply->item, supply->received);
    return true;
}

/* ---- what the plan that the kitchen works by said */

static bool
day_of(const json_t *line, const char *name, int32_t *out_day)
{
    const char *text = json_string_value(json_object_get(line, name));
    return text != NULL && day_parse(text, out_day);
}

/* `ordered`: the name of the day on which it was, or had to be, ordered. */
static void
add_said(struct trade *trade, const json_t *list, const char *ordered_name)
{
    for (size_t i = 0; i < json_array_size(list); i++) {
        const json_t *line = json_array_get(list, i);
        int32_t ordered, arrives;
        bool named = json_is_string(json_object_get(line, "purchase"));
        if (named || !day_of(line, ordered_name, &ordered) || !day_of(line, "arrives", &arrives) ||
            ordered >= trade->ask->today)
            continue;
        struct trade_coming *one =
            add_coming(trade, json_string_value(json_object_get(line, "item")), arrives);
        if (one == NULL)
            continue;
        one->ordered = ordered;
        one->g = json_integer_value(json_object_get(line, "mass_g"));
    }
}

static bool
see_answer(void *owner, const struct fact *fact)
{
    struct trade *trade = owner;
    if (fact->kind->number != KNOCKBOX__RECORD__BODY_SUPPLY)
        return true;
    for (int i = 0; i < trade->n_coming; i++)
        if (strcmp(trade->coming[i].purchase, fact->record->supply->purchase) == 0)
            trade->coming[i].answered = true;
    return true;
}

static enum err
load_coming(struct trade *trade, struct err_text *why)
{
    struct ledger *ledger = trade->ask->ledger;
    add_said(trade, json_object_get(trade->ask->published, "coming"), "ordered");
    add_said(trade, json_object_get(trade->ask->published, "buy"), "by");
    enum err e =
        trade->n_coming > 0 ? ledger_rows(ledger, SUBJECT_SUPPLY, see_supply, trade, why) : ERR_OK;
    if (e == ERR_OK)
        e = ledger_facts(ledger, SUBJECT_DEMAND, "purchases", INT64_MAX, see_purchase, trade, why);
    if (e == ERR_OK)
        e = ledger_facts(ledger, SUBJECT_DEMAND, "purchases", INT64_MAX, see_answer, trade, why);
    if (trade->no_memory)
        return err_set(ERR_MEM, why, "no memory for the purchases");
    return e == ERR_NOT_FOUND ? ERR_OK : e;
}

enum err
trade_load(const struct kitchen_ask *ask, struct trade *trade, struct err_text *why)
{
    *trade = (struct trade){.ask = ask};
    for (int d = 0; d < TRADE_DAYS; d++)
        trade->weekday[d] = kitchen_works(ask, ask->today + d)
                                ? (signed char)day_weekday(ask->today + d)
                                : (signed char)0;
    trade->days = (struct buy_days){TRADE_DAYS, trade->weekday};
    return load_coming(trade, why);
}

void
trade_done(struct trade *trade)
{
    free(trade->coming);
    trade->coming = NULL;
    trade->n_coming = 0;
}
