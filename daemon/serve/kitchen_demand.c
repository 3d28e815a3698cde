/* kitchen_demand.c - orders that are due, and what the counters may sell. */
#include <stdio.h>
#include <string.h>
#include "daemon/record/record.h"
#include "daemon/serve/kitchen.h"
#include "proto/when.h"

enum {
    PENALTY_PCT = 20, /* of the price, when nothing bought in has one */
    SALES_MONTHS = 2,
    ASSUMED_ML = 100000, /* wanted in stock when nobody sold a product of late */
    BOTTLE_ML = 500,
};

static int64_t
order_ml(const struct kitchen *k, const Knockbox__Order *order)
{
    const Knockbox__Product *product =
        (const Knockbox__Product *)kitchen_get(k, KNOCKBOX__RECORD__BODY_PRODUCT, order->product);
    int64_t bottle = product != NULL && product->has_bottle_ml ? product->bottle_ml : BOTTLE_ML;
    if (order->has_ml)
        return order->ml;
    return order->count * (order->has_bottle_ml ? order->bottle_ml : bottle);
}

static int64_t
penalty_of(const struct kitchen_price *price)
{
    int64_t extra = price->buy_in_cents_per_l - price->transfer_cents_per_l;
    return extra > 0 ? extra : price->transfer_cents_per_l * PENALTY_PCT / 100;
}

static bool
add_order(void *owner, const struct fact *fact)
{
    struct kitchen *k = owner;
    struct problem *p = k->p;
    if (fact->kind->number != KNOCKBOX__RECORD__BODY_ORDER)
        return true;
    const Knockbox__Order *order = fact->record->order;
    int due = order->due - k->ask->today;
    int product = kitchen_find(p->products, p->products_n, sizeof *p->products, order->product);
    if (due < 0 || due >= p->days || product < 0)
        return true;
    int site = kitchen_site(k, fact->site);
    struct problem_order *one =
        site >= 0 ? kitchen_add(k, &p->orders, &p->orders_n, sizeof *one) : NULL;
    if (one == NULL)
        return false;
    struct kitchen_price price = kitchen_price_of(k, order->product);
    char id[ID_TEXT];
    int64_t ml = order_ml(k, order);
    kitchen_name(one->id, id_print(fact->id, id));
    one->product = product;
    one->site = site;
    one->due_day = due;
    one->ml = ml < PROBLEM_MOST ? ml : PROBLEM_MOST;
    one->cents_per_l = price.transfer_cents_per_l;
    one->penalty_cents_per_l = penalty_of(&price);
    return true;
}

enum err
kitchen_orders(struct kitchen *k, struct err_text *why)
{
    enum err e =
        ledger_facts(k->ask->ledger, SUBJECT_DEMAND, "orders", INT64_MAX, add_order, k, why);
    return e == ERR_NOT_FOUND ? ERR_OK : e;
}

/* ---- sales: the daily mean of this month and the one before, out of the money taken */

struct taken {
    struct kitchen *k;
    int64_t minor[PROBLEM_RECIPES_MAX]; /* by product */
};

static bool
see_sale(void *owner, const struct posting *line)
{
    struct taken *taken = owner;
    const struct problem *p = taken->k->p;
    const Knockbox__Site *site = taken->k->site;
    const char *bar = strchr(line->key, '|');
    for (int i = 0; bar != NULL && i < p->products_n && i < PROBLEM_RECIPES_MAX; i++) {
        size_t len = strlen(p->products[i].id);
        bool same =
            len == (size_t)(bar - line->key) && strncmp(p->products[i].id, line->key, len) == 0;
        if (same && (site == NULL || strcmp(bar + 1, site->currency) == 0))
            taken->minor[i] += line->amount;
    }
    return true;
}

static enum err
add_up_sales(struct kitchen *k, struct taken *taken, struct err_text *why)
{
    struct books *books = NULL;
    struct catalogue *catalogue = NULL;
    int32_t month = month_of_day(k->ask->today);
    enum err e = ledger_books(k->ask->ledger, INT64_MAX, &books, &catalogue, why);
    if (e == ERR_OK)
        books_walk(books, MEASURE_SOLD, month - SALES_MONTHS + 1, month, see_sale, taken);
    books_free(books);
    catalogue_free(catalogue);
    return e;
}

/* Where the daily mean begins: two months back, or when the first site joined. */
static int32_t
first_day(const struct kitchen *k)
{
    int32_t first = month_first_day(month_of_day(k->ask->today) - SALES_MONTHS + 1);
    int32_t joined = INT32_MAX;
    const char *const *keys = NULL;
    unsigned n = kitchen_keys(k, KNOCKBOX__RECORD__BODY_SITE_, &keys);
    for (unsigned i = 0; i < n; i++) {
        const Knockbox__Site *site =
            (const Knockbox__Site *)kitchen_get(k, KNOCKBOX__RECORD__BODY_SITE_, keys[i]);
        int32_t day = site == NULL || !site->has_joined ? first : site->joined;
        joined = day < joined ? day : joined;
    }
    bool late = joined != INT32_MAX && joined > first && joined <= k->ask->today;
    return late ? joined : first;
}

static void
expect_sales(struct kitchen *k, int product, int64_t minor)
{
    struct problem *p = k->p;
    struct kitchen_price price = kitchen_price_of(k, p->products[product].id);
    int64_t days = k->ask->today - first_day(k) + 1;
    if (price.list_cents_per_l <= 0)
        return;
    int64_t ml = minor * 1000 / price.list_cents_per_l / days;
    if (ml <= 0)
        return;
    for (int d = 0; d < p->days; d++) {
        struct problem_sale *sale = kitchen_add(k, &p->sales, &p->sales_n, sizeof *sale);
        if (sale == NULL)
            return;
        *sale = (struct problem_sale){product, d, ml < PROBLEM_MOST ? ml : PROBLEM_MOST,
                                      price.transfer_cents_per_l};
    }
    p->products[product].end_demand_ml = ml * p->days < PROBLEM_MOST ? ml * p->days : PROBLEM_MOST;
    kitchen_assume(k, "Counters sell %lld ml of %s a day, as of late.", (long long)ml,
                   p->products[product].id);
}

enum err
kitchen_sales(struct kitchen *k, struct err_text *why)
{
    static struct taken taken; /* large; one problem at a time */
    struct problem *p = k->p;
    taken = (struct taken){.k = k};
    enum err e = add_up_sales(k, &taken, why);
    for (int i = 0; e == ERR_OK && i < p->products_n && i < PROBLEM_RECIPES_MAX; i++) {
        expect_sales(k, i, taken.minor[i]);
        if (p->products[i].end_demand_ml > 0)
            continue;
        p->products[i].end_demand_ml = ASSUMED_ML;
        kitchen_assume(k, "Nobody has sold %s of late: %d l are wanted in stock.",
                       p->products[i].id, ASSUMED_ML / 1000);
    }
    return e;
}
