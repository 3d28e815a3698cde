/* kitchen_demand.c - orders that are due. */
#include <stdio.h>
#include <string.h>
#include "daemon/record/record.h"
#include "daemon/serve/kitchen.h"
#include "proto/when.h"

enum {
    PENALTY_PCT = 20, /* of the price, when nothing bought in has one */
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
