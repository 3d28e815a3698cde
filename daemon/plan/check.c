/* check.c - the rules of a plan, one function a group, and its worth. */
#include "daemon/plan/check.h"

#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

/* Everything one check needs; lists are as long as the problem's. */
struct checking {
    const struct problem *p;
    const struct plan *plan;
    struct check_result *out;
    int *arrived;      /* by tub: day it is in the kitchen, NEVER before */
    int *used_day;     /* by tub: day of its batch, NEVER without */
    int *ready;        /* by batch of the plan: the day it is bottled; NEVER: not a batch at all */
    int64_t *puck_g;   /* by batch of the plan */
    int64_t *out_ul;   /* by product and day: what goes out */
    int64_t *level_ul; /* by day, 0 to days: what stands in the cold store */
};

enum {
    NEVER = -100000
};

static void broken(struct checking *c, const char *rule, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

static void
broken(struct checking *c, const char *rule, const char *format, ...)
{
    int n = c->out->broken_n++;
    if (n >= CHECK_BROKEN_KEPT)
        return;
    struct check_broken *b = &c->out->broken[n];
    (void)snprintf(b->rule, sizeof b->rule, "%s", rule);
    va_list args;
    va_start(args, format);
    (void)vsnprintf(b->text, sizeof b->text, format, args);
    va_end(args);
}

#define NAME(list, place) plan_name(c->plan, c->p->list, sizeof *c->p->list, place)

/* cents = amount x rate / per, in units; `per` divides the units of a cent. */
static check_units
money(check_units amount, int64_t rate, int64_t per)
{
    return amount * rate * (CHECK_UNITS_PER_CENT / per);
}

/* ---- 1 and 2: tubs and vans ---- */

static void
check_collected(struct checking *c, const struct problem_run *run, int tub)
{
    const struct problem_tub *t = &c->p->tubs[tub];
    if (c->arrived[tub] != NEVER)
        broken(c, "1b", "tub %s collected twice or already in the kitchen", t->id);
    if (c->p->sites[t->site].route != run->route)
        broken(c, "2b", "tub %s is not on the route of %s", t->id, run->id);
    if (t->frozen_day >= run->day || run->day > t->use_by_day)
        broken(c, "2c", "tub %s cannot be collected on day %d", t->id, run->day);
    c->arrived[tub] = run->day;
}

static void
check_load(struct checking *c, const struct plan_load *load, bool *gone)
{
    if (load->run < 0) {
        broken(c, "2a", "no run %s", NAME(runs, load->run));
        return;
    }
    if (load->tubs_n == 0)
        return;
    const struct problem_run *run = &c->p->runs[load->run];
    if (gone[load->run])
        broken(c, "2a", "run %s listed twice", run->id);
    gone[load->run] = true;
    int64_t g = 0;
    for (int i = 0; i < load->tubs_n; i++) {
        if (load->tubs[i] < 0) {
            broken(c, "1a", "no tub %s", NAME(tubs, load->tubs[i]));
            continue;
        }
        check_collected(c, run, load->tubs[i]);
        g += c->p->tubs[load->tubs[i]].g;
    }
    if (g > run->van_g)
        broken(c, "2d", "run %s carries %lld g of %lld", run->id, (long long)g,
               (long long)run->van_g);
    c->out->part[CHECK_COLLECTION] -=
        money(run->fixed_cents, 1, 1) + money(g, run->cents_per_kg, 1000);
}

static enum err
check_loads(struct checking *c, struct err_text *why)
{
    bool *gone = NULL;
    enum err e = problem_list(c->p->runs_n, sizeof *gone, &gone, why);
    if (e != ERR_OK)
        return e;
    for (int i = 0; i < c->p->tubs_n; i++)
        c->arrived[i] = c->p->tubs[i].at == PROBLEM_AT_KITCHEN ? 0 : NEVER;
    for (int i = 0; i < c->plan->loads_n; i++)
        check_load(c, &c->plan->loads[i], gone);
    free(gone);
    return ERR_OK;
}

/* ---- 3 and 4: batches ---- */

static void
check_batch_tub(struct checking *c, const struct plan_batch *b, int thaw, int tub)
{
    const struct problem_tub *t = &c->p->tubs[tub];
    const struct problem_recipe *r = &c->p->recipes[b->recipe];
    if (c->used_day[tub] != NEVER)
        broken(c, "1c", "tub %s used twice", t->id);
    c->used_day[tub] = b->day;
    if (c->arrived[tub] == NEVER || c->arrived[tub] > thaw)
        broken(c, "3c", "tub %s not in the kitchen on thaw day %d", t->id, thaw);
    if (t->use_by_day < thaw)
        broken(c, "3d", "tub %s past its date on thaw day %d", t->id, thaw);
    if (!problem_takes(r, t->profile))
        broken(c, "3e", "tub %s: %s does not take %s", t->id, r->id, c->p->profiles[t->profile].id);
}

static int64_t
check_batch_tubs(struct checking *c, const struct plan_batch *b)
{
    int64_t g = 0;
    for (int i = 0; i < b->tubs_n; i++) {
        if (b->tubs[i] < 0) {
            broken(c, "1a", "no tub %s", NAME(tubs, b->tubs[i]));
            continue;
        }
        check_batch_tub(c, b, c->p->calendar[b->day].thaw_day, b->tubs[i]);
        g += c->p->tubs[b->tubs[i]].g;
    }
    return g;
}

static void
check_batch(struct checking *c, int at)
{
    const struct plan_batch *b = &c->plan->batches[at];
    c->ready[at] = NEVER;
    if (b->recipe < 0) {
        broken(c, "3a", "no recipe %s", NAME(recipes, b->recipe));
        return;
    }
    const struct problem_recipe *r = &c->p->recipes[b->recipe];
    if (b->day < 0 || b->day >= c->p->days || c->p->calendar[b->day].thaw_day == PROBLEM_NEVER) {
        broken(c, "3b", "no batch can start on day %d", b->day);
        return;
    }
    int e = b->day + r->strain_days;
    while (e < c->p->calendar_n && !c->p->calendar[e].working)
        e++;
    if (e >= c->p->calendar_n) {
        broken(c, "3b", "a batch of day %d is not ready when the calendar ends", b->day);
        return;
    }
    int64_t g = check_batch_tubs(c, b);
    if (g < r->puck_min_g || g > r->puck_max_g)
        broken(c, "4", "batch %s day %d has %lld g, allowed %lld..%lld", r->id, b->day,
               (long long)g, (long long)r->puck_min_g, (long long)r->puck_max_g);
    c->ready[at] = e;
    c->puck_g[at] = g;
    c->out->batches++;
}

/* ---- 5, 6, 7: stations, labour, ingredients ---- */

static void
check_stations(struct checking *c, int day)
{
    int64_t busy = 0;
    for (int i = 0; i < c->plan->batches_n; i++)
        busy += c->ready[i] != NEVER && c->plan->batches[i].day <= day && day < c->ready[i];
    for (int i = 0; i < c->p->straining_n; i++)
        busy += c->p->straining[i].ready_day > day;
    if (busy > c->p->stations)
        broken(c, "5", "day %d: %lld stations busy of %d", day, (long long)busy, c->p->stations);
}

/* Work in milliseconds: per batch and per kg of `g` grams. */
static int64_t
work_ms(int64_t s_per_batch, int64_t s_per_kg, int64_t g)
{
    return s_per_batch * 1000 + s_per_kg * g;
}

static void
check_labour(struct checking *c, int day)
{
    int64_t ms = 0;
    for (int i = 0; i < c->plan->batches_n; i++) {
        if (c->ready[i] == NEVER)
            continue;
        const struct problem_recipe *r = &c->p->recipes[c->plan->batches[i].recipe];
        if (c->plan->batches[i].day == day)
            ms += work_ms(r->mix_s_per_batch, r->mix_s_per_kg, c->puck_g[i]);
        if (c->ready[i] == day)
            ms += work_ms(r->bottle_s_per_batch, r->bottle_s_per_kg, c->puck_g[i]);
    }
    for (int i = 0; i < c->p->straining_n; i++) {
        const struct problem_straining *s = &c->p->straining[i];
        const struct problem_recipe *r = &c->p->recipes[s->recipe];
        if (s->ready_day == day)
            ms += work_ms(r->bottle_s_per_batch, r->bottle_s_per_kg, s->puck_g);
    }
    if (ms > c->p->calendar[day].labour_s * 1000)
        broken(c, "6", "day %d: %lld s of labour, there are %lld", day, (long long)(ms / 1000),
               (long long)c->p->calendar[day].labour_s);
}

static void
pay_labour(struct checking *c)
{
    check_units ms = 0;
    for (int i = 0; i < c->plan->batches_n; i++) {
        if (c->ready[i] == NEVER)
            continue;
        const struct problem_recipe *r = &c->p->recipes[c->plan->batches[i].recipe];
        ms += work_ms(r->mix_s_per_batch + r->bottle_s_per_batch,
                      r->mix_s_per_kg + r->bottle_s_per_kg, c->puck_g[i]);
    }
    c->out->part[CHECK_LABOUR] = -money(ms, c->p->labour_cents_per_hour, INT64_C(3600) * 1000);
}

/* Milligrams of ingredient `part` that batches started by `day` need. */
static int64_t
needed_mg(const struct checking *c, int part, int day)
{
    int64_t mg = 0;
    for (int i = 0; i < c->plan->batches_n; i++)
        if (c->ready[i] != NEVER && c->plan->batches[i].day <= day)
            mg += c->puck_g[i] * c->p->recipes[c->plan->batches[i].recipe].need_g_per_kg[part];
    return mg;
}

static void
check_ingredient(struct checking *c, int part)
{
    const struct problem_ingredient *g = &c->p->ingredients[part];
    for (int day = 0; day < c->p->days; day++) {
        int64_t have_g = g->stock_g;
        for (int i = 0; i < g->deliveries_n; i++)
            have_g += g->deliveries[i].day <= day ? g->deliveries[i].g : 0;
        int64_t mg = needed_mg(c, part, day);
        if (mg > have_g * 1000)
            broken(c, "7", "day %d: %s %lld g used, %lld g there", day, g->id,
                   (long long)(mg / 1000), (long long)have_g);
    }
    c->out->part[CHECK_INGREDIENTS] -=
        money(needed_mg(c, part, c->p->days), g->cents_per_kg, 1000000);
}

/* ---- 8: product ---- */

static int64_t *
out_at(struct checking *c, int product, int day)
{
    return &c->out_ul[product * c->p->days + day];
}

static void
check_order_lines(struct checking *c, int64_t *given)
{
    for (int i = 0; i < c->p->orders_n; i++)
        given[i] = -1;
    for (int i = 0; i < c->plan->orders_n; i++) {
        const struct plan_order *o = &c->plan->orders[i];
        if (o->order < 0) {
            broken(c, "8a", "no order %s", NAME(orders, o->order));
            continue;
        }
        const struct problem_order *v = &c->p->orders[o->order];
        if (given[o->order] >= 0 || o->ml < 0 || o->ml > v->ml)
            broken(c, "8a", "order line %s: %lld ml of %lld", v->id, (long long)o->ml,
                   (long long)v->ml);
        given[o->order] = o->ml;
        *out_at(c, v->product, v->due_day) += o->ml * 1000;
    }
}

static void
pay_orders(struct checking *c, const int64_t *given)
{
    for (int i = 0; i < c->p->orders_n; i++) {
        const struct problem_order *o = &c->p->orders[i];
        int64_t ml = given[i] < 0 ? 0 : given[i];
        c->out->part[CHECK_REVENUE] += money(ml, o->cents_per_l, 1000);
        c->out->part[CHECK_ORDER_PENALTY] -= money(o->ml - ml, o->penalty_cents_per_l, 1000);
        c->out->ordered_ml += o->ml;
        c->out->delivered_ml += ml;
    }
}

static enum err
check_orders(struct checking *c, struct err_text *why)
{
    int64_t *given = NULL;
    enum err e = problem_list(c->p->orders_n, sizeof *given, &given, why);
    if (e != ERR_OK)
        return e;
    check_order_lines(c, given);
    pay_orders(c, given);
    free(given);
    return ERR_OK;
}

/* The problem's sales line of a product and day; -1: none. */
static int
sales_line(const struct problem *p, int product, int day)
{
    for (int i = 0; i < p->sales_n; i++)
        if (p->sales[i].product == product && p->sales[i].day == day)
            return i;
    return -1;
}

static enum err
check_sales(struct checking *c, struct err_text *why)
{
    bool *sold = NULL;
    enum err e = problem_list(c->p->sales_n, sizeof *sold, &sold, why);
    if (e != ERR_OK)
        return e;
    for (int i = 0; i < c->plan->sales_n; i++) {
        const struct plan_sale *s = &c->plan->sales[i];
        int line = sales_line(c->p, s->product, s->day);
        if (line < 0 || sold[line] || s->ml < 0 || s->ml > c->p->sales[line].ml)
            broken(c, "8b", "sales line %s day %d: %lld ml", NAME(products, s->product), s->day,
                   (long long)s->ml);
        if (line < 0)
            continue;
        sold[line] = true;
        *out_at(c, s->product, s->day) += s->ml * 1000;
        c->out->part[CHECK_REVENUE] += money(s->ml, c->p->sales[line].cents_per_l, 1000);
    }
    free(sold);
    return ERR_OK;
}

static void
check_discards(struct checking *c)
{
    for (int i = 0; i < c->plan->discards_n; i++) {
        const struct plan_sale *s = &c->plan->discards[i];
        if (s->product < 0 || s->ml < 0 || s->day < 0 || s->day >= c->p->days) {
            broken(c, "8c", "discard line %s day %d: %lld ml", NAME(products, s->product), s->day,
                   (long long)s->ml);
            continue;
        }
        *out_at(c, s->product, s->day) += s->ml * 1000;
    }
}

struct lot {
    int ready, last;
    int64_t ul;
};

static int
lot_order(const void *a, const void *b)
{
    const struct lot *x = a;
    const struct lot *y = b;
    if (x->last != y->last)
        return x->last < y->last ? -1 : 1;
    return x->ready < y->ready ? -1 : x->ready > y->ready;
}

/* The lots of one product, first expired first. `lots` has room for all. */
static int
lots_of(const struct checking *c, int product, struct lot *lots)
{
    int shelf = c->p->products[product].shelf_days;
    int n = 0;
    for (int i = 0; i < c->p->stock_n; i++)
        if (c->p->stock[i].product == product)
            lots[n++] = (struct lot){0, c->p->stock[i].best_before_day, c->p->stock[i].ml * 1000};
    for (int i = 0; i < c->p->straining_n; i++) {
        const struct problem_straining *s = &c->p->straining[i];
        const struct problem_recipe *r = &c->p->recipes[s->recipe];
        if (r->product == product)
            lots[n++] = (struct lot){s->ready_day, s->ready_day + shelf - 1,
                                     s->puck_g * r->yield_ml_per_kg};
    }
    for (int i = 0; i < c->plan->batches_n; i++) {
        if (c->ready[i] == NEVER)
            continue;
        const struct problem_recipe *r = &c->p->recipes[c->plan->batches[i].recipe];
        if (r->product == product)
            lots[n++] = (struct lot){c->ready[i], c->ready[i] + shelf - 1,
                                     c->puck_g[i] * r->yield_ml_per_kg};
    }
    qsort(lots, (size_t)n, sizeof *lots, lot_order);
    return n;
}

static void
check_product_day(struct checking *c, int product, int day, struct lot *lots, int n)
{
    int64_t want = *out_at(c, product, day);
    for (int i = 0; i < n && want > 0; i++) {
        if (lots[i].ready > day || lots[i].last < day)
            continue;
        int64_t take = want < lots[i].ul ? want : lots[i].ul;
        lots[i].ul -= take;
        want -= take;
    }
    if (want != 0)
        broken(c, "8d", "day %d: %s is %lld ml short", day, c->p->products[product].id,
               (long long)((want + 999) / 1000));
    for (int i = 0; i < n; i++) {
        if (lots[i].last == day) {
            c->out->expired_ul += lots[i].ul;
            lots[i].ul = 0;
        }
        c->level_ul[day] += lots[i].ready <= day ? lots[i].ul : 0;
    }
}

static void
check_product(struct checking *c, int product, struct lot *lots)
{
    const struct problem_product *v = &c->p->products[product];
    int n = lots_of(c, product, lots);
    for (int day = 0; day < c->p->days; day++)
        check_product_day(c, product, day, lots, n);
    int64_t rest = 0;
    for (int i = 0; i < n; i++)
        rest += lots[i].ul;
    c->level_ul[c->p->days] += rest;
    int64_t worth = rest < v->end_demand_ml * 1000 ? rest : v->end_demand_ml * 1000;
    c->out->part[CHECK_END_VALUE] += money(worth, v->end_cents_per_l, 1000000);
}

static enum err
check_products(struct checking *c, struct err_text *why)
{
    struct lot *lots = NULL;
    enum err e = problem_list(c->p->stock_n + c->p->straining_n + c->plan->batches_n, sizeof *lots,
                              &lots, why);
    if (e != ERR_OK)
        return e;
    for (int i = 0; i < c->p->products_n; i++)
        check_product(c, i, lots);
    free(lots);
    for (int day = 0; day <= c->p->days; day++)
        if (c->level_ul[day] > c->p->fridge_ml * 1000)
            broken(c, "8e", "day %d: %lld ml in the cold store of %lld", day,
                   (long long)((c->level_ul[day] + 999) / 1000), (long long)c->p->fridge_ml);
    return ERR_OK;
}

/* ---- what is left of the worth ---- */

static void
pay_unused(struct checking *c)
{
    for (int i = 0; i < c->p->tubs_n; i++) {
        const struct problem_tub *t = &c->p->tubs[i];
        if (c->used_day[i] != NEVER) {
            c->out->tubs_used++;
            c->out->used_g += t->g;
            continue;
        }
        int late = t->use_by_day - c->p->days;
        int64_t rate = late < 0              ? c->p->lost_cents_per_kg
                       : late < c->p->late_n ? c->p->late_cents_per_kg[late]
                                             : 0;
        c->out->lost_g += late < 0 ? t->g : 0;
        c->out->part[CHECK_UNUSED] -= money(t->g, rate, 1000);
    }
}

/* Batches of a recipe on a day now, less those in the plan published last. */
static int64_t
departure(const struct checking *c, int recipe, int day)
{
    int64_t n = 0;
    for (int i = 0; i < c->plan->batches_n; i++)
        n += c->ready[i] != NEVER && c->plan->batches[i].recipe == recipe &&
             c->plan->batches[i].day == day;
    for (int i = 0; i < c->p->previous_n; i++)
        if (c->p->previous[i].recipe == recipe && c->p->previous[i].day == day)
            n -= c->p->previous[i].batches;
    return n < 0 ? -n : n;
}

static void
pay_changes(struct checking *c)
{
    for (int recipe = 0; recipe < c->p->recipes_n; recipe++)
        for (int day = 0; day <= c->p->previous_until_day; day++) {
            int64_t n = departure(c, recipe, day);
            c->out->changes += n;
            c->out->part[CHECK_CHANGE] -= money(n, c->p->change_cents_per_batch[day], 1);
        }
}

/* On thaw day of `day`, tubs of `profile` three days and more older than the youngest used. */
static void
mark_passed_over(const struct checking *c, int day, int profile, int youngest, bool *passed)
{
    int thaw = c->p->calendar[day].thaw_day;
    for (int i = 0; i < c->p->tubs_n; i++) {
        const struct problem_tub *t = &c->p->tubs[i];
        bool there = c->arrived[i] != NEVER && c->arrived[i] <= thaw && t->use_by_day >= thaw;
        bool later = c->used_day[i] == NEVER || c->used_day[i] > day;
        if (t->profile == profile && there && later && t->use_by_day <= youngest - 3)
            passed[i] = true;
    }
}

static enum err
count_passed_over(struct checking *c, struct err_text *why)
{
    bool *passed = NULL;
    int *youngest = NULL; /* by day and profile */
    int profiles = c->p->profiles_n;
    enum err e = problem_list(c->p->tubs_n, sizeof *passed, &passed, why);
    if (e == ERR_OK)
        e = problem_list(c->p->days * profiles, sizeof *youngest, &youngest, why);
    if (e == ERR_OK) {
        for (int i = 0; i < c->p->tubs_n; i++) {
            if (c->used_day[i] == NEVER)
                continue;
            int *y = &youngest[c->used_day[i] * profiles + c->p->tubs[i].profile];
            *y = *y > c->p->tubs[i].use_by_day ? *y : c->p->tubs[i].use_by_day;
        }
        for (int day = 0; day < c->p->days; day++)
            for (int f = 0; f < profiles; f++)
                if (youngest[day * profiles + f] > 0 && c->p->calendar[day].thaw_day >= 0)
                    mark_passed_over(c, day, f, youngest[day * profiles + f], passed);
        for (int i = 0; i < c->p->tubs_n; i++)
            c->out->passed_over_g += passed[i] ? c->p->tubs[i].g : 0;
    }
    free(youngest);
    free(passed);
    return e;
}

/* ---- all of it ---- */

static enum err
start(struct checking *c, struct err_text *why)
{
    const struct problem *p = c->p;
    enum err e = problem_list(p->tubs_n, sizeof *c->arrived, &c->arrived, why);
    if (e == ERR_OK)
        e = problem_list(p->tubs_n, sizeof *c->used_day, &c->used_day, why);
    if (e == ERR_OK)
        e = problem_list(c->plan->batches_n, sizeof *c->ready, &c->ready, why);
    if (e == ERR_OK)
        e = problem_list(c->plan->batches_n, sizeof *c->puck_g, &c->puck_g, why);
    if (e == ERR_OK)
        e = problem_list(p->products_n * p->days, sizeof *c->out_ul, &c->out_ul, why);
    if (e == ERR_OK)
        e = problem_list(p->days + 1, sizeof *c->level_ul, &c->level_ul, why);
    for (int i = 0; e == ERR_OK && i < p->tubs_n; i++)
        c->used_day[i] = NEVER;
    return e;
}

static void
finish(struct checking *c)
{
    free(c->arrived);
    free(c->used_day);
    free(c->ready);
    free(c->puck_g);
    free(c->out_ul);
    free(c->level_ul);
    for (int i = 0; i < CHECK_PARTS; i++)
        c->out->worth += c->out->part[i];
}

static enum err
check_kitchen(struct checking *c, struct err_text *why)
{
    enum err e = check_loads(c, why);
    if (e != ERR_OK)
        return e;
    for (int i = 0; i < c->plan->batches_n; i++)
        check_batch(c, i);
    for (int day = 0; day < c->p->days; day++)
        check_stations(c, day);
    for (int day = 0; day < c->p->days; day++)
        check_labour(c, day);
    pay_labour(c);
    for (int i = 0; i < c->p->ingredients_n; i++)
        check_ingredient(c, i);
    return ERR_OK;
}

enum err
check_plan(const struct problem *p, const struct plan *plan, struct check_result *out_result,
           struct err_text *why)
{
    struct checking c = {.p = p, .plan = plan, .out = out_result};
    memset(out_result, 0, sizeof *out_result);
    enum err e = start(&c, why);
    if (e == ERR_OK)
        e = check_kitchen(&c, why);
    if (e == ERR_OK)
        e = check_orders(&c, why);
    if (e == ERR_OK)
        e = check_sales(&c, why);
    if (e == ERR_OK) {
        check_discards(&c);
        e = check_products(&c, why);
    }
    if (e == ERR_OK) {
        pay_unused(&c);
        pay_changes(&c);
        e = count_passed_over(&c, why);
    }
    finish(&c);
    return e;
}

const char *
check_part_name(enum check_part part)
{
    static const char *const names[CHECK_PARTS] = {
        [CHECK_REVENUE] = "revenue",         [CHECK_END_VALUE] = "end_value",
        [CHECK_INGREDIENTS] = "ingredients", [CHECK_LABOUR] = "labour",
        [CHECK_COLLECTION] = "collection",   [CHECK_ORDER_PENALTY] = "order_penalty",
        [CHECK_UNUSED] = "unused",           [CHECK_CHANGE] = "change",
    };
    return names[part];
}

double
check_cents(check_units units)
{
    return (double)units / CHECK_UNITS_PER_CENT;
}

void
check_text(check_units units, char out[CHECK_TEXT_SIZE])
{
    const check_units step = CHECK_UNITS_PER_CENT / 10000;
    check_units size = units < 0 ? -units : units;
    check_units n = (size + step / 2) / step; /* ten-thousandths of a cent */
    (void)snprintf(out, CHECK_TEXT_SIZE, "%s%lld.%04d", units < 0 && n > 0 ? "-" : "",
                   (long long)(n / 10000), (int)(n % 10000));
}
