/* kitchen_stock.c - tubs there are, batches under way, bottles. */
#include <stdio.h>
#include <string.h>
#include "daemon/serve/kitchen.h"

enum {
    KEEPS_DAYS = 28,
    TUB_G_MOST = 10000000,
    DAY_MS = 86400000
};

static int32_t
local_day(int64_t ms, int offset_min)
{
    return (int32_t)((ms + (int64_t)offset_min * 60000) / DAY_MS);
}

/* ---- tubs */

/* A profile that no recipe was asked about yet is taken by those that name no coffee. */
static int
profile_of(struct kitchen *k, const char *coffee)
{
    int had = k->p->profiles_n, at = kitchen_profile(k, coffee);
    for (int i = 0; at == had && at >= 0 && i < k->p->recipes_n; i++) {
        const Knockbox__Recipe *recipe = (const Knockbox__Recipe *)kitchen_get(
            k, KNOCKBOX__RECORD__BODY_RECIPE, k->p->recipes[i].id);
        if (recipe != NULL && recipe->coffees == NULL)
            problem_take(&k->p->recipes[i], at);
    }
    return at;
}

static bool
where_is(const Knockbox__TubRow *tub, enum problem_at *out_at)
{
    switch (tub->state) {
    case KNOCKBOX__TUB_STATE__TUB_STATE_FROZEN:
        *out_at = PROBLEM_AT_SITE;
        return true;
    case KNOCKBOX__TUB_STATE__TUB_STATE_IN_TRANSIT: /* there before the next thaw */
    case KNOCKBOX__TUB_STATE__TUB_STATE_RECEIVED:
    case KNOCKBOX__TUB_STATE__TUB_STATE_THAWED:
        *out_at = PROBLEM_AT_KITCHEN;
        return true;
    default:
        return false;
    }
}

static bool
add_tub(void *owner, const char *code, const ProtobufCMessage *row)
{
    struct kitchen *k = owner;
    const Knockbox__TubRow *tub = (const Knockbox__TubRow *)row;
    enum problem_at at;
    if (!where_is(tub, &at) || tub->net_g < 1 || tub->net_g > TUB_G_MOST)
        return true;
    if (tub->warm_over) {
        kitchen_assume(k, "Tubs that stood warm too long are left out.");
        return true;
    }
    int site = kitchen_site(k, tub->from_site != NULL ? tub->from_site : k->ask->site);
    int profile = profile_of(k, tub->coffee != NULL ? tub->coffee : "unknown");
    struct problem_tub *one =
        site >= 0 && profile >= 0 ? kitchen_add(k, &k->p->tubs, &k->p->tubs_n, sizeof *one) : NULL;
    if (one == NULL)
        return k->failed == ERR_OK;
    int32_t frozen = local_day(tub->frozen_ms, tub->offset_min) - k->ask->today;
    kitchen_name(one->id, code);
    one->site = site;
    one->profile = profile;
    one->g = tub->net_g;
    one->frozen_day = frozen;
    one->use_by_day = tub->has_use_by ? tub->use_by - k->ask->today : frozen + KEEPS_DAYS;
    one->at = at;
    return true;
}

enum err
kitchen_tubs(struct kitchen *k, struct err_text *why)
{
    return ledger_rows(k->ask->ledger, SUBJECT_TUB, add_tub, k, why);
}

/* ---- batches under way */

/* The first day from `from` on with hands for its bottling, counting batches placed before. */
static int
bottling_day(const struct kitchen *k, int recipe, int64_t grounds_g, int from)
{
    const struct problem *p = k->p;
    for (int d = from < 0 ? 0 : from; d < p->calendar_n; d++) {
        int64_t work = 0;
        for (int i = 0; i <= p->straining_n; i++) {
            bool own = i == p->straining_n;
            int r = own ? recipe : p->straining[i].recipe;
            int64_t g = own ? grounds_g : p->straining[i].puck_g;
            if (own || p->straining[i].ready_day == d)
                work += p->recipes[r].bottle_s_per_batch * 1000 + p->recipes[r].bottle_s_per_kg * g;
        }
        if (p->calendar[d].working && work <= p->calendar[d].labour_s * 1000)
            return d;
    }
    return -1;
}

static bool
add_straining(void *owner, const char *code, const ProtobufCMessage *row)
{
    struct kitchen *k = owner;
    struct problem *p = k->p;
    const Knockbox__BatchRow *batch = (const Knockbox__BatchRow *)row;
    (void)code;
    int recipe = batch->recipe != NULL
                     ? kitchen_find(p->recipes, p->recipes_n, sizeof *p->recipes, batch->recipe)
                     : -1;
    if (recipe < 0 || !batch->has_mixed_ms || batch->n_lots > 0)
        return true;
    int32_t from = local_day(batch->mixed_ms, batch->offset_min) + p->recipes[recipe].strain_days -
                   k->ask->today;
    int ready = bottling_day(k, recipe, batch->grounds_g, batch->has_ended_ms ? 0 : from);
    if (ready < 0 || p->straining_n == p->stations) {
        kitchen_assume(k, "More batches are under way than stations: %s is left out.",
                       batch->batch);
        return true;
    }
    struct problem_straining *one = kitchen_add(k, &p->straining, &p->straining_n, sizeof *one);
    if (one == NULL)
        return false;
    *one = (struct problem_straining){recipe, ready, batch->grounds_g};
    return true;
}

enum err
kitchen_straining(struct kitchen *k, struct err_text *why)
{
    return ledger_rows(k->ask->ledger, SUBJECT_BATCH, add_straining, k, why);
}

/* ---- bottles at the kitchen that may be sold */

static bool
add_lot(void *owner, const char *code, const ProtobufCMessage *row)
{
    struct kitchen *k = owner;
    struct problem *p = k->p;
    const Knockbox__LotRow *lot = (const Knockbox__LotRow *)row;
    (void)code;
    int product = lot->product != NULL
                      ? kitchen_find(p->products, p->products_n, sizeof *p->products, lot->product)
                      : -1;
    bool may_be = lot->has_decision && lot->decision == KNOCKBOX__DECISION__DECISION_RELEASE &&
                  !lot->recalled;
    for (size_t i = 0; i < lot->n_spots && product >= 0 && may_be; i++) {
        const Knockbox__LotSpot *spot = lot->spots[i];
        if (strcmp(spot->site, k->ask->site) != 0 || spot->count <= 0 ||
            spot->state != KNOCKBOX__LOT_STATE__LOT_STATE_ON_HAND)
            continue;
        int32_t last = lot->has_best_before
                           ? lot->best_before
                           : local_day(lot->bottled_ms, 0) + p->products[product].shelf_days - 1;
        if (last < k->ask->today)
            continue; /* not for sale any more: a person throws it away */
        struct problem_stock *one = kitchen_add(k, &p->stock, &p->stock_n, sizeof *one);
        if (one == NULL)
            return false;
        int64_t ml = spot->count * lot->bottle_ml;
        one->product = product;
        one->ml = ml < PROBLEM_MOST ? ml : PROBLEM_MOST;
        one->best_before_day = last - k->ask->today;
    }
    return true;
}

/* What is there already has to fit, or no plan at all could keep the rules. */
static void
widen_fridge(struct kitchen *k)
{
    struct problem *p = k->p;
    int64_t ml = 0;
    for (int i = 0; i < p->stock_n; i++)
        ml += p->stock[i].ml;
    for (int i = 0; i < p->straining_n; i++)
        ml +=
            p->straining[i].puck_g * p->recipes[p->straining[i].recipe].yield_ml_per_kg / 1000 + 1;
    if (ml <= p->fridge_ml)
        return;
    p->fridge_ml = ml < PROBLEM_MOST ? ml : PROBLEM_MOST;
    kitchen_assume(k, "The cold store holds %lld l: that is what is there and under way.",
                   (long long)(p->fridge_ml / 1000));
}

enum err
kitchen_bottles(struct kitchen *k, struct err_text *why)
{
    enum err e = ledger_rows(k->ask->ledger, SUBJECT_LOT, add_lot, k, why);
    widen_fridge(k);
    return e;
}
