/* plan.c - the lines of a plan. */
#include "daemon/plan/plan.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct plan *
plan_new(void)
{
    return calloc(1, sizeof(struct plan));
}

void
plan_free(struct plan *plan)
{
    if (plan == NULL)
        return;
    for (int i = 0; i < plan->loads_n; i++)
        free(plan->loads[i].tubs);
    for (int i = 0; i < plan->batches_n; i++)
        free(plan->batches[i].tubs);
    free(plan->loads);
    free(plan->batches);
    free(plan->orders);
    free(plan->sales);
    free(plan->discards);
    free(plan->unknown);
    free(plan);
}

/* Room for one member more; `n` of them are there. The room is a power of two. */
static void *
room_for_one(void *list, int n, size_t size, struct err_text *why)
{
    if (list != NULL && (n & (n - 1)) != 0)
        return list;
    void *more = realloc(list, (n == 0 ? 1 : (size_t)n * 2) * size);
    if (more == NULL)
        (void)err_set(ERR_MEM, why, "no memory for a line of the plan");
    return more;
}

#define GROW(list, count)                                             \
    do {                                                              \
        void *grown = room_for_one(list, count, sizeof *(list), why); \
        if (grown == NULL)                                            \
            return ERR_MEM;                                           \
        (list) = grown;                                               \
    } while (0)

static enum err
copy_tubs(const int *tubs, int n, int **out, struct err_text *why)
{
    enum err e = problem_list(n, sizeof **out, out, why);
    if (e == ERR_OK && n > 0)
        memcpy(*out, tubs, (size_t)n * sizeof *tubs);
    return e;
}

enum err
plan_add_load(struct plan *plan, int run, const int *tubs, int n, struct err_text *why)
{
    int *copy = NULL;
    GROW(plan->loads, plan->loads_n);
    enum err e = copy_tubs(tubs, n, &copy, why);
    if (e == ERR_OK)
        plan->loads[plan->loads_n++] = (struct plan_load){run, copy, n};
    return e;
}

enum err
plan_add_batch(struct plan *plan, int recipe, int day, const int *tubs, int n, struct err_text *why)
{
    int *copy = NULL;
    GROW(plan->batches, plan->batches_n);
    enum err e = copy_tubs(tubs, n, &copy, why);
    if (e == ERR_OK)
        plan->batches[plan->batches_n++] = (struct plan_batch){recipe, day, copy, n};
    return e;
}

enum err
plan_add_order(struct plan *plan, int order, int64_t ml, struct err_text *why)
{
    GROW(plan->orders, plan->orders_n);
    plan->orders[plan->orders_n++] = (struct plan_order){order, ml};
    return ERR_OK;
}

enum err
plan_add_sale(struct plan *plan, int product, int day, int64_t ml, struct err_text *why)
{
    GROW(plan->sales, plan->sales_n);
    plan->sales[plan->sales_n++] = (struct plan_sale){product, day, ml};
    return ERR_OK;
}

enum err
plan_add_discard(struct plan *plan, int product, int day, int64_t ml, struct err_text *why)
{
    GROW(plan->discards, plan->discards_n);
    plan->discards[plan->discards_n++] = (struct plan_sale){product, day, ml};
    return ERR_OK;
}

enum err
plan_add_unknown(struct plan *plan, const char *name, int *out_place, struct err_text *why)
{
    GROW(plan->unknown, plan->unknown_n);
    *out_place = PLAN_UNKNOWN - plan->unknown_n;
    (void)snprintf(plan->unknown[plan->unknown_n++].id, PROBLEM_ID_SIZE, "%s", name);
    return ERR_OK;
}

static enum err
copy_lines(const struct plan *from, struct plan *to, struct err_text *why)
{
    enum err e = ERR_OK;
    int place = 0;
    for (int i = 0; e == ERR_OK && i < from->unknown_n; i++)
        e = plan_add_unknown(to, from->unknown[i].id, &place, why);
    for (int i = 0; e == ERR_OK && i < from->loads_n; i++)
        e = plan_add_load(to, from->loads[i].run, from->loads[i].tubs, from->loads[i].tubs_n, why);
    for (int i = 0; e == ERR_OK && i < from->batches_n; i++)
        e = plan_add_batch(to, from->batches[i].recipe, from->batches[i].day, from->batches[i].tubs,
                           from->batches[i].tubs_n, why);
    for (int i = 0; e == ERR_OK && i < from->orders_n; i++)
        e = plan_add_order(to, from->orders[i].order, from->orders[i].ml, why);
    for (int i = 0; e == ERR_OK && i < from->sales_n; i++)
        e = plan_add_sale(to, from->sales[i].product, from->sales[i].day, from->sales[i].ml, why);
    for (int i = 0; e == ERR_OK && i < from->discards_n; i++)
        e = plan_add_discard(to, from->discards[i].product, from->discards[i].day,
                             from->discards[i].ml, why);
    return e;
}

enum err
plan_copy(const struct plan *plan, struct plan **out_copy, struct err_text *why)
{
    struct plan *copy = plan_new();
    if (copy == NULL)
        return err_set(ERR_MEM, why, "no memory for a copy of the plan");
    enum err e = copy_lines(plan, copy, why);
    if (e != ERR_OK) {
        plan_free(copy);
        return e;
    }
    *out_copy = copy;
    return ERR_OK;
}

const char *
plan_name(const struct plan *plan, const void *list, size_t size, int place)
{
    if (place >= 0)
        return (const char *)list + (size_t)place * size;
    int unknown = PLAN_UNKNOWN - place;
    return unknown >= 0 && unknown < plan->unknown_n ? plan->unknown[unknown].id : "?";
}

static int
compare(int64_t a, int64_t b)
{
    return a < b ? -1 : a > b;
}

static int
int_order(const void *a, const void *b)
{
    return compare(*(const int *)a, *(const int *)b);
}

static int
load_order(const void *a, const void *b)
{
    const struct plan_load *x = a;
    const struct plan_load *y = b;
    return compare(x->run, y->run);
}

static int
tubs_order(const int *a, int a_n, const int *b, int b_n)
{
    for (int i = 0; i < a_n && i < b_n; i++)
        if (a[i] != b[i])
            return compare(a[i], b[i]);
    return compare(a_n, b_n);
}

static int
batch_order(const void *a, const void *b)
{
    const struct plan_batch *x = a;
    const struct plan_batch *y = b;
    int c = compare(x->day, y->day);
    c = c != 0 ? c : compare(x->recipe, y->recipe);
    return c != 0 ? c : tubs_order(x->tubs, x->tubs_n, y->tubs, y->tubs_n);
}

static int
order_order(const void *a, const void *b)
{
    const struct plan_order *x = a;
    const struct plan_order *y = b;
    int c = compare(x->order, y->order);
    return c != 0 ? c : compare(x->ml, y->ml);
}

static int
sale_order(const void *a, const void *b)
{
    const struct plan_sale *x = a;
    const struct plan_sale *y = b;
    int c = compare(x->product, y->product);
    c = c != 0 ? c : compare(x->day, y->day);
    return c != 0 ? c : compare(x->ml, y->ml);
}

static void
sort_list(void *list, int n, size_t size, int (*order)(const void *, const void *))
{
    if (n > 1)
        qsort(list, (size_t)n, size, order);
}

void
plan_sort(struct plan *plan)
{
    for (int i = 0; i < plan->loads_n; i++)
        sort_list(plan->loads[i].tubs, plan->loads[i].tubs_n, sizeof(int), int_order);
    for (int i = 0; i < plan->batches_n; i++)
        sort_list(plan->batches[i].tubs, plan->batches[i].tubs_n, sizeof(int), int_order);
    sort_list(plan->loads, plan->loads_n, sizeof *plan->loads, load_order);
    sort_list(plan->batches, plan->batches_n, sizeof *plan->batches, batch_order);
    sort_list(plan->orders, plan->orders_n, sizeof *plan->orders, order_order);
    sort_list(plan->sales, plan->sales_n, sizeof *plan->sales, sale_order);
    sort_list(plan->discards, plan->discards_n, sizeof *plan->discards, sale_order);
}
