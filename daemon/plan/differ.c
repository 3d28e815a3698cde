/* differ.c - two plans side by side. */
#include "daemon/plan/differ.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/plan/carry.h"
#include "daemon/plan/why.h"

enum {
    NONE = -1,
    TOUCHES = 4, /* a lower score is no cause */
    SAME_G = 100,
    SAME_ML = 100,
};

struct differing {
    const struct problem *old, *now;
    const struct plan *from, *to;
    int shift;
    int32_t today;
    int *recipe_now;        /* by old recipe */
    int *from_n, *to_n;     /* batches by recipe (of now) and day (of now) */
    int64_t *from_g, *to_g; /* grounds of them */
    struct differ *out;
    enum err failed;
};

/* What a difference is about, to find the fact behind it. Places are of now. */
struct subject {
    int recipe, day; /* NONE: not a batch */
    int product;
    const char *run, *order, *tub; /* NULL: not about one */
};

static int
at(const struct differing *d, int recipe, int day)
{
    return recipe * d->now->days + day;
}

static char *
date(const struct differing *d, int day, char out[16])
{
    return why_date(d->today, day, out);
}

/* ---- the fact behind it ---- */

/* Whether the older plan puts the tub (of the older problem, by id) into the subject's batch. */
static bool
tub_was_in(const struct differing *d, const char *tub, const struct subject *s)
{
    for (int i = 0; i < d->from->batches_n; i++) {
        const struct plan_batch *b = &d->from->batches[i];
        if (d->recipe_now[b->recipe] != s->recipe || b->day - d->shift != s->day)
            continue;
        for (int k = 0; k < b->tubs_n; k++)
            if (strcmp(d->old->tubs[b->tubs[k]].id, tub) == 0)
                return true;
    }
    return false;
}

static bool
run_fed(const struct differing *d, const char *run, const struct subject *s)
{
    for (int i = 0; i < d->from->loads_n; i++) {
        const struct plan_load *load = &d->from->loads[i];
        if (strcmp(d->old->runs[load->run].id, run) != 0)
            continue;
        for (int k = 0; k < load->tubs_n; k++)
            if (tub_was_in(d, d->old->tubs[load->tubs[k]].id, s))
                return true;
    }
    return false;
}

static bool
is_of_product(const struct differing *d, const struct news_item *item, int product)
{
    int order = problem_find(d->now->orders, d->now->orders_n, sizeof *d->now->orders, item->id);
    if (order >= 0)
        return d->now->orders[order].product == product;
    order = problem_find(d->old->orders, d->old->orders_n, sizeof *d->old->orders, item->id);
    return order >= 0 && product != NONE &&
           strcmp(d->old->products[d->old->orders[order].product].id,
                  d->now->products[product].id) == 0;
}

static int
score_batch(const struct differing *d, const struct news_item *item, const struct subject *s)
{
    const struct problem *now = d->now;
    const struct problem_recipe *r = &now->recipes[s->recipe];
    int part, ready = problem_ready_day(now, s->recipe, s->day);
    switch (item->kind) {
    case NEWS_TUB_GONE:
    case NEWS_TUB_LATE:
        return tub_was_in(d, item->id, s) ? 9 : item->contradicts ? 2 : 0;
    case NEWS_RUN_MISSED:
        return run_fed(d, item->id, s) ? 9 : 3;
    case NEWS_RUN:
        return run_fed(d, item->id, s) ? 8 : 1;
    case NEWS_BATCH_UNMADE:
        part = problem_find(now->recipes, now->recipes_n, sizeof *now->recipes, item->id);
        return part == s->recipe || (part >= 0 && now->recipes[part].product == r->product) ? 8 : 3;
    case NEWS_DAY:
        return item->day >= s->day - 1 && item->day <= (ready < 0 ? s->day : ready) ? 8 : 2;
    case NEWS_INGREDIENT:
        part =
            problem_find(now->ingredients, now->ingredients_n, sizeof *now->ingredients, item->id);
        return part >= 0 && r->need_g_per_kg[part] > 0 ? 7 : 0;
    case NEWS_RECIPE:
        return strcmp(item->id, r->id) == 0 ? 8 : 1;
    case NEWS_ORDER_NEW:
    case NEWS_ORDER_CHANGED:
    case NEWS_ORDER_GONE:
        return is_of_product(d, item, r->product) ? 6 : 1;
    case NEWS_STATIONS:
    case NEWS_FRIDGE:
    case NEWS_RULE:
        return 5;
    case NEWS_TUB_NEW:
        return 4;
    default:
        return 0;
    }
}

/* Whether the older plan brings the tub by that run. */
static bool
rode(const struct differing *d, const char *tub, const char *run)
{
    for (int i = 0; i < d->from->loads_n; i++) {
        const struct plan_load *load = &d->from->loads[i];
        if (strcmp(d->old->runs[load->run].id, run) != 0)
            continue;
        for (int k = 0; k < load->tubs_n; k++)
            if (strcmp(d->old->tubs[load->tubs[k]].id, tub) == 0)
                return true;
    }
    return false;
}

static bool
passes(const struct differing *d, const char *site, const char *run)
{
    const struct problem *p = d->now;
    int s = problem_find(p->sites, p->sites_n, sizeof *p->sites, site);
    int r = problem_find(p->runs, p->runs_n, sizeof *p->runs, run);
    return s >= 0 && r >= 0 && p->sites[s].route == p->runs[r].route;
}

/* How much the fact has to do with the difference; 0: nothing. */
static int
score(const struct differing *d, const struct news_item *item, const struct subject *s)
{
    if (s->tub != NULL && strcmp(item->id, s->tub) == 0)
        return 10;
    if (s->run != NULL && item->kind == NEWS_RUN && strcmp(item->id, s->run) == 0)
        return 10;
    if (s->order != NULL && strcmp(item->id, s->order) == 0)
        return 10;
    if (s->recipe != NONE)
        return score_batch(d, item, s);
    if (s->product != NONE && is_of_product(d, item, s->product))
        return 5;
    if (s->run != NULL && item->kind == NEWS_TUB_GONE && rode(d, item->id, s->run))
        return 8;
    if (s->run != NULL && item->kind == NEWS_TUB_NEW && passes(d, item->id, s->run))
        return 4;
    return 0;
}

static int
cause_of(const struct differing *d, const struct subject *s)
{
    int best = NONE, best_score = TOUCHES - 1;
    for (int i = 0; i < d->out->news.n; i++) {
        int n = score(d, &d->out->news.items[i], s);
        if (n > best_score) {
            best_score = n;
            best = i;
        }
    }
    return best;
}

__attribute__((format(printf, 6, 7))) static void
add(struct differing *d, enum differ_kind kind, const struct subject *s, const char *id, int day,
    const char *format, ...)
{
    struct differ *out = d->out;
    struct differ_item *more = realloc(out->items, ((size_t)out->n + 1) * sizeof *more);
    if (more == NULL) {
        d->failed = ERR_MEM;
        return;
    }
    out->items = more;
    struct differ_item *item = &out->items[out->n++];
    *item = (struct differ_item){.kind = kind, .day = day, .cause = cause_of(d, s)};
    (void)snprintf(item->id, sizeof item->id, "%s", id);
    va_list args;
    va_start(args, format);
    (void)vsnprintf(item->words, sizeof item->words, format, args);
    va_end(args);
}

/* ---- batches ---- */

static int64_t
mass(const struct problem *p, const struct plan_batch *batch)
{
    int64_t g = 0;
    for (int i = 0; i < batch->tubs_n; i++)
        g += p->tubs[batch->tubs[i]].g;
    return g;
}

static void
count_batches(struct differing *d)
{
    for (int i = 0; i < d->from->batches_n; i++) {
        const struct plan_batch *b = &d->from->batches[i];
        int recipe = d->recipe_now[b->recipe], day = b->day - d->shift;
        if (recipe < 0 || day < 1 || day >= d->now->days)
            continue;
        d->from_n[at(d, recipe, day)]++;
        d->from_g[at(d, recipe, day)] += mass(d->old, b);
    }
    for (int i = 0; i < d->to->batches_n; i++) {
        const struct plan_batch *b = &d->to->batches[i];
        d->to_n[at(d, b->recipe, b->day)]++;
        d->to_g[at(d, b->recipe, b->day)] += mass(d->now, b);
    }
}

static struct subject
batch_subject(const struct differing *d, int recipe, int day)
{
    return (struct subject){recipe, day, d->now->recipes[recipe].product, NULL, NULL, NULL};
}

/* Another day on which the newer plan has more of them than the older; NONE. */
static int
moved_to(const struct differing *d, int recipe)
{
    for (int day = 1; day < d->now->days; day++)
        if (d->to_n[at(d, recipe, day)] > d->from_n[at(d, recipe, day)])
            return day;
    return NONE;
}

static void
fewer_batches(struct differing *d, int recipe, int day)
{
    const char *id = d->now->recipes[recipe].id;
    char a[16], b[16];
    struct subject s = batch_subject(d, recipe, day);
    while (d->from_n[at(d, recipe, day)] > d->to_n[at(d, recipe, day)]) {
        int other = moved_to(d, recipe);
        d->from_n[at(d, recipe, day)]--;
        if (other == NONE) {
            add(d, DIFFER_BATCH, &s, id, day, "%s of %s is left out", id, date(d, day, a));
            continue;
        }
        d->from_n[at(d, recipe, other)]++;
        add(d, DIFFER_BATCH, &s, id, other, "%s moves from %s to %s", id, date(d, day, a),
            date(d, other, b));
    }
}

static void
more_batches(struct differing *d, int recipe, int day)
{
    const char *id = d->now->recipes[recipe].id;
    char a[16];
    struct subject s = batch_subject(d, recipe, day);
    int n = d->to_n[at(d, recipe, day)] - d->from_n[at(d, recipe, day)];
    if (n > 0 && d->from_n[at(d, recipe, day)] > 0)
        add(d, DIFFER_BATCH, &s, id, day, "%s of %s: %d more, %d in all", id, date(d, day, a), n,
            d->to_n[at(d, recipe, day)]);
    else if (n > 0)
        add(d, DIFFER_BATCH, &s, id, day, "%s of %s is new, %.2f kg of grounds", id,
            date(d, day, a), (double)d->to_g[at(d, recipe, day)] / 1000);
}

static void
other_size(struct differing *d, int recipe, int day)
{
    const char *id = d->now->recipes[recipe].id;
    int64_t from = d->from_g[at(d, recipe, day)], to = d->to_g[at(d, recipe, day)];
    char a[16];
    struct subject s = batch_subject(d, recipe, day);
    if (from > 0 && to > 0 && llabs((long long)(from - to)) >= SAME_G &&
        d->from_n[at(d, recipe, day)] == d->to_n[at(d, recipe, day)])
        add(d, DIFFER_BATCH, &s, id, day, "%s of %s has %.2f kg of grounds, not %.2f kg", id,
            date(d, day, a), (double)to / 1000, (double)from / 1000);
}

static void
compare_batches(struct differing *d)
{
    count_batches(d);
    for (int recipe = 0; recipe < d->now->recipes_n; recipe++) {
        for (int day = 1; day < d->now->days; day++)
            other_size(d, recipe, day);
        for (int day = 1; day < d->now->days; day++)
            fewer_batches(d, recipe, day);
        for (int day = 1; day < d->now->days; day++)
            more_batches(d, recipe, day);
    }
}

/* ---- runs ---- */

static const struct plan_load *
load_of(const struct plan *plan, int run)
{
    for (int i = 0; i < plan->loads_n; i++)
        if (plan->loads[i].run == run && plan->loads[i].tubs_n > 0)
            return &plan->loads[i];
    return NULL;
}

static int64_t
load_g(const struct problem *p, const struct plan_load *load)
{
    int64_t g = 0;
    for (int i = 0; load != NULL && i < load->tubs_n; i++)
        g += p->tubs[load->tubs[i]].g;
    return g;
}

static void
compare_run(struct differing *d, int run)
{
    const struct problem_run *r = &d->now->runs[run];
    int was = problem_find(d->old->runs, d->old->runs_n, sizeof *d->old->runs, r->id);
    const struct plan_load *to = load_of(d->to, run);
    const struct plan_load *from = was >= 0 ? load_of(d->from, was) : NULL;
    int64_t from_g = load_g(d->old, from), to_g = load_g(d->now, to);
    struct subject s = {NONE, NONE, NONE, r->id, NULL, NULL};
    char a[16];
    (void)date(d, r->day, a);
    if (from == NULL && to != NULL)
        add(d, DIFFER_RUN, &s, r->id, r->day, "run %s of %s goes: %d %s, %.2f kg", r->id, a,
            to->tubs_n, to->tubs_n == 1 ? "tub" : "tubs", (double)to_g / 1000);
    else if (from != NULL && to == NULL)
        add(d, DIFFER_RUN, &s, r->id, r->day, "run %s of %s brings nothing", r->id, a);
    else if (from != NULL && to != NULL &&
             (from->tubs_n != to->tubs_n || llabs((long long)(from_g - to_g)) >= SAME_G))
        add(d, DIFFER_RUN, &s, r->id, r->day, "run %s of %s brings %d %s, %.2f kg, not %d, %.2f kg",
            r->id, a, to->tubs_n, to->tubs_n == 1 ? "tub" : "tubs", (double)to_g / 1000,
            from->tubs_n, (double)from_g / 1000);
}

/* ---- orders ---- */

static int64_t
served(const struct plan *plan, int order)
{
    int64_t ml = 0;
    for (int i = 0; i < plan->orders_n; i++)
        ml += plan->orders[i].order == order ? plan->orders[i].ml : 0;
    return ml;
}

static void
compare_order(struct differing *d, int order)
{
    const struct problem_order *o = &d->now->orders[order];
    int was = problem_find(d->old->orders, d->old->orders_n, sizeof *d->old->orders, o->id);
    int64_t to = served(d->to, order), from = was >= 0 ? served(d->from, was) : 0;
    struct subject s = {NONE, NONE, o->product, NULL, o->id, NULL};
    char a[16];
    if (llabs((long long)(to - from)) < SAME_ML)
        return;
    add(d, DIFFER_ORDER, &s, o->id, o->due_day,
        was >= 0 ? "the order of %.1f l of %s for %s gets %.1f l, not %.1f l"
                 : "the order of %.1f l of %s for %s gets %.1f l (it had %.1f l)",
        (double)o->ml / 1000, d->now->products[o->product].id, date(d, o->due_day, a),
        (double)to / 1000, (double)from / 1000);
}

/* ---- tubs ---- */

/* Where a tub goes: recipe and day of now; recipe NONE: nowhere. */
struct goal {
    int recipe, day;
};

static struct goal
goal_from(const struct differing *d, const char *id)
{
    int tub = problem_find(d->old->tubs, d->old->tubs_n, sizeof *d->old->tubs, id);
    for (int i = 0; tub >= 0 && i < d->from->batches_n; i++)
        for (int k = 0; k < d->from->batches[i].tubs_n; k++)
            if (d->from->batches[i].tubs[k] == tub)
                return (struct goal){d->recipe_now[d->from->batches[i].recipe],
                                     d->from->batches[i].day - d->shift};
    return (struct goal){NONE, NONE};
}

static void
compare_tub(struct differing *d, int tub, struct goal to)
{
    const struct problem_tub *t = &d->now->tubs[tub];
    struct goal from = goal_from(d, t->id);
    struct subject s = {NONE, NONE, NONE, NULL, NULL, t->id};
    char a[16], b[16];
    bool same = from.recipe == to.recipe && (from.recipe == NONE || from.day == to.day);
    if (t->at == PROBLEM_AT_FORECAST || same)
        return;
    if (to.recipe == NONE)
        add(d, DIFFER_TUB, &s, t->id, NONE, "tub %s waits; it was for %s of %s", t->id,
            d->now->recipes[from.recipe].id, date(d, from.day, a));
    else if (from.recipe == NONE)
        add(d, DIFFER_TUB, &s, t->id, to.day, "tub %s goes into %s of %s", t->id,
            d->now->recipes[to.recipe].id, date(d, to.day, a));
    else
        add(d, DIFFER_TUB, &s, t->id, to.day, "tub %s goes into %s of %s, not %s of %s", t->id,
            d->now->recipes[to.recipe].id, date(d, to.day, a), d->now->recipes[from.recipe].id,
            date(d, from.day, b));
}

static enum err
compare_tubs(struct differing *d, struct err_text *why)
{
    struct goal *to = NULL;
    enum err e = problem_list(d->now->tubs_n, sizeof *to, &to, why);
    if (e != ERR_OK)
        return e;
    for (int i = 0; i < d->now->tubs_n; i++)
        to[i] = (struct goal){NONE, NONE};
    for (int i = 0; i < d->to->batches_n; i++)
        for (int k = 0; k < d->to->batches[i].tubs_n; k++)
            to[d->to->batches[i].tubs[k]] =
                (struct goal){d->to->batches[i].recipe, d->to->batches[i].day};
    for (int i = 0; i < d->now->tubs_n; i++)
        compare_tub(d, i, to[i]);
    free(to);
    return ERR_OK;
}

/* ---- all of it ---- */

/* What the newer plan is worth more than the older one as it is, both by today's books. */
static enum err
compare_worth(struct differing *d, struct err_text *why)
{
    struct plan *same = NULL;
    struct check_result from, to;
    enum err e = carry_plan(d->old, d->from, d->shift, d->now, &same, why);
    if (e == ERR_OK)
        e = check_plan(d->now, d->to, &to, why);
    if (e == ERR_OK && same != NULL)
        e = check_plan(d->now, same, &from, why);
    d->out->fits = true;
    for (int i = 0; i < d->out->news.n; i++)
        d->out->fits &= !d->out->news.items[i].contradicts;
    if (e == ERR_OK && same != NULL)
        d->out->worth_more = to.worth - from.worth;
    plan_free(same);
    return e;
}

static enum err
init(struct differing *d, struct err_text *why)
{
    int slots = d->now->recipes_n * d->now->days;
    enum err e = problem_list(d->old->recipes_n, sizeof *d->recipe_now, &d->recipe_now, why);
    if (e == ERR_OK)
        e = problem_list(slots, sizeof *d->from_n, &d->from_n, why);
    if (e == ERR_OK)
        e = problem_list(slots, sizeof *d->to_n, &d->to_n, why);
    if (e == ERR_OK)
        e = problem_list(slots, sizeof *d->from_g, &d->from_g, why);
    if (e == ERR_OK)
        e = problem_list(slots, sizeof *d->to_g, &d->to_g, why);
    for (int i = 0; i < d->old->recipes_n && e == ERR_OK; i++)
        d->recipe_now[i] = problem_find(d->now->recipes, d->now->recipes_n, sizeof *d->now->recipes,
                                        d->old->recipes[i].id);
    return e;
}

static enum err
compare_all(struct differing *d, struct err_text *why)
{
    enum err e = init(d, why);
    if (e == ERR_OK)
        e = news_find(d->old, d->from, d->shift, d->now, d->today, &d->out->news, why);
    if (e == ERR_OK)
        e = compare_worth(d, why);
    if (e != ERR_OK)
        return e;
    compare_batches(d);
    for (int i = 0; i < d->now->runs_n; i++)
        compare_run(d, i);
    for (int i = 0; i < d->now->orders_n; i++)
        compare_order(d, i);
    e = compare_tubs(d, why);
    return d->failed == ERR_OK ? e : err_set(d->failed, why, "no memory for the differences");
}

enum err
differ_find(const struct problem *old, const struct plan *from, const struct problem *now,
            const struct plan *to, int shift, int32_t today, struct differ *out_differ,
            struct err_text *why)
{
    struct differ out = {.n = 0};
    struct differing d = {.old = old,
                          .now = now,
                          .from = from,
                          .to = to,
                          .shift = shift,
                          .today = today,
                          .out = &out};
    enum err e = compare_all(&d, why);
    free(d.recipe_now);
    free(d.from_n);
    free(d.to_n);
    free(d.from_g);
    free(d.to_g);
    if (e != ERR_OK) {
        differ_done(&out);
        return e;
    }
    *out_differ = out;
    return ERR_OK;
}

void
differ_done(struct differ *differ)
{
    news_done(&differ->news);
    free(differ->items);
    *differ = (struct differ){.n = 0};
}

const char *
differ_word(enum differ_kind kind)
{
    static const char *const words[] = {"batch", "run", "order", "tub"};
    return words[kind];
}
