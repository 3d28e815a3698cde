/* news.c - two problems compared, with an eye on a plan. */
#include "daemon/plan/news.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/plan/carry.h"
#include "daemon/plan/check.h"
#include "daemon/plan/why.h"

enum {
    NONE = -1,
    WEIGHT_G = 100, /* less is the scale's */
};

struct finding {
    const struct problem *old, *now;
    const struct plan *plan;
    int shift;
    int32_t today;
    int *tub_now;  /* by old tub: its place now, or NONE */
    int *batch_of; /* by old tub: place in the plan's batches, or NONE */
    struct news *news;
    enum err failed;
};

#define FIND(f, which, list, id) \
    problem_find((f)->which->list, (f)->which->list##_n, sizeof *(f)->which->list, id)

static struct news_item *add(struct finding *f, enum news_kind kind, const char *id, int day,
                             const char *format, ...) __attribute__((format(printf, 5, 6)));

/* NULL: no memory, which is kept. */
static struct news_item *
add(struct finding *f, enum news_kind kind, const char *id, int day, const char *format, ...)
{
    struct news *news = f->news;
    struct news_item *more = realloc(news->items, ((size_t)news->n + 1) * sizeof *more);
    static struct news_item lost; /* so that callers need not ask */
    if (more == NULL) {
        f->failed = ERR_MEM;
        return &lost;
    }
    news->items = more;
    struct news_item *item = &news->items[news->n++];
    *item = (struct news_item){.kind = kind, .day = day};
    (void)snprintf(item->id, sizeof item->id, "%s", id);
    va_list args;
    va_start(args, format);
    (void)vsnprintf(item->words, sizeof item->words, format, args);
    va_end(args);
    return item;
}

static char *
date(const struct finding *f, int day, char out[16])
{
    return why_date(f->today, day, out);
}

/* The batch that the tub was to go into and that is still ahead; NULL: none. */
static const struct plan_batch *
batch_ahead(const struct finding *f, int old_tub)
{
    int at = f->batch_of[old_tub];
    return at != NONE && f->plan->batches[at].day - f->shift > 0 ? &f->plan->batches[at] : NULL;
}

/* ---- tubs ---- */

static void
tub_gone(struct finding *f, int tub)
{
    const struct problem_tub *t = &f->old->tubs[tub];
    const struct plan_batch *batch = batch_ahead(f, tub);
    char day[16];
    if (t->at == PROBLEM_AT_FORECAST || f->tub_now[tub] != NONE ||
        (f->batch_of[tub] != NONE && batch == NULL))
        return; /* it was to come, or it was to be used by now */
    if (batch == NULL) {
        (void)add(f, NEWS_TUB_GONE, t->id, NONE, "tub %s is gone; the plan did not need it", t->id);
        return;
    }
    add(f, NEWS_TUB_GONE, t->id, batch->day - f->shift,
        "tub %s is gone; the plan puts it into %s of %s", t->id, f->old->recipes[batch->recipe].id,
        date(f, batch->day - f->shift, day))
        ->contradicts = true;
}

static void
tub_late(struct finding *f, int tub)
{
    const struct plan_batch *batch = batch_ahead(f, tub);
    int at = f->tub_now[tub];
    char a[16], b[16];
    if (batch == NULL || at == NONE || batch->day - f->shift >= f->now->days)
        return;
    int thaw = f->now->calendar[batch->day - f->shift].thaw_day;
    const struct problem_tub *t = &f->now->tubs[at];
    if (thaw == PROBLEM_NEVER || t->use_by_day >= thaw)
        return;
    add(f, NEWS_TUB_LATE, t->id, batch->day - f->shift,
        "tub %s is past its date, %s, when %s of %s needs it", t->id, date(f, t->use_by_day, a),
        f->old->recipes[batch->recipe].id, date(f, batch->day - f->shift, b))
        ->contradicts = true;
}

/* New tubs of one café, together. */
static void
tubs_new(struct finding *f, int site)
{
    int n = 0;
    int64_t g = 0;
    for (int i = 0; i < f->now->tubs_n; i++) {
        const struct problem_tub *t = &f->now->tubs[i];
        bool is_new =
            t->site == site && t->at != PROBLEM_AT_FORECAST && FIND(f, old, tubs, t->id) < 0;
        n += is_new;
        g += is_new ? t->g : 0;
    }
    if (n > 0)
        (void)add(f, NEWS_TUB_NEW, f->now->sites[site].id, NONE, "%d new %s of %s, %.2f kg", n,
                  n == 1 ? "tub" : "tubs", f->now->sites[site].id, (double)g / 1000);
}

/* ---- runs ---- */

/* Tubs that a run of the past was to bring and that still stand in the café. */
static void
run_missed(struct finding *f, const struct plan_load *load)
{
    const struct problem_run *run = &f->old->runs[load->run];
    int n = 0;
    const char *first = "";
    char day[16];
    if (run->day - f->shift >= 0)
        return;
    for (int i = 0; i < load->tubs_n; i++) {
        int at = f->tub_now[load->tubs[i]];
        if (at == NONE || f->now->tubs[at].at != PROBLEM_AT_SITE)
            continue;
        first = n++ == 0 ? f->now->tubs[at].id : first;
    }
    if (n == 0)
        return;
    (void)date(f, run->day - f->shift, day);
    if (n == 1)
        add(f, NEWS_RUN_MISSED, run->id, run->day - f->shift, "run %s of %s did not bring tub %s",
            run->id, day, first)
            ->contradicts = true;
    else
        add(f, NEWS_RUN_MISSED, run->id, run->day - f->shift,
            "run %s of %s did not bring %d tubs, %s first", run->id, day, n, first)
            ->contradicts = true;
}

static bool
carries(const struct finding *f, int old_run)
{
    for (int i = 0; i < f->plan->loads_n; i++)
        if (f->plan->loads[i].run == old_run && f->plan->loads[i].tubs_n > 0)
            return true;
    return false;
}

static void
runs_changed(struct finding *f)
{
    char day[16];
    for (int i = 0; i < f->old->runs_n; i++) {
        const struct problem_run *old = &f->old->runs[i];
        int at = FIND(f, now, runs, old->id);
        int ahead = old->day - f->shift;
        if (ahead < 0)
            continue;
        if (at < 0)
            add(f, NEWS_RUN, old->id, ahead, "run %s of %s does not go", old->id,
                date(f, ahead, day))
                ->contradicts = carries(f, i);
        else if (f->now->runs[at].van_g != old->van_g || f->now->runs[at].day != ahead)
            (void)add(f, NEWS_RUN, old->id, f->now->runs[at].day,
                      "run %s goes on %s with room for %.0f kg", old->id,
                      date(f, f->now->runs[at].day, day), (double)f->now->runs[at].van_g / 1000);
    }
    for (int i = 0; i < f->now->runs_n; i++) {
        const struct problem_run *run = &f->now->runs[i];
        if (FIND(f, old, runs, run->id) < 0 && run->day + f->shift < f->old->days)
            (void)add(f, NEWS_RUN, run->id, run->day, "run %s of %s is new", run->id,
                      date(f, run->day, day));
    }
}

/* ---- orders ---- */

static void
order_changed(struct finding *f, const struct problem_order *old)
{
    int at = FIND(f, now, orders, old->id), due = old->due_day - f->shift;
    const char *product = f->old->products[old->product].id;
    char day[16];
    if (due < 0)
        return;
    if (at < 0) {
        (void)add(f, NEWS_ORDER_GONE, old->id, due, "the order of %.1f l of %s for %s is gone",
                  (double)old->ml / 1000, product, date(f, due, day));
        return;
    }
    const struct problem_order *o = &f->now->orders[at];
    if (o->ml != old->ml || o->due_day != due)
        (void)add(f, NEWS_ORDER_CHANGED, old->id, o->due_day,
                  "the order of %.1f l of %s is for %.1f l on %s now", (double)old->ml / 1000,
                  product, (double)o->ml / 1000, date(f, o->due_day, day));
}

static void
orders_changed(struct finding *f)
{
    char day[16];
    for (int i = 0; i < f->old->orders_n; i++)
        order_changed(f, &f->old->orders[i]);
    for (int i = 0; i < f->now->orders_n; i++) {
        const struct problem_order *o = &f->now->orders[i];
        if (FIND(f, old, orders, o->id) < 0)
            (void)add(f, NEWS_ORDER_NEW, o->id, o->due_day,
                      "an order of %.1f l of %s for %s is new", (double)o->ml / 1000,
                      f->now->products[o->product].id, date(f, o->due_day, day));
    }
}

/* ---- ingredients ---- */

static int64_t
batch_g(const struct finding *f, const struct plan_batch *batch)
{
    int64_t g = 0;
    for (int i = 0; i < batch->tubs_n; i++)
        g += f->old->tubs[batch->tubs[i]].g;
    return g;
}

/* What the batches ahead need of it until `day`, in mg, by the recipes of today. */
static int64_t
need_mg(const struct finding *f, int part, int day)
{
    int64_t mg = 0;
    for (int i = 0; i < f->plan->batches_n; i++) {
        const struct plan_batch *batch = &f->plan->batches[i];
        int recipe = FIND(f, now, recipes, f->old->recipes[batch->recipe].id);
        int ahead = batch->day - f->shift;
        if (recipe >= 0 && ahead > 0 && ahead <= day)
            mg += batch_g(f, batch) * f->now->recipes[recipe].need_g_per_kg[part];
    }
    return mg;
}

static void
ingredient_short(struct finding *f, int part)
{
    const struct problem_ingredient *one = &f->now->ingredients[part];
    for (int day = 0; day < f->now->days; day++) {
        int64_t have_mg = one->stock_g * 1000;
        for (int i = 0; i < one->deliveries_n; i++)
            have_mg += one->deliveries[i].day <= day ? one->deliveries[i].g * 1000 : 0;
        int64_t lack_mg = need_mg(f, part, day) - have_mg;
        char words[16];
        if (lack_mg <= 0)
            continue;
        add(f, NEWS_INGREDIENT, one->id, day, "%s is short by %.2f kg on %s", one->id,
            (double)lack_mg / 1e6, date(f, day, words))
            ->contradicts = true;
        return;
    }
}

/* ---- the kitchen ---- */

/* Batches of the past whose tubs, or most of them, are still there. */
static void
batch_unmade(struct finding *f, const struct plan_batch *batch)
{
    int ahead = batch->day - f->shift, left = 0;
    const char *recipe = f->old->recipes[batch->recipe].id;
    char day[16];
    if (ahead >= 0)
        return;
    for (int i = 0; i < batch->tubs_n; i++)
        left += f->tub_now[batch->tubs[i]] != NONE;
    if (left * 2 <= batch->tubs_n)
        return;
    add(f, NEWS_BATCH_UNMADE, recipe, ahead,
        "%s of %s was not mixed as planned: %d of its %d tubs are there", recipe,
        date(f, ahead, day), left, batch->tubs_n)
        ->contradicts = true;
}

/* Whether the plan mixes or bottles on that day of today's problem. */
static bool
works_on(const struct finding *f, int day)
{
    for (int i = 0; i < f->plan->batches_n; i++) {
        const struct plan_batch *batch = &f->plan->batches[i];
        int ready = problem_ready_day(f->old, batch->recipe, batch->day);
        if (batch->day - f->shift == day || ready - f->shift == day)
            return true;
    }
    return false;
}

static void
days_changed(struct finding *f)
{
    char words[16];
    for (int d = 0; d < f->now->days && d + f->shift < f->old->days; d++) {
        const struct problem_day *now = &f->now->calendar[d],
                                 *old = &f->old->calendar[d + f->shift];
        (void)date(f, d, words);
        if (now->working != old->working)
            add(f, NEWS_DAY, "", d, "the kitchen is %s on %s", now->working ? "open" : "closed",
                words)
                ->contradicts = !now->working && works_on(f, d);
        else if (now->labour_s != old->labour_s)
            (void)add(f, NEWS_DAY, "", d, "%s has %.1f h of work, not %.1f h", words,
                      (double)now->labour_s / 3600, (double)old->labour_s / 3600);
    }
}

/* Its yield is learnt from batches: two in a hundred are nothing to speak of. */
static bool
same_recipe(const struct problem_recipe *a, const struct problem_recipe *b)
{
    return a->puck_min_g == b->puck_min_g && a->puck_max_g == b->puck_max_g &&
           llabs((long long)(a->yield_ml_per_kg - b->yield_ml_per_kg)) * 50 <= b->yield_ml_per_kg &&
           a->strain_days == b->strain_days && a->mix_s_per_batch == b->mix_s_per_batch &&
           a->mix_s_per_kg == b->mix_s_per_kg && a->bottle_s_per_batch == b->bottle_s_per_batch &&
           a->bottle_s_per_kg == b->bottle_s_per_kg;
}

static void
kitchen_changed(struct finding *f)
{
    if (f->now->stations != f->old->stations)
        (void)add(f, NEWS_STATIONS, "", NONE, "there are %d stations, not %d", f->now->stations,
                  f->old->stations);
    if (f->now->fridge_ml != f->old->fridge_ml)
        (void)add(f, NEWS_FRIDGE, "", NONE, "the cold store holds %.0f l, not %.0f l",
                  (double)f->now->fridge_ml / 1000, (double)f->old->fridge_ml / 1000);
    for (int i = 0; i < f->old->recipes_n; i++) {
        int at = FIND(f, now, recipes, f->old->recipes[i].id);
        if (at < 0 || !same_recipe(&f->now->recipes[at], &f->old->recipes[i]))
            (void)add(f, NEWS_RECIPE, f->old->recipes[i].id, NONE, "recipe %s is %s",
                      f->old->recipes[i].id, at < 0 ? "gone" : "not as it was");
    }
    days_changed(f);
}

/* ---- all of it ---- */

static bool
contradicted(const struct news *news)
{
    for (int i = 0; i < news->n; i++)
        if (news->items[i].contradicts)
            return true;
    return false;
}

/* Rules of the van's load, stations, work and ingredients. Others may look broken because tubs that
 * were only expected have names of their own each day. */
static bool
is_told(const char *rule)
{
    return strcmp(rule, "2d") == 0 || strcmp(rule, "5") == 0 || strcmp(rule, "6") == 0 ||
           strcmp(rule, "7") == 0;
}

/* What no comparison found: the plan as it is, against the rules of today. */
static enum err
check_rules(struct finding *f, struct err_text *why)
{
    struct plan *same = NULL;
    struct check_result check;
    if (contradicted(f->news))
        return ERR_OK;
    enum err e = carry_same(f->old, f->plan, f->shift, f->now, &same, why);
    if (e == ERR_OK)
        e = check_plan(f->now, same, &check, why);
    for (int i = 0; e == ERR_OK && i < check.broken_n && i < CHECK_BROKEN_KEPT; i++)
        if (is_told(check.broken[i].rule)) {
            add(f, NEWS_RULE, check.broken[i].rule, NONE, "rule %s would be broken: %.150s",
                check.broken[i].rule, check.broken[i].text)
                ->contradicts = true;
            break;
        }
    plan_free(same);
    return e;
}

static enum err
find_all(struct finding *f, struct err_text *why)
{
    for (int i = 0; i < f->plan->loads_n; i++)
        run_missed(f, &f->plan->loads[i]);
    for (int i = 0; i < f->plan->batches_n; i++)
        batch_unmade(f, &f->plan->batches[i]);
    for (int i = 0; i < f->old->tubs_n; i++) {
        tub_gone(f, i);
        tub_late(f, i);
    }
    for (int i = 0; i < f->now->ingredients_n; i++)
        ingredient_short(f, i);
    kitchen_changed(f);
    runs_changed(f);
    orders_changed(f);
    for (int i = 0; i < f->now->sites_n; i++)
        tubs_new(f, i);
    return f->failed == ERR_OK ? check_rules(f, why)
                               : err_set(f->failed, why, "no memory for what is new");
}

static void
look_up_tubs(struct finding *f)
{
    for (int i = 0; i < f->old->tubs_n; i++) {
        f->tub_now[i] = FIND(f, now, tubs, f->old->tubs[i].id);
        f->batch_of[i] = NONE;
    }
    for (int i = 0; i < f->plan->batches_n; i++)
        for (int k = 0; k < f->plan->batches[i].tubs_n; k++)
            f->batch_of[f->plan->batches[i].tubs[k]] = i;
}

enum err
news_find(const struct problem *old, const struct plan *plan, int shift, const struct problem *now,
          int32_t today, struct news *out_news, struct err_text *why)
{
    struct news news = {.n = 0};
    struct finding f = {
        .old = old, .now = now, .plan = plan, .shift = shift, .today = today, .news = &news};
    enum err e = problem_list(old->tubs_n, sizeof *f.tub_now, &f.tub_now, why);
    if (e == ERR_OK)
        e = problem_list(old->tubs_n, sizeof *f.batch_of, &f.batch_of, why);
    if (e == ERR_OK) {
        look_up_tubs(&f);
        e = find_all(&f, why);
    }
    free(f.tub_now);
    free(f.batch_of);
    if (e != ERR_OK) {
        news_done(&news);
        return e;
    }
    *out_news = news;
    return ERR_OK;
}

void
news_done(struct news *news)
{
    free(news->items);
    *news = (struct news){.n = 0};
}

const char *
news_word(enum news_kind kind)
{
    static const char *const words[NEWS_KINDS] = {
        [NEWS_TUB_GONE] = "tub-gone",
        [NEWS_TUB_LATE] = "tub-late",
        [NEWS_TUB_NEW] = "tubs-new",
        [NEWS_RUN_MISSED] = "run-missed",
        [NEWS_RUN] = "run-changed",
        [NEWS_ORDER_NEW] = "order-new",
        [NEWS_ORDER_CHANGED] = "order-changed",
        [NEWS_ORDER_GONE] = "order-gone",
        [NEWS_INGREDIENT] = "ingredient-short",
        [NEWS_BATCH_UNMADE] = "batch-not-mixed",
        [NEWS_DAY] = "day-changed",
        [NEWS_STATIONS] = "stations-changed",
        [NEWS_FRIDGE] = "cold-store-changed",
        [NEWS_RECIPE] = "recipe-changed",
        [NEWS_RULE] = "rule-broken",
    };
    return words[kind];
}
