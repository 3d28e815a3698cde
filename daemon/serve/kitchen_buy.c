/* kitchen_buy.c - what a plan takes of each ingredient by day, and what to buy for it by when. */
#include <stdlib.h>
#include <string.h>
#include "daemon/serve/kitchen_trade.h"
#include "daemon/serve/show.h"

/* One ingredient of the plan. */
struct needing {
    const struct trade *trade;
    const struct problem *p;
    const struct problem_ingredient *ingredient;
    int at; /* of the ingredient */
    int64_t use_g[KITCHEN_DAYS_MOST], coming_g[KITCHEN_DAYS_MOST];
};

/* Of whole plans a gram is a gram: rounded up in sum, as the rules count it. */
static void
fill_use(struct needing *n, const struct plan *plan)
{
    int64_t mg = 0, before = 0;
    for (int d = 0; d < n->p->days; d++) {
        for (int i = 0; i < plan->batches_n; i++) {
            const struct plan_batch *batch = &plan->batches[i];
            if (batch->day != d)
                continue;
            for (int k = 0; k < batch->tubs_n; k++)
                mg += n->p->tubs[batch->tubs[k]].g *
                      n->p->recipes[batch->recipe].need_g_per_kg[n->at];
        }
        n->use_g[d] = (mg + 999) / 1000 - before;
        before += n->use_g[d];
    }
}

static void
fill_coming(struct needing *n)
{
    for (int i = 0; i < n->trade->n_coming; i++) {
        const struct trade_coming *one = &n->trade->coming[i];
        if (!one->answered && one->use < n->p->days && strcmp(one->item, n->ingredient->id) == 0)
            n->coming_g[one->use] += one->g;
    }
}

/* ---- as JSON */

static json_t *
date_of(const struct needing *n, int day)
{
    return show_day(n->trade->ask->today + day);
}

static void
put_packs(const struct needing *n, const struct buy *one, json_t *out)
{
    const Knockbox__Item *item = trade_item(n->trade, n->ingredient->id);
    bool priced = item != NULL && item->has_pack_minor && one->packs > 0;
    (void)json_object_set_new(out, "supplier", show_text(item != NULL ? item->supplier : NULL));
    (void)json_object_set_new(out, "packs",
                              one->packs > 0 ? json_integer(one->packs) : json_null());
    (void)json_object_set_new(
        out, "pack_g", item != NULL && item->has_pack_g ? json_integer(item->pack_g) : json_null());
    (void)json_object_set_new(out, "pack_ml",
                              item != NULL && item->has_pack_ml && !item->has_pack_g
                                  ? json_integer(item->pack_ml)
                                  : json_null());
    (void)json_object_set_new(out, "cost_minor",
                              priced ? json_integer(one->packs * item->pack_minor) : json_null());
    (void)json_object_set_new(out, "currency", show_text(priced ? item->currency : NULL));
}

static json_t *
buy_json(const struct needing *n, const struct buy *one)
{
    json_t *out = json_pack("{s:s, s:I, s:I, s:o, s:o, s:o, s:b}", "item", n->ingredient->id,
                            "mass_g", (json_int_t)one->g, "lack_g", (json_int_t)one->lack_g, "by",
                            date_of(n, one->order), "arrives", date_of(n, one->arrives), "for_day",
                            date_of(n, one->use), "late", one->late);
    put_packs(n, one, out);
    return out;
}

static json_t *
days_json(const struct needing *n, int64_t *out_use, int64_t *out_coming, int *out_lasts)
{
    json_t *days = json_array();
    int64_t left = n->ingredient->stock_g;
    int last = -1;
    *out_lasts = n->p->days;
    for (int d = 0; d < n->p->days; d++) {
        left += n->coming_g[d] - n->use_g[d];
        *out_use += n->use_g[d];
        *out_coming += n->coming_g[d];
        if (left < 0 && *out_lasts == n->p->days)
            *out_lasts = last;
        last = n->use_g[d] > 0 ? d : last;
        if (n->use_g[d] > 0 || n->coming_g[d] > 0)
            (void)json_array_append_new(days, json_pack("{s:o, s:I, s:I}", "day", date_of(n, d),
                                                        "use_g", (json_int_t)n->use_g[d], "left_g",
                                                        (json_int_t)left));
    }
    return days;
}

static json_t *
need_json(const struct needing *n)
{
    int64_t use = 0, coming = 0;
    int lasts;
    json_t *days = days_json(n, &use, &coming, &lasts);
    json_t *last = lasts == n->p->days ? json_null()
                   : lasts < 0         ? json_string("")
                                       : date_of(n, lasts);
    return json_pack("{s:s, s:I, s:I, s:I, s:o, s:o}", "item", n->ingredient->id, "stock_g",
                     (json_int_t)n->ingredient->stock_g, "coming_g", (json_int_t)coming, "use_g",
                     (json_int_t)use, "lasts", last, "days", days);
}

/* ---- all of them */

static void
add_ingredient(const struct trade *trade, const struct problem *p, const struct plan *plan, int at,
               json_t *buy, json_t *needs)
{
    struct needing n = {trade, p, &p->ingredients[at], at, {0}, {0}};
    struct buy list[KITCHEN_DAYS_MOST];
    struct buy_terms terms = trade_terms(trade, n.ingredient->id);
    fill_use(&n, plan);
    fill_coming(&n);
    struct buy_need need = {n.ingredient->stock_g, p->days, n.use_g, n.coming_g};
    int found = buy_list(&trade->days, &terms, &need, list, KITCHEN_DAYS_MOST);
    for (int i = 0; i < found; i++)
        (void)json_array_append_new(buy, buy_json(&n, &list[i]));
    if (n.ingredient->stock_g < PROBLEM_MOST) /* water is no ingredient to count */
        (void)json_array_append_new(needs, need_json(&n));
}

static json_t *
coming_json(const struct trade *trade)
{
    json_t *out = json_array();
    for (int i = 0; i < trade->n_coming; i++) {
        const struct trade_coming *one = &trade->coming[i];
        if (!one->answered)
            (void)json_array_append_new(
                out, json_pack("{s:s, s:I, s:o, s:o, s:o}", "item", one->item, "mass_g",
                               (json_int_t)one->g, "ordered", show_day(one->ordered), "arrives",
                               show_day(one->arrives), "purchase", show_text(one->purchase)));
    }
    return out;
}

/* By day of order; items of one day stay as they are. */
static json_t *
by_day(json_t *taken)
{
    json_t *out = json_array();
    while (json_array_size(taken) > 0) {
        size_t first = 0;
        for (size_t i = 1; i < json_array_size(taken); i++) {
            const char *a = json_string_value(json_object_get(json_array_get(taken, i), "by"));
            const char *b = json_string_value(json_object_get(json_array_get(taken, first), "by"));
            first = strcmp(a, b) < 0 ? i : first;
        }
        (void)json_array_append(out, json_array_get(taken, first));
        (void)json_array_remove(taken, first);
    }
    json_decref(taken);
    return out;
}

enum err
kitchen_buy(const struct kitchen_ask *ask, const struct problem *p, const struct plan *plan,
            json_t *view, struct err_text *why)
{
    struct trade trade;
    enum err e = trade_load(ask, &trade, why);
    json_t *buy = json_array(), *needs = json_array();
    for (int i = 0; i < p->ingredients_n && e == ERR_OK; i++)
        add_ingredient(&trade, p, plan, i, buy, needs);
    (void)json_object_set_new(view, "coming", coming_json(&trade));
    trade_done(&trade);
    (void)json_object_set_new(view, "buy", by_day(buy));
    (void)json_object_set_new(view, "needs", needs);
    return e;
}
