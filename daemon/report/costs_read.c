/* costs_read.c - what the batches of a month cost, exactly: sums of quotients. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/report/costs.h"
#include "proto/when.h"

static void
fail(struct costs *costs)
{
    if (costs->e == ERR_OK)
        costs->e = err_set(ERR_MEM, costs->b->why, "out of memory for the report");
}

static void
gap(struct costs *costs, const struct cost_batch_sum *x, const char *what, const char *of,
    int64_t mass_g)
{
    if (costs->n_gaps == costs->cap_gaps) {
        size_t more = costs->cap_gaps == 0 ? 16 : costs->cap_gaps * 2;
        struct cost_gap *bigger = realloc(costs->gaps, more * sizeof *bigger);
        if (bigger == NULL) {
            fail(costs);
            return;
        }
        costs->gaps = bigger;
        costs->cap_gaps = more;
    }
    struct cost_gap *g = &costs->gaps[costs->n_gaps++];
    *g = (struct cost_gap){.batch = x->batch, .what = what, .mass_g = mass_g};
    (void)snprintf(g->of, sizeof g->of, "%s", of);
}

/* ---- the batches that ended in the month */

static int
by_batch(const void *a, const void *b)
{
    return strcmp(((const struct cost_batch_sum *)a)->batch,
                  ((const struct cost_batch_sum *)b)->batch);
}

static struct cost_batch_sum *
find(const struct costs *costs, const char *batch)
{
    struct cost_batch_sum want = {.batch = batch};
    return costs->n == 0 ? NULL
                         : bsearch(&want, costs->list, costs->n, sizeof *costs->list, by_batch);
}

static bool
count_one(void *owner, const struct posting *line)
{
    (void)line;
    ++*(size_t *)owner;
    return true;
}

static bool
add_batch(void *owner, const struct posting *line)
{
    struct costs *costs = owner;
    struct cost_batch_sum *x = &costs->list[costs->n++];
    x->batch = line->key;
    x->site = line->site;
    fraction_init(&x->labour);
    fraction_init(&x->collection);
    return true;
}

static void
list_batches(struct costs *costs)
{
    const struct build *b = costs->b;
    size_t n = 0;
    books_walk(b->in->books, MEASURE_BATCH_ENDED, b->in->month, b->in->month, count_one, &n);
    costs->list = calloc(n + 1, sizeof *costs->list);
    if (costs->list == NULL) {
        fail(costs);
        return;
    }
    books_walk(b->in->books, MEASURE_BATCH_ENDED, b->in->month, b->in->month, add_batch, costs);
    if (costs->n > 1)
        qsort(costs->list, costs->n, sizeof *costs->list, by_batch);
}

/* The batch that a key ends with; NULL: of another month. *out_len: the key without it. */
static struct cost_batch_sum *
batch_of(const struct costs *costs, const struct posting *line, size_t *out_len)
{
    const char *space = strrchr(line->key, ' ');
    *out_len = space != NULL ? (size_t)(space - line->key) : 0;
    return space != NULL ? find(costs, space + 1) : NULL;
}

/* ---- K1: ingredients */

static struct cost_sum *
sum_of(struct cost_batch_sum *x, const char *currency)
{
    for (size_t i = 0; i < x->n_sums; i++)
        if (strcmp(x->sums[i].currency, currency) == 0)
            return &x->sums[i];
    if (x->n_sums == COST_CURRENCIES)
        return NULL;
    struct cost_sum *sum = &x->sums[x->n_sums++];
    (void)snprintf(sum->currency, sizeof sum->currency, "%.7s", currency);
    fraction_init(&sum->ingredients);
    return sum;
}

static const struct {
    char mark;
    const char *what;
} marks[] = {{'-', "price"}, {'?', "lot"}, {'~', "bottles"}};

/* "GBP 1250 70000 BATCH", "- ITEM BATCH" */
static bool
add_price(void *owner, const struct posting *line)
{
    struct costs *costs = owner;
    size_t len = 0;
    char currency[8], of[72];
    int64_t minor = 0, mass_g = 0;
    struct cost_batch_sum *x = batch_of(costs, line, &len);
    if (x == NULL)
        return true;
    for (size_t i = 0; i < sizeof marks / sizeof marks[0]; i++) {
        if (line->key[0] != marks[i].mark || line->key[1] != ' ')
            continue;
        (void)snprintf(of, sizeof of, "%.*s", (int)len - 2, line->key + 2);
        gap(costs, x, marks[i].what, of, line->amount);
        x->no_ingredients = true;
        return costs->e == ERR_OK;
    }
    if (sscanf(line->key, "%7s %" SCNd64 " %" SCNd64 " ", currency, &minor, &mass_g) != 3 ||
        mass_g <= 0)
        return true;
    struct cost_sum *sum = sum_of(x, currency);
    if (sum != NULL) {
        fraction_add(&sum->ingredients, line->amount, minor, mass_g);
        return true;
    }
    gap(costs, x, "currency", currency, line->amount);
    x->no_ingredients = true;
    return costs->e == ERR_OK;
}

/* ---- K2: labour */

static bool
add_made(void *owner, const struct posting *line)
{
    struct costs *costs = owner;
    size_t len = 0;
    char head[160];
    struct cost_batch_sum *x = batch_of(costs, line, &len);
    if (x == NULL)
        return true;
    (void)snprintf(head, sizeof head, "%.*s", (int)len, line->key);
    char *space = strrchr(head, ' ');
    if (space == NULL || !day_parse(space + 1, &x->day))
        return true;
    *space = '\0';
    (void)snprintf(x->recipe, sizeof x->recipe, "%.71s", head);
    return true;
}

static bool
add_grounds(void *owner, const struct posting *line)
{
    size_t len = 0;
    struct cost_batch_sum *x = batch_of(owner, line, &len);
    if (x != NULL && strncmp(line->key, "grounds ", 8) == 0)
        x->grounds_g += line->amount;
    return true;
}

static const Knockbox__Recipe *
recipe_of(const struct build *b, const struct cost_batch_sum *x)
{
    return (const Knockbox__Recipe *)catalogue_get(b->in->catalogue, KNOCKBOX__RECORD__BODY_RECIPE,
                                                   x->recipe, x->day);
}

const char *
costs_product(const struct build *b, const struct cost_batch_sum *batch)
{
    const Knockbox__Recipe *recipe = recipe_of(b, batch);
    return recipe != NULL ? recipe->product : NULL;
}

/* Thousandths of a second of work on the batch; below 0: nobody said. */
static int64_t
work_ms(const Knockbox__Recipe *r, int64_t grounds_g)
{
    if (r->has_labour_min)
        return r->labour_min * 60000;
    if (!r->has_mix_s_per_batch && !r->has_mix_s_per_kg && !r->has_bottle_s_per_batch &&
        !r->has_bottle_s_per_kg)
        return -1;
    return (r->mix_s_per_batch + r->bottle_s_per_batch) * 1000 +
           (r->mix_s_per_kg + r->bottle_s_per_kg) * grounds_g;
}

static void
add_labour(struct costs *costs, struct cost_batch_sum *x)
{
    enum {
        MS_PER_HOUR = 3600000
    };
    const struct build *b = costs->b;
    const Knockbox__Recipe *recipe = recipe_of(b, x);
    const Knockbox__Site *site = (const Knockbox__Site *)catalogue_get(
        b->in->catalogue, KNOCKBOX__RECORD__BODY_SITE_, x->site, x->day);
    int64_t ms = recipe != NULL ? work_ms(recipe, x->grounds_g) : -1;
    if (site != NULL && site->currency != NULL)
        (void)snprintf(x->currency, sizeof x->currency, "%.7s", site->currency);
    if (recipe == NULL)
        gap(costs, x, "recipe", x->recipe, 0);
    else if (ms < 0)
        gap(costs, x, "time", x->recipe, 0);
    if (site == NULL || !site->has_labour_minor_per_hour)
        gap(costs, x, "wage", x->site, 0);
    x->no_labour = ms < 0 || site == NULL || !site->has_labour_minor_per_hour;
    if (!x->no_labour)
        fraction_add(&x->labour, ms, site->labour_minor_per_hour, MS_PER_HOUR);
}

/* ---- K3: collection */

/* mass x (fixed + per_kg x load / 1000) / load */
static void
share_run(struct costs *costs, struct cost_batch_sum *x, const char *code, int64_t mass_g)
{
    const struct build *b = costs->b;
    const struct tally_line *load = tally_find(&costs->loads, code);
    const Knockbox__Run *run = (const Knockbox__Run *)catalogue_get(
        b->in->catalogue, KNOCKBOX__RECORD__BODY_RUN, code, b->last_day);
    x->ridden_g += mass_g;
    if (run == NULL || (!run->has_fixed_minor && !run->has_minor_per_kg) || load == NULL ||
        load->amount <= 0) {
        gap(costs, x, "run", code, mass_g);
        x->no_collection = true;
        return;
    }
    fraction_add(&x->collection, mass_g, run->fixed_minor, load->amount);
    fraction_add(&x->collection, mass_g, run->minor_per_kg, 1000);
}

/* "RUN BATCH"; "-": the kitchen's own grounds */
static bool
add_ride(void *owner, const struct posting *line)
{
    struct costs *costs = owner;
    size_t len = 0;
    char code[72];
    struct cost_batch_sum *x = batch_of(costs, line, &len);
    if (x == NULL)
        return true;
    (void)snprintf(code, sizeof code, "%.*s", (int)len, line->key);
    if (strcmp(code, "-") == 0)
        x->ridden_g += line->amount;
    else
        share_run(costs, x, code, line->amount);
    return costs->e == ERR_OK;
}

static void
check_rides(struct costs *costs, struct cost_batch_sum *x)
{
    if (x->ridden_g >= x->grounds_g)
        return;
    gap(costs, x, "ride", "", x->grounds_g - x->ridden_g);
    x->no_collection = true;
}

/* ---- K4: bottles */

static bool
add_bottles(void *owner, const struct posting *line)
{
    size_t len = 0;
    struct cost_batch_sum *x = batch_of(owner, line, &len);
    int64_t ml = strtoll(line->key, NULL, 10);
    if (x == NULL)
        return true;
    for (size_t i = 0; i < x->n_sizes; i++)
        if (x->sizes[i].bottle_ml == ml) {
            x->sizes[i].count += line->amount;
            return true;
        }
    if (x->n_sizes < COST_SIZES)
        x->sizes[x->n_sizes++] = (struct cost_size){ml, line->amount};
    return true;
}

/* What the like costs bought in, on the last day of the month. */
int64_t
costs_buy_in(const struct build *b, const struct cost_batch_sum *batch, int64_t bottle_ml)
{
    char key[128];
    const char *product = costs_product(b, batch);
    (void)snprintf(key, sizeof key, "%s|%" PRId64 "|%s", product != NULL ? product : "", bottle_ml,
                   batch->currency);
    const Knockbox__Price *price = (const Knockbox__Price *)catalogue_get(
        b->in->catalogue, KNOCKBOX__RECORD__BODY_PRICE, key, b->last_day);
    return price != NULL && price->has_buy_in_minor ? price->buy_in_minor : -1;
}

/* K4, K5: what stands in the way of a figure for a bottle. */
static void
check_bottles(struct costs *costs, const struct cost_batch_sum *x)
{
    char of[72];
    const char *product = costs_product(costs->b, x);
    for (size_t i = 0; i < x->n_sums; i++)
        if (strcmp(x->sums[i].currency, x->currency) != 0)
            gap(costs, x, "rate", x->sums[i].currency, 0);
    for (size_t i = 0; product != NULL && i < x->n_sizes; i++) {
        if (x->sizes[i].count <= 0 || costs_buy_in(costs->b, x, x->sizes[i].bottle_ml) >= 0)
            continue;
        (void)snprintf(of, sizeof of, "%.40s %" PRId64 " mL", product, x->sizes[i].bottle_ml);
        gap(costs, x, "buy-in", of, 0);
    }
}

/* ---- the whole */

static int
by_gap(const void *a, const void *b)
{
    const struct cost_gap *x = a, *y = b;
    int order = strcmp(x->batch, y->batch);
    if (order == 0)
        order = strcmp(x->what, y->what);
    return order != 0 ? order : strcmp(x->of, y->of);
}

enum err
costs_read(struct build *b, struct costs *out_costs)
{
    static const struct {
        enum measure measure;
        bool all_months;
        books_visit *visit;
    } walks[] = {
        {MEASURE_BATCH_PRICE, false, add_price}, {MEASURE_BATCH_MADE, false, add_made},
        {MEASURE_BATCH_IN, false, add_grounds},  {MEASURE_BATCH_BOTTLES, false, add_bottles},
        {MEASURE_RUN_USED, true, add_ride},
    };
    *out_costs = (struct costs){.b = b, .e = ERR_OK};
    out_costs->e = tally_of(b->in->books, MEASURE_RUN_LOAD, INT32_MIN, INT32_MAX, false,
                            &out_costs->loads, b->why);
    if (out_costs->e == ERR_OK)
        list_batches(out_costs);
    for (size_t i = 0; out_costs->e == ERR_OK && out_costs->n > 0 && i < 5; i++)
        books_walk(b->in->books, walks[i].measure, walks[i].all_months ? INT32_MIN : b->in->month,
                   walks[i].all_months ? INT32_MAX : b->in->month, walks[i].visit, out_costs);
    for (size_t i = 0; out_costs->e == ERR_OK && i < out_costs->n; i++) {
        add_labour(out_costs, &out_costs->list[i]);
        check_rides(out_costs, &out_costs->list[i]);
        check_bottles(out_costs, &out_costs->list[i]);
    }
    if (out_costs->n_gaps > 1)
        qsort(out_costs->gaps, out_costs->n_gaps, sizeof *out_costs->gaps, by_gap);
    return out_costs->e;
}

void
costs_done(struct costs *costs)
{
    tally_done(&costs->loads);
    free(costs->list);
    free(costs->gaps);
    costs->list = NULL;
    costs->gaps = NULL;
}
