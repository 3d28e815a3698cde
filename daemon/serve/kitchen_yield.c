/* kitchen_yield.c - what recipes give, by the catalogue or usual practice and by own batches. */
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/calc/yield.h"
#include "daemon/serve/kitchen.h"

enum {
    RATE_MOST = 100000
};

struct own {
    int64_t mixed_ms;
    double ml_per_g;
};

struct own_list {
    const struct kitchen *k;
    int recipe;
    struct own *at;
    int n;
    bool no_memory;
};

/* Grams of product in a millilitre, where only its mass was written down: common practice, as in
 * daemon/calc/yield.h, 150 g of syrup for 130 ml of it. */
static double
usual_density(const struct kitchen *k, const char *product)
{
    const Knockbox__Product *p =
        (const Knockbox__Product *)kitchen_get(k, KNOCKBOX__RECORD__BODY_PRODUCT, product);
    bool syrup = p != NULL && p->class_ == KNOCKBOX__PRODUCT_CLASS__PRODUCT_CLASS_SYRUP;
    return syrup ? 1.15 : 1;
}

static bool
see_batch(void *owner, const char *code, const ProtobufCMessage *row)
{
    struct own_list *list = owner;
    const Knockbox__BatchRow *batch = (const Knockbox__BatchRow *)row;
    const struct problem *p = list->k->p;
    const struct problem_recipe *recipe = &p->recipes[list->recipe];
    (void)code;
    bool same = batch->recipe != NULL && strcmp(batch->recipe, recipe->id) == 0;
    if (!same || !batch->has_ended_ms || batch->grounds_g <= 0 ||
        (batch->product_ml <= 0 && batch->product_g <= 0))
        return true;
    struct own *more = realloc(list->at, ((size_t)list->n + 1) * sizeof *more);
    list->no_memory = more == NULL;
    if (more == NULL)
        return false;
    double density = usual_density(list->k, p->products[recipe->product].id);
    double ml =
        batch->product_ml > 0 ? (double)batch->product_ml : (double)batch->product_g / density;
    list->at = more;
    list->at[list->n++] = (struct own){batch->mixed_ms, ml / (double)batch->grounds_g};
    return true;
}

static int
by_time(const void *a, const void *b)
{
    const struct own *x = a, *y = b;
    if (x->mixed_ms != y->mixed_ms)
        return (x->mixed_ms > y->mixed_ms) - (x->mixed_ms < y->mixed_ms);
    return (x->ml_per_g > y->ml_per_g) - (x->ml_per_g < y->ml_per_g);
}

/* The newest count. */
static void
learn(const struct own_list *list, double prior, struct calc_yield *out)
{
    double yields[CALC_YIELD_BATCHES_MOST];
    int from = list->n > CALC_YIELD_BATCHES_MOST ? list->n - CALC_YIELD_BATCHES_MOST : 0;
    if (list->n > 1)
        qsort(list->at, (size_t)list->n, sizeof *list->at, by_time);
    for (int i = from; i < list->n; i++)
        yields[i - from] = list->at[i].ml_per_g;
    calc_yield(prior, yields, (size_t)(list->n - from), out);
}

static json_int_t
per_kg(double ml_per_g)
{
    return (json_int_t)(fmin(ml_per_g * 1000, RATE_MOST) + 0.5);
}

static enum err
yield_of(struct kitchen *k, int recipe, struct err_text *why)
{
    struct problem_recipe *one = &k->p->recipes[recipe];
    struct own_list list = {.k = k, .recipe = recipe};
    struct calc_yield yield;
    enum err e = ledger_rows(k->ask->ledger, SUBJECT_BATCH, see_batch, &list, why);
    if (e == ERR_OK && list.no_memory)
        e = err_set(ERR_MEM, why, "no memory for the batches of a recipe");
    if (e == ERR_OK && one->yield_ml_per_kg > 0) {
        learn(&list, (double)one->yield_ml_per_kg / 1000, &yield);
        one->yield_ml_per_kg = per_kg(yield.mean);
        if (list.n > 0)
            kitchen_assume(k, "%s gives %lld ml from a kilogram of grounds, by %d %s of its own.",
                           one->id, (long long)one->yield_ml_per_kg, list.n,
                           list.n == 1 ? "batch" : "batches");
        if (k->ask->yields != NULL)
            (void)json_array_append_new(k->ask->yields,
                                        json_pack("{s:s, s:I, s:I, s:I, s:i}", "recipe", one->id,
                                                  "ml_per_kg", per_kg(yield.mean), "low_ml_per_kg",
                                                  per_kg(yield.low), "high_ml_per_kg",
                                                  per_kg(yield.high), "batches", list.n));
    }
    free(list.at);
    return e;
}

enum err
kitchen_yields(struct kitchen *k, struct err_text *why)
{
    enum err e = ERR_OK;
    for (int i = 0; i < k->p->recipes_n && e == ERR_OK; i++)
        e = yield_of(k, i, why);
    return e;
}
