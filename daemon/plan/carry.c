/* carry.c - an older plan brought over to a problem of today. */
#include "daemon/plan/carry.h"

#include <stdlib.h>
#include <string.h>

#include "daemon/plan/check.h"
#include "daemon/plan/left.h"
#include "daemon/plan/share.h"

enum {
    NONE = -1
};

struct carry {
    const struct problem *old, *now;
    const struct plan *plan;
    int shift;
    int *tub_now;        /* by old tub: its place now, or NONE */
    int *run_of;         /* by tub now: the run that is to bring it, or NONE */
    bool *wanted;        /* by tub now: the old plan uses it */
    bool *used;          /* by tub now */
    int64_t *van_left_g; /* by run now */
    int *order;          /* old batches by day */
    struct left left;
    int64_t *supply;
    struct plan *out;
    int *room; /* tubs of the batch being carried */
};

#define PLACE_NOW(c, list, place)                                            \
    problem_find((c)->now->list, (c)->now->list##_n, sizeof *(c)->now->list, \
                 (place) >= 0 ? (c)->old->list[place].id : "")

/* ---- as it was, when nothing is in its way ---- */

static enum err
add_same_load(struct carry *c, const struct plan_load *load, struct err_text *why)
{
    int run = load->run >= 0 ? PLACE_NOW(c, runs, load->run) : NONE;
    int n = 0;
    for (int i = 0; i < load->tubs_n; i++)
        if (load->tubs[i] >= 0 && c->tub_now[load->tubs[i]] >= 0)
            c->room[n++] = c->tub_now[load->tubs[i]];
    return run >= 0 && n > 0 ? plan_add_load(c->out, run, c->room, n, why) : ERR_OK;
}

static enum err
add_same_batch(struct carry *c, const struct plan_batch *batch, struct err_text *why)
{
    int recipe = batch->recipe >= 0 ? PLACE_NOW(c, recipes, batch->recipe) : NONE;
    int day = batch->day - c->shift;
    int n = 0;
    for (int i = 0; i < batch->tubs_n; i++)
        if (batch->tubs[i] >= 0 && c->tub_now[batch->tubs[i]] >= 0)
            c->room[n++] = c->tub_now[batch->tubs[i]];
    return recipe >= 0 && day > 0 ? plan_add_batch(c->out, recipe, day, c->room, n, why) : ERR_OK;
}

static enum err
add_same_sales(struct carry *c, const struct plan_sale *lines, int n, bool discards,
               struct err_text *why)
{
    enum err e = ERR_OK;
    for (int i = 0; i < n && e == ERR_OK; i++) {
        int product = lines[i].product >= 0 ? PLACE_NOW(c, products, lines[i].product) : NONE;
        int day = lines[i].day - c->shift;
        if (product >= 0 && day >= 0)
            e = discards ? plan_add_discard(c->out, product, day, lines[i].ml, why)
                         : plan_add_sale(c->out, product, day, lines[i].ml, why);
    }
    return e;
}

static enum err
add_same(struct carry *c, struct err_text *why)
{
    const struct plan *plan = c->plan;
    enum err e = ERR_OK;
    for (int i = 0; i < plan->loads_n && e == ERR_OK; i++)
        e = add_same_load(c, &plan->loads[i], why);
    for (int i = 0; i < plan->batches_n && e == ERR_OK; i++)
        e = add_same_batch(c, &plan->batches[i], why);
    for (int i = 0; i < plan->orders_n && e == ERR_OK; i++) {
        int order = plan->orders[i].order >= 0 ? PLACE_NOW(c, orders, plan->orders[i].order) : NONE;
        if (order >= 0)
            e = plan_add_order(c->out, order, plan->orders[i].ml, why);
    }
    if (e == ERR_OK)
        e = add_same_sales(c, plan->sales, plan->sales_n, false, why);
    return e == ERR_OK ? add_same_sales(c, plan->discards, plan->discards_n, true, why) : e;
}

/* ---- what still goes, batch by batch ---- */

static int
batch_order(const void *a, const void *b, void *carry)
{
    const struct carry *c = carry;
    int x = *(const int *)a, y = *(const int *)b;
    int by_day = c->plan->batches[x].day - c->plan->batches[y].day;
    return by_day != 0 ? by_day : x - y;
}

/* Whether the tub can be in the kitchen on the thaw day and is good then. */
static bool
tub_fits(const struct carry *c, int recipe, int thaw, int tub)
{
    const struct problem_tub *t = &c->now->tubs[tub];
    int run = c->run_of[tub];
    if (c->used[tub] || t->use_by_day < thaw ||
        !problem_takes(&c->now->recipes[recipe], t->profile))
        return false;
    if (t->at == PROBLEM_AT_KITCHEN)
        return true;
    if (run == NONE)
        return false;
    const struct problem_run *r = &c->now->runs[run];
    return r->route == c->now->sites[t->site].route && t->frozen_day < r->day &&
           r->day <= t->use_by_day && r->day <= thaw && c->van_left_g[run] >= t->g;
}

static void
take_tub(struct carry *c, int tub, int sign)
{
    bool rides = c->now->tubs[tub].at != PROBLEM_AT_KITCHEN;
    c->used[tub] = sign > 0;
    if (rides)
        c->van_left_g[c->run_of[tub]] -= sign * c->now->tubs[tub].g;
}

/* The spare tub in the kitchen that goes off first and still goes in; NONE. */
static int
spare_tub(const struct carry *c, int recipe, int thaw, int64_t room_g)
{
    int best = NONE;
    for (int i = 0; i < c->now->tubs_n; i++) {
        const struct problem_tub *t = &c->now->tubs[i];
        bool spare = t->at == PROBLEM_AT_KITCHEN && !c->wanted[i] && t->g <= room_g &&
                     tub_fits(c, recipe, thaw, i);
        if (spare && (best == NONE || t->use_by_day < c->now->tubs[best].use_by_day))
            best = i;
    }
    return best;
}

/* Fills room with the tubs of the old batch that still go, then with spare ones until the least is
 * reached. */
static int
fill(struct carry *c, const struct plan_batch *batch, int recipe, int thaw, int64_t most,
     int64_t *out_g)
{
    int n = 0;
    int64_t g = 0;
    for (int i = 0; i < batch->tubs_n; i++) {
        int tub = batch->tubs[i] >= 0 ? c->tub_now[batch->tubs[i]] : NONE;
        if (tub < 0 || !tub_fits(c, recipe, thaw, tub) || g + c->now->tubs[tub].g > most)
            continue;
        take_tub(c, tub, 1);
        g += c->now->tubs[tub].g;
        c->room[n++] = tub;
    }
    while (g < c->now->recipes[recipe].puck_min_g) {
        int tub = spare_tub(c, recipe, thaw, most - g);
        if (tub == NONE)
            break;
        take_tub(c, tub, 1);
        g += c->now->tubs[tub].g;
        c->room[n++] = tub;
    }
    *out_g = g;
    return n;
}

static enum err
carry_batch(struct carry *c, const struct plan_batch *batch, struct err_text *why)
{
    int recipe = batch->recipe >= 0 ? PLACE_NOW(c, recipes, batch->recipe) : NONE;
    int day = batch->day - c->shift;
    if (recipe < 0 || day <= 0 || day >= c->now->days ||
        c->now->calendar[day].thaw_day == PROBLEM_NEVER)
        return ERR_OK;
    const struct problem_recipe *r = &c->now->recipes[recipe];
    int ready = problem_ready_day(c->now, recipe, day);
    int64_t most = ready >= 0 ? left_most_grams(&c->left, recipe, day, ready) : NONE, g = 0;
    if (most > r->puck_max_g)
        most = r->puck_max_g;
    int n = fill(c, batch, recipe, c->now->calendar[day].thaw_day, most, &g);
    if (n == 0 || g < r->puck_min_g || g > most) {
        for (int i = 0; i < n; i++)
            take_tub(c, c->room[i], -1);
        return ERR_OK;
    }
    left_use(&c->left, recipe, day, ready, g, 1);
    *share_supply_at(c->now, c->supply, r->product, ready) += g * r->yield_ml_per_kg;
    return plan_add_batch(c->out, recipe, day, c->room, n, why);
}

static enum err
carry_loads(struct carry *c, struct err_text *why)
{
    enum err e = ERR_OK;
    for (int run = 0; run < c->now->runs_n && e == ERR_OK; run++) {
        int n = 0;
        for (int i = 0; i < c->now->tubs_n; i++)
            if (c->used[i] && c->run_of[i] == run && c->now->tubs[i].at != PROBLEM_AT_KITCHEN)
                c->room[n++] = i;
        if (n > 0)
            e = plan_add_load(c->out, run, c->room, n, why);
    }
    return e;
}

static enum err
carry_product(struct carry *c, struct err_text *why)
{
    struct share *share = NULL;
    int64_t *ml = NULL;
    int n = 0;
    enum err e = share_new(c->now, &share, why);
    if (e != ERR_OK)
        return e;
    (void)share_demands(share, &n);
    e = problem_list(n, sizeof *ml, &ml, why);
    if (e == ERR_OK) {
        share_choose(share, c->supply, ml);
        e = share_write(share, c->supply, ml, c->out, why);
    }
    free(ml);
    share_free(share);
    return e;
}

static enum err
carry_all(struct carry *c, struct err_text *why)
{
    enum err e = ERR_OK;
    for (int i = 0; i < c->plan->batches_n; i++)
        c->order[i] = i;
    qsort_r(c->order, (size_t)c->plan->batches_n, sizeof *c->order, batch_order, c);
    for (int i = 0; i < c->plan->batches_n && e == ERR_OK; i++)
        e = carry_batch(c, &c->plan->batches[c->order[i]], why);
    if (e == ERR_OK)
        e = carry_loads(c, why);
    return e == ERR_OK ? carry_product(c, why) : e;
}

/* ---- both, and the better one ---- */

/* A plan of its own for `how`, NULL when it breaks a rule. */
static enum err
try_way(struct carry *c, enum err (*how)(struct carry *c, struct err_text *why),
        struct plan **out_plan, check_units *out_worth, struct err_text *why)
{
    struct check_result checked;
    *out_plan = NULL;
    c->out = plan_new();
    enum err e = c->out != NULL ? how(c, why) : err_set(ERR_MEM, why, "no memory for a plan");
    if (e == ERR_OK) {
        plan_sort(c->out);
        e = check_plan(c->now, c->out, &checked, why);
    }
    if (e != ERR_OK || checked.broken_n > 0) {
        plan_free(c->out);
        return e;
    }
    *out_plan = c->out;
    *out_worth = checked.worth;
    return ERR_OK;
}

static void
find_now(struct carry *c)
{
    for (int i = 0; i < c->old->tubs_n; i++)
        c->tub_now[i] = PLACE_NOW(c, tubs, i);
    for (int i = 0; i < c->now->tubs_n; i++)
        c->run_of[i] = NONE;
    for (int i = 0; i < c->now->runs_n; i++)
        c->van_left_g[i] = c->now->runs[i].van_g;
    for (int i = 0; i < c->plan->loads_n; i++) {
        const struct plan_load *load = &c->plan->loads[i];
        int run = load->run >= 0 ? PLACE_NOW(c, runs, load->run) : NONE;
        for (int k = 0; k < load->tubs_n; k++)
            if (load->tubs[k] >= 0 && c->tub_now[load->tubs[k]] >= 0)
                c->run_of[c->tub_now[load->tubs[k]]] = run;
    }
    for (int i = 0; i < c->plan->batches_n; i++)
        for (int k = 0; k < c->plan->batches[i].tubs_n; k++) {
            int tub = c->plan->batches[i].tubs[k];
            if (tub >= 0 && c->tub_now[tub] >= 0)
                c->wanted[c->tub_now[tub]] = true;
        }
}

static enum err
carry_init(struct carry *c, struct err_text *why)
{
    int room = c->now->tubs_n > c->old->tubs_n ? c->now->tubs_n : c->old->tubs_n;
    enum err e = left_init(&c->left, c->now, why);
    if (e == ERR_OK)
        e = problem_list(c->old->tubs_n, sizeof *c->tub_now, &c->tub_now, why);
    if (e == ERR_OK)
        e = problem_list(c->now->tubs_n, sizeof *c->run_of, &c->run_of, why);
    if (e == ERR_OK)
        e = problem_list(c->now->tubs_n, sizeof *c->wanted, &c->wanted, why);
    if (e == ERR_OK)
        e = problem_list(c->now->tubs_n, sizeof *c->used, &c->used, why);
    if (e == ERR_OK)
        e = problem_list(c->now->runs_n, sizeof *c->van_left_g, &c->van_left_g, why);
    if (e == ERR_OK)
        e = problem_list(c->plan->batches_n, sizeof *c->order, &c->order, why);
    if (e == ERR_OK)
        e = problem_list(share_supply_n(c->now), sizeof *c->supply, &c->supply, why);
    return e == ERR_OK ? problem_list(room, sizeof *c->room, &c->room, why) : e;
}

static void
carry_done(struct carry *c)
{
    left_done(&c->left);
    free(c->tub_now);
    free(c->run_of);
    free(c->wanted);
    free(c->used);
    free(c->van_left_g);
    free(c->order);
    free(c->supply);
    free(c->room);
}

enum err
carry_plan(const struct problem *old, const struct plan *plan, int shift, const struct problem *now,
           struct plan **out_plan, struct err_text *why)
{
    struct carry c = {.old = old, .now = now, .plan = plan, .shift = shift};
    struct plan *same = NULL, *mended = NULL;
    check_units same_worth = 0, mended_worth = 0;
    enum err e = carry_init(&c, why);
    if (e == ERR_OK) {
        find_now(&c);
        e = try_way(&c, add_same, &same, &same_worth, why);
    }
    if (e == ERR_OK)
        e = try_way(&c, carry_all, &mended, &mended_worth, why);
    carry_done(&c);
    if (same != NULL && (mended == NULL || same_worth >= mended_worth)) {
        plan_free(mended);
        mended = same;
    } else {
        plan_free(same);
    }
    if (e == ERR_OK)
        *out_plan = mended;
    else
        plan_free(mended);
    return e;
}

enum err
carry_same(const struct problem *old, const struct plan *plan, int shift, const struct problem *now,
           struct plan **out_plan, struct err_text *why)
{
    struct carry c = {.old = old, .now = now, .plan = plan, .shift = shift};
    enum err e = carry_init(&c, why);
    if (e == ERR_OK) {
        find_now(&c);
        c.out = plan_new();
        e = c.out != NULL ? add_same(&c, why) : err_set(ERR_MEM, why, "no memory for a plan");
    }
    carry_done(&c);
    if (e != ERR_OK) {
        plan_free(c.out);
        return e;
    }
    plan_sort(c.out);
    *out_plan = c.out;
    return ERR_OK;
}
