/* costs.c - what batches cost and what a bottle of them costs, beside what it costs bought in.
 *
 * Report rules K1 to K5 (docs/report.md). Each figure is rounded once from the exact sum, half away
 * from zero; cost_minor is the sum of the three printed parts, so that parts and totals agree.
 * What is not known is named in costs_missing and never taken for 0; currencies are never added.
 */
#include "daemon/report/costs.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

static const struct column bottle_columns[] = {
    {"batch", "batch", "", false},
    {"product", "product", "", false},
    {"bottle_ml", "mL", "", true},
    {"bottles", "bottles", "", true},
    {"currency", "in", "", false},
    {"cost_minor", "one costs", "minor", true},
    {"buy_in_minor", "bought in", "minor", true},
    {"saved_minor", "saved", "minor", true},
};

static const struct column cost_columns[] = {
    {"batch", "batch", "", false},
    {"currency", "in", "", false},
    {"ingredients_minor", "ingredients", "minor", true},
    {"labour_minor", "labour", "minor", true},
    {"collection_minor", "collection", "minor", true},
    {"cost_minor", "cost", "minor", true},
    {"known_minor", "known", "minor", true},
};

static const struct column missing_columns[] = {
    {"batch", "batch", "", false},
    {"what", "not known", "", false},
    {"of", "of", "", false},
    {"mass_g", "for", "g", true},
};

/* ---- a batch in one currency */

/* Printed parts; below 0: not known. */
struct parts {
    int64_t ingredients, labour, collection;
};

static int64_t
rounded(const struct fraction *f, bool unknown)
{
    int64_t whole = 0;
    return !unknown && fraction_round(f, &whole) ? whole : -1;
}

static bool
is_home(const struct cost_batch_sum *x, const struct cost_sum *sum)
{
    return strcmp(sum->currency, x->currency) == 0;
}

static void
set_part(struct build *b, const char *key, int64_t minor)
{
    if (minor >= 0)
        build_whole(b, key, minor);
    else
        table_set(b->model, key, NULL);
}

/* Of the currency of the kitchen: `sum` NULL when no ingredient was paid in it. */
static struct parts
home_parts(const struct cost_batch_sum *x, const struct cost_sum *sum)
{
    struct fraction none;
    fraction_init(&none);
    return (struct parts){rounded(sum != NULL ? &sum->ingredients : &none, x->no_ingredients),
                          rounded(&x->labour, x->no_labour),
                          rounded(&x->collection, x->no_collection)};
}

/* What is known of the ingredients although others have no price. */
static int64_t
known_ingredients(const struct cost_sum *sum)
{
    int64_t minor = sum != NULL ? rounded(&sum->ingredients, false) : 0;
    return minor > 0 ? minor : 0;
}

static void
fill_home(struct build *b, const struct cost_batch_sum *x, const struct cost_sum *sum)
{
    struct parts p = home_parts(x, sum);
    bool all = p.ingredients >= 0 && p.labour >= 0 && p.collection >= 0;
    table_row(b->model);
    table_set(b->model, "batch", x->batch);
    table_set(b->model, "currency", x->currency[0] != '\0' ? x->currency : NULL);
    set_part(b, "ingredients_minor", p.ingredients);
    set_part(b, "labour_minor", p.labour);
    set_part(b, "collection_minor", p.collection);
    set_part(b, "cost_minor", all ? p.ingredients + p.labour + p.collection : -1);
    build_whole(b, "known_minor",
                known_ingredients(sum) + (p.labour > 0 ? p.labour : 0) +
                    (p.collection > 0 ? p.collection : 0));
}

/* Of another currency only what ingredients were bought for. */
static void
fill_abroad(struct build *b, const struct cost_batch_sum *x, const struct cost_sum *sum)
{
    int64_t minor = rounded(&sum->ingredients, false);
    table_row(b->model);
    table_set(b->model, "batch", x->batch);
    table_set(b->model, "currency", sum->currency);
    set_part(b, "ingredients_minor", minor);
    set_part(b, "cost_minor", minor);
    set_part(b, "known_minor", minor);
}

static const struct cost_sum *
home_sum(const struct cost_batch_sum *x)
{
    for (size_t i = 0; i < x->n_sums; i++)
        if (is_home(x, &x->sums[i]))
            return &x->sums[i];
    return NULL;
}

static void
fill_costs(struct build *b, const struct costs *costs)
{
    TABLE_SECTION(b->model, "costs", "What batches cost", SHAPE_ROWS, cost_columns);
    for (size_t i = 0; i < costs->n; i++) {
        const struct cost_batch_sum *x = &costs->list[i];
        fill_home(b, x, home_sum(x));
        for (size_t j = 0; j < x->n_sums; j++)
            if (!is_home(x, &x->sums[j]))
                fill_abroad(b, x, &x->sums[j]);
    }
}

/* ---- bottles */

/* All of the batch in its one currency; false: not known, or in several. */
static bool
whole_cost(const struct cost_batch_sum *x, struct fraction *out)
{
    const struct cost_sum *home = home_sum(x);
    if (x->no_ingredients || x->no_labour || x->no_collection ||
        x->n_sums > (home != NULL ? 1u : 0u))
        return false;
    fraction_init(out);
    if (home != NULL)
        fraction_sum(out, &home->ingredients);
    fraction_sum(out, &x->labour);
    fraction_sum(out, &x->collection);
    return !out->full;
}

/* K4: the batch's cost is shared by volume; below 0: not known. */
static int64_t
share(const struct cost_batch_sum *x, int64_t ml)
{
    struct fraction cost;
    int64_t whole_ml = 0;
    for (size_t i = 0; i < x->n_sizes; i++)
        whole_ml += x->sizes[i].bottle_ml * x->sizes[i].count;
    if (whole_ml <= 0 || !whole_cost(x, &cost))
        return -1;
    fraction_scale(&cost, ml, whole_ml);
    return rounded(&cost, false);
}

static void
fill_size(struct build *b, const struct cost_batch_sum *x, const struct cost_size *size)
{
    const char *product = costs_product(b, x);
    int64_t one = share(x, size->bottle_ml), all = share(x, size->bottle_ml * size->count);
    int64_t buy_in = costs_buy_in(b, x, size->bottle_ml);
    table_row(b->model);
    table_set(b->model, "batch", x->batch);
    table_set(b->model, "product", product);
    build_whole(b, "bottle_ml", size->bottle_ml);
    build_whole(b, "bottles", size->count);
    table_set(b->model, "currency", x->currency[0] != '\0' ? x->currency : NULL);
    set_part(b, "cost_minor", one);
    set_part(b, "buy_in_minor", buy_in);
    table_set(b->model, "saved_minor", NULL);
    if (all >= 0 && buy_in >= 0)
        build_whole(b, "saved_minor", buy_in * size->count - all);
}

static void
fill_bottles(struct build *b, const struct costs *costs)
{
    TABLE_SECTION(b->model, "bottle_costs", "What a bottle costs", SHAPE_ROWS, bottle_columns);
    for (size_t i = 0; i < costs->n; i++)
        for (size_t j = 0; j < costs->list[i].n_sizes; j++)
            if (costs->list[i].sizes[j].count > 0)
                fill_size(b, &costs->list[i], &costs->list[i].sizes[j]);
}

/* ---- what is not known */

static void
fill_missing(struct build *b, const struct costs *costs)
{
    TABLE_SECTION(b->model, "costs_missing", "Missing in what batches cost", SHAPE_ROWS,
                  missing_columns);
    for (size_t i = 0; i < costs->n_gaps; i++) {
        const struct cost_gap *g = &costs->gaps[i];
        table_row(b->model);
        table_set(b->model, "batch", g->batch);
        table_set(b->model, "what", g->what);
        table_set(b->model, "of", g->of[0] != '\0' ? g->of : NULL);
        if (g->mass_g > 0)
            build_whole(b, "mass_g", g->mass_g);
        else
            table_set(b->model, "mass_g", NULL);
    }
}

enum err
part_costs(struct build *b)
{
    struct costs costs;
    if (!build_has_tables(b, 2))
        return ERR_OK;
    enum err e = costs_read(b, &costs);
    if (e == ERR_OK) {
        fill_costs(b, &costs);
        fill_bottles(b, &costs);
        fill_missing(b, &costs);
    }
    costs_done(&costs);
    return e;
}
