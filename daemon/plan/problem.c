/* problem.c - memory, order and ranges of a planning problem. */
#include "daemon/plan/problem.h"
#include "daemon/plan/try.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum {
    LIST_MOST = 10000000
};

struct problem *
problem_new(void)
{
    return calloc(1, sizeof(struct problem));
}

enum err
problem_list(int n, size_t size, void *out_list, struct err_text *why)
{
    if (n < 0 || n > LIST_MOST)
        return err_set(ERR_INPUT, why, "a list of %d members: expected 0 to %d", n, LIST_MOST);
    void *list = calloc((size_t)n + 1, size);
    if (list == NULL)
        return err_set(ERR_MEM, why, "no memory for a list of %d members", n);
    memcpy(out_list, &list, sizeof list);
    return ERR_OK;
}

/* Where the lists are, how many members they have and how large one is: one row a list, for all
 * that is done to every list alike. */
struct list_place {
    size_t at, n_at, size;
};

#define LIST(name, count, type)                                                       \
    {                                                                                 \
        offsetof(struct problem, name), offsetof(struct problem, count), sizeof(type) \
    }
static const struct list_place lists[] = {
    LIST(calendar, calendar_n, struct problem_day),
    LIST(profiles, profiles_n, struct problem_name),
    LIST(routes, routes_n, struct problem_name),
    LIST(sites, sites_n, struct problem_site),
    LIST(recipes, recipes_n, struct problem_recipe),
    LIST(products, products_n, struct problem_product),
    LIST(ingredients, ingredients_n, struct problem_ingredient),
    LIST(stock, stock_n, struct problem_stock),
    LIST(straining, straining_n, struct problem_straining),
    LIST(orders, orders_n, struct problem_order),
    LIST(sales, sales_n, struct problem_sale),
    LIST(runs, runs_n, struct problem_run),
    LIST(tubs, tubs_n, struct problem_tub),
    LIST(previous, previous_n, struct problem_previous),
    LIST(late_cents_per_kg, late_n, int64_t),
    LIST(change_cents_per_batch, change_n, int64_t),
};
enum {
    LISTS = sizeof lists / sizeof lists[0]
};

static void *
list_of(const struct problem *p, const struct list_place *l)
{
    void *list;
    memcpy(&list, (const char *)p + l->at, sizeof list);
    return list;
}

static int
count_of(const struct problem *p, const struct list_place *l)
{
    int n;
    memcpy(&n, (const char *)p + l->n_at, sizeof n);
    return n;
}

static void
set_list(struct problem *p, const struct list_place *l, void *list)
{
    memcpy((char *)p + l->at, &list, sizeof list);
}

void
problem_free(struct problem *p)
{
    if (p == NULL)
        return;
    for (int i = 0; p->ingredients != NULL && i < p->ingredients_n; i++)
        free(p->ingredients[i].deliveries);
    for (int i = 0; i < LISTS; i++)
        free(list_of(p, &lists[i]));
    free(p);
}

static enum err
copy_lists(const struct problem *p, struct problem *copy, struct err_text *why)
{
    for (int i = 0; i < LISTS; i++) {
        void *list = NULL;
        enum err e = problem_list(count_of(p, &lists[i]), lists[i].size, &list, why);
        if (e != ERR_OK)
            return e;
        memcpy(list, list_of(p, &lists[i]), (size_t)count_of(p, &lists[i]) * lists[i].size);
        set_list(copy, &lists[i], list);
    }
    return ERR_OK;
}

static enum err
copy_deliveries(const struct problem *p, struct problem *copy, struct err_text *why)
{
    for (int i = 0; i < copy->ingredients_n; i++)
        copy->ingredients[i].deliveries = NULL;
    for (int i = 0; i < copy->ingredients_n; i++) {
        const struct problem_ingredient *from = &p->ingredients[i];
        struct problem_ingredient *to = &copy->ingredients[i];
        enum err e = problem_list(from->deliveries_n, sizeof *to->deliveries, &to->deliveries, why);
        if (e != ERR_OK)
            return e;
        memcpy(to->deliveries, from->deliveries,
               (size_t)from->deliveries_n * sizeof *to->deliveries);
    }
    return ERR_OK;
}

enum err
problem_copy(const struct problem *p, struct problem **out_copy, struct err_text *why)
{
    struct problem *copy = problem_new();
    if (copy == NULL)
        return err_set(ERR_MEM, why, "no memory for a copy of the problem");
    *copy = *p;
    for (int i = 0; i < LISTS; i++)
        set_list(copy, &lists[i], NULL);
    copy->ingredients_n = 0; /* until they are there */
    enum err e = copy_lists(p, copy, why);
    if (e == ERR_OK) {
        copy->ingredients_n = p->ingredients_n;
        e = copy_deliveries(p, copy, why);
    }
    if (e != ERR_OK) {
        problem_free(copy);
        return e;
    }
    *out_copy = copy;
    return ERR_OK;
}

void
problem_take(struct problem_recipe *r, int profile)
{
    r->takes[profile / 64] |= UINT64_C(1) << (profile % 64);
}

bool
problem_takes(const struct problem_recipe *r, int profile)
{
    return (r->takes[profile / 64] >> (profile % 64) & 1) != 0;
}

int
problem_ready_day(const struct problem *p, int recipe, int day)
{
    for (int d = day + p->recipes[recipe].strain_days; d < p->calendar_n; d++)
        if (p->calendar[d].working)
            return d;
    return -1;
}

int64_t
problem_unused_cents_per_kg(const struct problem *p, const struct problem_tub *t)
{
    int late = t->use_by_day - p->days;
    if (late < 0)
        return p->lost_cents_per_kg;
    return late < p->late_n ? p->late_cents_per_kg[late] : 0;
}

int
problem_find(const void *list, int n, size_t size, const char *id)
{
    int low = 0;
    int high = n;
    while (low < high) {
        int mid = low + (high - low) / 2;
        int order = strcmp((const char *)list + (size_t)mid * size, id);
        if (order == 0)
            return mid;
        if (order < 0)
            low = mid + 1;
        else
            high = mid;
    }
    return -1;
}

int
problem_previous_batches(const struct problem *p, int recipe, int day)
{
    for (int i = 0; i < p->previous_n; i++)
        if (p->previous[i].recipe == recipe && p->previous[i].day == day)
            return p->previous[i].batches;
    return 0;
}

int64_t
problem_change_cents(const struct problem *p, int day)
{
    return day >= 0 && day <= p->previous_until_day && day < p->change_n
               ? p->change_cents_per_batch[day]
               : 0;
}

/* ---- sorting, with the references mended ---- */

static int
by_id(const void *a, const void *b)
{
    return strcmp(*(const char *const *)a, *(const char *const *)b);
}

/* Sorts a list whose members begin with their id; out_new[old place] is the new place. */
static enum err
sort_by_id(const char *what, void *list, int n, size_t size, int *out_new, struct err_text *why)
{
    const char **ids = malloc(((size_t)n + 1) * sizeof *ids);
    char *sorted = malloc(((size_t)n + 1) * size);
    enum err e = ERR_OK;
    if (ids == NULL || sorted == NULL) {
        e = err_set(ERR_MEM, why, "no memory to sort the %ss", what);
        goto out;
    }
    for (int i = 0; i < n; i++)
        ids[i] = (const char *)list + (size_t)i * size;
    qsort(ids, (size_t)n, sizeof *ids, by_id);
    for (int i = 0; i < n; i++) {
        if (i > 0 && strcmp(ids[i - 1], ids[i]) == 0) {
            e = err_set(ERR_INPUT, why, "%s %s: there are two of this id", what, ids[i]);
            goto out;
        }
        memcpy(sorted + (size_t)i * size, ids[i], size);
        out_new[(size_t)(ids[i] - (const char *)list) / size] = i;
    }
    memcpy(list, sorted, (size_t)n * size);
out:
    free(sorted);
    free(ids);
    return e;
}

static int
compare_ints(int64_t a, int64_t b)
{
    return a < b ? -1 : a > b;
}

static int
stock_order(const void *a, const void *b)
{
    const struct problem_stock *x = a;
    const struct problem_stock *y = b;
    int c = compare_ints(x->product, y->product);
    c = c != 0 ? c : compare_ints(x->best_before_day, y->best_before_day);
    return c != 0 ? c : compare_ints(x->ml, y->ml);
}

static int
straining_order(const void *a, const void *b)
{
    const struct problem_straining *x = a;
    const struct problem_straining *y = b;
    int c = compare_ints(x->recipe, y->recipe);
    c = c != 0 ? c : compare_ints(x->ready_day, y->ready_day);
    return c != 0 ? c : compare_ints(x->puck_g, y->puck_g);
}

static int
sale_order(const void *a, const void *b)
{
    const struct problem_sale *x = a;
    const struct problem_sale *y = b;
    int c = compare_ints(x->product, y->product);
    return c != 0 ? c : compare_ints(x->day, y->day);
}

static int
previous_order(const void *a, const void *b)
{
    const struct problem_previous *x = a;
    const struct problem_previous *y = b;
    int c = compare_ints(x->recipe, y->recipe);
    return c != 0 ? c : compare_ints(x->day, y->day);
}

static int
delivery_order(const void *a, const void *b)
{
    const struct problem_delivery *x = a;
    const struct problem_delivery *y = b;
    int c = compare_ints(x->day, y->day);
    return c != 0 ? c : compare_ints(x->g, y->g);
}

static void
renumber_recipe(struct problem_recipe *r, const int *profile, int profiles_n, const int *part,
                int parts_n)
{
    struct problem_recipe old = *r;
    memset(r->takes, 0, sizeof r->takes);
    for (int i = 0; i < profiles_n; i++)
        if (problem_takes(&old, i))
            problem_take(r, profile[i]);
    for (int i = 0; i < parts_n; i++)
        r->need_g_per_kg[part[i]] = old.need_g_per_kg[i];
}

/* Tubs, sites and profiles stand in a CSV, a tub a line. */
static enum err
check_plain(const char *what, const char *id, struct err_text *why)
{
    for (const char *c = id; *c != '\0'; c++)
        if ((unsigned char)*c < 0x20)
            return err_set(ERR_INPUT, why, "%s \"%s\": expected no control character", what, id);
    return ERR_OK;
}

enum named {
    PROFILE,
    ROUTE,
    SITE,
    RECIPE,
    PRODUCT,
    PART,
    ORDER,
    RUN,
    TUB,
    NAMED
};

/* place[list][old place] is the new place. */
static void
renumber(struct problem *p, int *const place[NAMED])
{
    for (int i = 0; i < p->sites_n; i++)
        p->sites[i].route = place[ROUTE][p->sites[i].route];
    for (int i = 0; i < p->runs_n; i++)
        p->runs[i].route = place[ROUTE][p->runs[i].route];
    for (int i = 0; i < p->recipes_n; i++) {
        renumber_recipe(&p->recipes[i], place[PROFILE], p->profiles_n, place[PART],
                        p->ingredients_n);
        p->recipes[i].product = place[PRODUCT][p->recipes[i].product];
    }
    for (int i = 0; i < p->tubs_n; i++) {
        p->tubs[i].site = place[SITE][p->tubs[i].site];
        p->tubs[i].profile = place[PROFILE][p->tubs[i].profile];
    }
    for (int i = 0; i < p->orders_n; i++) {
        p->orders[i].product = place[PRODUCT][p->orders[i].product];
        p->orders[i].site = place[SITE][p->orders[i].site];
    }
    for (int i = 0; i < p->sales_n; i++)
        p->sales[i].product = place[PRODUCT][p->sales[i].product];
    for (int i = 0; i < p->stock_n; i++)
        p->stock[i].product = place[PRODUCT][p->stock[i].product];
    for (int i = 0; i < p->straining_n; i++)
        p->straining[i].recipe = place[RECIPE][p->straining[i].recipe];
    for (int i = 0; i < p->previous_n; i++)
        p->previous[i].recipe = place[RECIPE][p->previous[i].recipe];
}

#define SORT(list, type, order) qsort(p->list, (size_t)p->list##_n, sizeof(type), order)

static void
sort_unnamed(struct problem *p)
{
    SORT(stock, struct problem_stock, stock_order);
    SORT(straining, struct problem_straining, straining_order);
    SORT(sales, struct problem_sale, sale_order);
    SORT(previous, struct problem_previous, previous_order);
    for (int i = 0; i < p->ingredients_n; i++)
        qsort(p->ingredients[i].deliveries, (size_t)p->ingredients[i].deliveries_n,
              sizeof(struct problem_delivery), delivery_order);
}

static enum err
sort_all(struct problem *p, struct err_text *why)
{
    const struct {
        const char *what;
        void *list;
        int n;
        size_t size;
    } named[NAMED] = {
        [PROFILE] = {"profile", p->profiles, p->profiles_n, sizeof *p->profiles},
        [ROUTE] = {"route", p->routes, p->routes_n, sizeof *p->routes},
        [SITE] = {"site", p->sites, p->sites_n, sizeof *p->sites},
        [RECIPE] = {"recipe", p->recipes, p->recipes_n, sizeof *p->recipes},
        [PRODUCT] = {"product", p->products, p->products_n, sizeof *p->products},
        [PART] = {"ingredient", p->ingredients, p->ingredients_n, sizeof *p->ingredients},
        [ORDER] = {"order", p->orders, p->orders_n, sizeof *p->orders},
        [RUN] = {"run", p->runs, p->runs_n, sizeof *p->runs},
        [TUB] = {"tub", p->tubs, p->tubs_n, sizeof *p->tubs},
    };
    int *place[NAMED] = {NULL};
    enum err e = ERR_OK;
    for (int i = 0; i < NAMED && e == ERR_OK; i++) {
        e = problem_list(named[i].n, sizeof(int), &place[i], why);
        bool in_csv = i == PROFILE || i == SITE || i == TUB;
        for (int k = 0; e == ERR_OK && in_csv && k < named[i].n; k++)
            e = check_plain(named[i].what, (const char *)named[i].list + (size_t)k * named[i].size,
                            why);
        if (e == ERR_OK)
            e = sort_by_id(named[i].what, named[i].list, named[i].n, named[i].size, place[i], why);
    }
    if (e == ERR_OK) {
        renumber(p, place);
        sort_unnamed(p);
    }
    for (int i = 0; i < NAMED; i++)
        free(place[i]);
    return e;
}

/* ---- ranges ---- */

/* One number of one member: "tub T1: g: 0: expected 1 to 10000000". */
static enum err
in_range(const char *what, const char *id, const char *field, int64_t got, int64_t least,
         int64_t most, struct err_text *why)
{
    if (got >= least && got <= most)
        return ERR_OK;
    char text[24];
    char want[64];
    (void)snprintf(text, sizeof text, "%lld", (long long)got);
    (void)snprintf(want, sizeof want, "%lld to %lld", (long long)least, (long long)most);
    (void)err_input(why, field, text, want);
    err_prefix(why, "%s%s%s: ", what, id[0] != '\0' ? " " : "", id);
    return ERR_INPUT;
}

struct range {
    const char *field;
    int64_t got, least, most;
};

static enum err
in_ranges(const char *what, const char *id, const struct range *r, size_t n, struct err_text *why)
{
    for (size_t i = 0; i < n; i++) {
        enum err e = in_range(what, id, r[i].field, r[i].got, r[i].least, r[i].most, why);
        if (e != ERR_OK)
            return e;
    }
    return ERR_OK;
}

#define RANGES(what, id, ...)                                \
    in_ranges(what, id, (const struct range[]){__VA_ARGS__}, \
              sizeof((const struct range[]){__VA_ARGS__}) / sizeof(struct range), why)

enum {
    DAY_LEAST = -36500,
    DAY_MOST = 36500
};
enum {
    TUB_G_MOST = 10000000,
    PUCK_G_MOST = 100000000,
    RATE_MOST = 100000,
    YIELD_MOST = 1000000
};

static enum err
check_numbers(const struct problem *p, struct err_text *why)
{
    return RANGES("problem", "", {"days", p->days, 1, PROBLEM_DAYS_MAX},
                  {"tail_days", p->tail_days, 0, PROBLEM_DAYS_MAX},
                  {"calendar days", p->calendar_n, p->days + p->tail_days, p->days + p->tail_days},
                  {"stations", p->stations, 0, 10000}, {"fridge_ml", p->fridge_ml, 0, PROBLEM_MOST},
                  {"labour_cents_per_hour", p->labour_cents_per_hour, 0, PROBLEM_MOST},
                  {"lost_cents_per_kg", p->lost_cents_per_kg, 0, PROBLEM_MOST},
                  {"previous_until_day", p->previous_until_day, -1, p->days - 1},
                  {"profiles", p->profiles_n, 0, PROBLEM_PROFILES_MAX},
                  {"ingredients", p->ingredients_n, 0, PROBLEM_PARTS_MAX},
                  {"recipes", p->recipes_n, 0, PROBLEM_RECIPES_MAX},
                  {"products", p->products_n, 0, PROBLEM_RECIPES_MAX},
                  {"in_progress", p->straining_n, 0, 10000}, {"stock", p->stock_n, 0, 100000},
                  {"orders", p->orders_n, 0, 100000}, {"sales", p->sales_n, 0, 100000},
                  {"runs", p->runs_n, 0, 100000}, {"tubs", p->tubs_n, 0, 200000},
                  {"late_cents_per_kg", p->late_n, 0, 10000},
                  {"change_cents_per_batch days", p->change_n, p->previous_until_day + 1, 10000});
}

static enum err
check_calendar(const struct problem *p, struct err_text *why)
{
    for (int d = 0; d < p->calendar_n; d++) {
        char id[16];
        (void)snprintf(id, sizeof id, "%d", d);
        TRY(RANGES("calendar day", id, {"thaw_day", p->calendar[d].thaw_day, PROBLEM_NEVER, d},
                   {"labour_s", p->calendar[d].labour_s, 0, PROBLEM_MOST}));
    }
    for (int i = 0; i < p->late_n; i++)
        TRY(RANGES("unused", "", {"late_cents_per_kg", p->late_cents_per_kg[i], 0, PROBLEM_MOST}));
    for (int i = 0; i < p->change_n; i++)
        TRY(RANGES("change_cents_per_batch", "",
                   {"cents", p->change_cents_per_batch[i], 0, PROBLEM_MOST}));
    return ERR_OK;
}

static enum err
check_recipe(const struct problem *p, const struct problem_recipe *r, struct err_text *why)
{
    for (int i = 0; i < p->ingredients_n; i++)
        TRY(RANGES("recipe", r->id, {"ingredients_g_per_kg", r->need_g_per_kg[i], 0, RATE_MOST}));
    return RANGES("recipe", r->id, {"product", r->product, 0, p->products_n - 1},
                  {"puck_min_g", r->puck_min_g, 0, PUCK_G_MOST},
                  {"puck_max_g", r->puck_max_g, r->puck_min_g, PUCK_G_MOST},
                  {"yield_ml_per_kg", r->yield_ml_per_kg, 0, YIELD_MOST},
                  {"strain_days", r->strain_days, 1, PROBLEM_DAYS_MAX},
                  {"mix_s_per_batch", r->mix_s_per_batch, 0, PROBLEM_MOST},
                  {"mix_s_per_kg", r->mix_s_per_kg, 0, RATE_MOST},
                  {"bottle_s_per_batch", r->bottle_s_per_batch, 0, PROBLEM_MOST},
                  {"bottle_s_per_kg", r->bottle_s_per_kg, 0, RATE_MOST});
}

static enum err
check_kitchen(const struct problem *p, struct err_text *why)
{
    for (int i = 0; i < p->recipes_n; i++)
        TRY(check_recipe(p, &p->recipes[i], why));
    for (int i = 0; i < p->products_n; i++)
        TRY(RANGES("product", p->products[i].id,
                   {"shelf_days", p->products[i].shelf_days, 1, DAY_MOST},
                   {"end_demand_ml", p->products[i].end_demand_ml, 0, PROBLEM_MOST},
                   {"end_cents_per_l", p->products[i].end_cents_per_l, 0, PROBLEM_MOST}));
    for (int i = 0; i < p->ingredients_n; i++) {
        const struct problem_ingredient *g = &p->ingredients[i];
        TRY(RANGES("ingredient", g->id, {"stock_g", g->stock_g, 0, PROBLEM_MOST},
                   {"cents_per_kg", g->cents_per_kg, 0, PROBLEM_MOST}));
        for (int j = 0; j < g->deliveries_n; j++)
            TRY(RANGES("delivery of", g->id, {"day", g->deliveries[j].day, DAY_LEAST, DAY_MOST},
                       {"g", g->deliveries[j].g, 0, PROBLEM_MOST}));
    }
    return ERR_OK;
}

static enum err
check_demand(const struct problem *p, struct err_text *why)
{
    for (int i = 0; i < p->orders_n; i++) {
        const struct problem_order *o = &p->orders[i];
        TRY(RANGES("order", o->id, {"product", o->product, 0, p->products_n - 1},
                   {"site", o->site, 0, p->sites_n - 1}, {"due_day", o->due_day, 0, p->days - 1},
                   {"ml", o->ml, 0, PROBLEM_MOST}, {"cents_per_l", o->cents_per_l, 0, PROBLEM_MOST},
                   {"penalty_cents_per_l", o->penalty_cents_per_l, 0, PROBLEM_MOST}));
    }
    for (int i = 0; i < p->sales_n; i++)
        TRY(RANGES("sales line", "", {"product", p->sales[i].product, 0, p->products_n - 1},
                   {"day", p->sales[i].day, 0, p->days - 1},
                   {"ml", p->sales[i].ml, 0, PROBLEM_MOST},
                   {"cents_per_l", p->sales[i].cents_per_l, 0, PROBLEM_MOST}));
    for (int i = 0; i < p->stock_n; i++)
        TRY(RANGES("stock line", "", {"product", p->stock[i].product, 0, p->products_n - 1},
                   {"ml", p->stock[i].ml, 0, PROBLEM_MOST},
                   {"best_before_day", p->stock[i].best_before_day, 0, DAY_MOST}));
    return ERR_OK;
}

static enum err
check_batches(const struct problem *p, struct err_text *why)
{
    for (int i = 0; i < p->straining_n; i++)
        TRY(RANGES("in_progress line", "", {"recipe", p->straining[i].recipe, 0, p->recipes_n - 1},
                   {"ready_day", p->straining[i].ready_day, 0, DAY_MOST},
                   {"puck_g", p->straining[i].puck_g, 0, PUCK_G_MOST}));
    for (int i = 0; i < p->previous_n; i++)
        TRY(RANGES("previous line", "", {"recipe", p->previous[i].recipe, 0, p->recipes_n - 1},
                   {"day", p->previous[i].day, 0, DAY_MOST},
                   {"batches", p->previous[i].batches, 0, 10000}));
    return ERR_OK;
}

static enum err
check_tubs(const struct problem *p, struct err_text *why)
{
    for (int i = 0; i < p->sites_n; i++)
        TRY(RANGES("site", p->sites[i].id, {"route", p->sites[i].route, 0, p->routes_n - 1}));
    for (int i = 0; i < p->runs_n; i++) {
        const struct problem_run *r = &p->runs[i];
        TRY(RANGES("run", r->id, {"route", r->route, 0, p->routes_n - 1},
                   {"day", r->day, DAY_LEAST, DAY_MOST}, {"van_g", r->van_g, 0, PROBLEM_MOST},
                   {"fixed_cents", r->fixed_cents, 0, PROBLEM_MOST},
                   {"cents_per_kg", r->cents_per_kg, 0, PROBLEM_MOST}));
    }
    for (int i = 0; i < p->tubs_n; i++) {
        const struct problem_tub *t = &p->tubs[i];
        TRY(RANGES("tub", t->id, {"site", t->site, 0, p->sites_n - 1},
                   {"profile", t->profile, 0, p->profiles_n - 1}, {"g", t->g, 1, TUB_G_MOST},
                   {"frozen_day", t->frozen_day, DAY_LEAST, DAY_MOST},
                   {"use_by_day", t->use_by_day, DAY_LEAST, DAY_MOST},
                   {"at", t->at, PROBLEM_AT_KITCHEN, PROBLEM_AT_FORECAST}));
    }
    return ERR_OK;
}

/* Lines that must be the only one of their kind, once sorted. */
static enum err
check_once(const struct problem *p, struct err_text *why)
{
    for (int i = 1; i < p->sales_n; i++)
        if (sale_order(&p->sales[i - 1], &p->sales[i]) == 0)
            return err_set(ERR_INPUT, why, "sales: two lines for %s on day %d: expected one",
                           p->products[p->sales[i].product].id, p->sales[i].day);
    for (int i = 1; i < p->previous_n; i++)
        if (previous_order(&p->previous[i - 1], &p->previous[i]) == 0)
            return err_set(ERR_INPUT, why, "previous: two lines for %s on day %d: expected one",
                           p->recipes[p->previous[i].recipe].id, p->previous[i].day);
    return ERR_OK;
}

enum err
problem_settle(struct problem *p, struct err_text *why)
{
    for (int i = 0; i < LISTS; i++) {
        void *list = list_of(p, &lists[i]);
        if (list == NULL) { /* a list nobody set is an empty list */
            TRY(problem_list(count_of(p, &lists[i]), lists[i].size, &list, why));
            set_list(p, &lists[i], list);
        }
    }
    TRY(check_numbers(p, why));
    TRY(check_calendar(p, why));
    TRY(check_kitchen(p, why));
    TRY(check_demand(p, why));
    TRY(check_batches(p, why));
    TRY(check_tubs(p, why));
    TRY(sort_all(p, why));
    return check_once(p, why);
}

int
problem_tub_order(const struct problem_tub *a, const struct problem_tub *b)
{
    if (a->profile != b->profile)
        return a->profile < b->profile ? -1 : 1;
    if (a->use_by_day != b->use_by_day)
        return a->use_by_day < b->use_by_day ? -1 : 1;
    if ((a->at == PROBLEM_AT_KITCHEN) != (b->at == PROBLEM_AT_KITCHEN))
        return a->at == PROBLEM_AT_KITCHEN ? -1 : 1;
    return 0;
}
