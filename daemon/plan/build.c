/* build.c - choose a recipe and a day, fill the vessel oldest first, again until nothing pays. */
#include "daemon/plan/build.h"
#include "daemon/plan/left.h"

#include <stdlib.h>
#include <string.h>

enum {
    NONE = -1,
    SWAP_REACH = 48, /* tubs looked at to close a vessel */
};

#define PER_CENT ((share_units)SHARE_UNITS_PER_CENT)

struct filled { /* a vessel filled on trial */
    int recipe, day, ready;
    int64_t g;
    int *tubs, *runs; /* runs[i] brings tubs[i]; NONE: is in the kitchen */
    int n;
    share_units worth; /* what the plan gains by it */
};

struct build {
    const struct problem *p;
    struct share *share;
    const struct build_habit *habit;
    int *pool;           /* tubs by profile, oldest first */
    int *pool_from;      /* by profile, and one more */
    bool *used;          /* by tub; also while a vessel is filled on trial */
    int64_t *van_left_g; /* by run; also on trial */
    bool *run_goes;      /* by run */
    int *route_runs;     /* runs by route, then day */
    int *route_from;     /* by route, and one more */
    struct left left;
    int *batches_on;            /* by recipe and day */
    int64_t *supply;            /* share.h */
    int *at;                    /* by profile: next place in the pool */
    share_units *product_worth; /* by product: share_product() now */
    share_units worth;
    struct filled best, trial;
    struct filled *done;
    int done_n, done_room;
};

/* ---- setting up ---- */

static int
tub_order(const void *a, const void *b, void *problem)
{
    const struct problem *p = problem;
    const struct problem_tub *x = &p->tubs[*(const int *)a];
    const struct problem_tub *y = &p->tubs[*(const int *)b];
    int order = problem_tub_order(x, y);
    if (order != 0)
        return order;
    if (x->g != y->g)
        return x->g > y->g ? -1 : 1;
    return *(const int *)a < *(const int *)b ? -1 : 1;
}

static int
run_order(const void *a, const void *b, void *problem)
{
    const struct problem *p = problem;
    const struct problem_run *x = &p->runs[*(const int *)a];
    const struct problem_run *y = &p->runs[*(const int *)b];
    if (x->route != y->route)
        return x->route < y->route ? -1 : 1;
    if (x->day != y->day)
        return x->day < y->day ? -1 : 1;
    return *(const int *)a < *(const int *)b ? -1 : 1;
}

static void
sort_tubs_and_runs(struct build *b)
{
    const struct problem *p = b->p;
    for (int i = 0; i < p->tubs_n; i++)
        b->pool[i] = i;
    qsort_r(b->pool, (size_t)p->tubs_n, sizeof(int), tub_order, (void *)p);
    for (int i = p->tubs_n - 1, f = p->profiles_n; f >= 0; f--) {
        b->pool_from[f] = f == p->profiles_n ? p->tubs_n : b->pool_from[f + 1];
        for (; i >= 0 && p->tubs[b->pool[i]].profile == f; i--)
            b->pool_from[f] = i;
    }
    for (int i = 0; i < p->runs_n; i++) {
        b->route_runs[i] = i;
        b->van_left_g[i] = p->runs[i].van_g;
    }
    qsort_r(b->route_runs, (size_t)p->runs_n, sizeof(int), run_order, (void *)p);
    for (int i = p->runs_n - 1, r = p->routes_n; r >= 0; r--) {
        b->route_from[r] = r == p->routes_n ? p->runs_n : b->route_from[r + 1];
        for (; i >= 0 && p->runs[b->route_runs[i]].route == r; i--)
            b->route_from[r] = i;
    }
}

static enum err
make_filled(struct filled *f, int tubs_n, struct err_text *why)
{
    enum err e = problem_list(tubs_n, sizeof *f->tubs, &f->tubs, why);
    return e == ERR_OK ? problem_list(tubs_n, sizeof *f->runs, &f->runs, why) : e;
}

static enum err
start(struct build *b, struct err_text *why)
{
    const struct problem *p = b->p;
    const struct {
        int n;
        size_t size;
        void *out;
    } rooms[] = {
        {p->tubs_n, sizeof *b->pool, &b->pool},
        {p->profiles_n + 1, sizeof *b->pool_from, &b->pool_from},
        {p->profiles_n, sizeof *b->at, &b->at},
        {p->tubs_n, sizeof *b->used, &b->used},
        {p->runs_n, sizeof *b->van_left_g, &b->van_left_g},
        {p->runs_n, sizeof *b->run_goes, &b->run_goes},
        {p->runs_n, sizeof *b->route_runs, &b->route_runs},
        {p->routes_n + 1, sizeof *b->route_from, &b->route_from},
        {p->recipes_n * p->days, sizeof *b->batches_on, &b->batches_on},
        {share_supply_n(p), sizeof *b->supply, &b->supply},
        {p->products_n, sizeof *b->product_worth, &b->product_worth},
    };
    enum err e = ERR_OK;
    for (size_t i = 0; e == ERR_OK && i < sizeof rooms / sizeof rooms[0]; i++)
        e = problem_list(rooms[i].n, rooms[i].size, rooms[i].out, why);
    if (e == ERR_OK)
        e = left_init(&b->left, p, why);
    if (e == ERR_OK)
        e = make_filled(&b->best, p->tubs_n, why);
    if (e == ERR_OK)
        e = make_filled(&b->trial, p->tubs_n, why);
    if (e != ERR_OK)
        return e;
    sort_tubs_and_runs(b);
    for (int i = 0; i < p->products_n; i++)
        b->product_worth[i] = share_product(b->share, i, b->supply);
    return ERR_OK;
}

static void
finish(struct build *b)
{
    for (int i = 0; i < b->done_n; i++) {
        free(b->done[i].tubs);
        free(b->done[i].runs);
    }
    free(b->done);
    free(b->best.tubs);
    free(b->best.runs);
    free(b->trial.tubs);
    free(b->trial.runs);
    free(b->pool);
    free(b->pool_from);
    free(b->at);
    free(b->used);
    free(b->van_left_g);
    free(b->run_goes);
    free(b->route_runs);
    free(b->route_from);
    left_done(&b->left);
    free(b->batches_on);
    free(b->supply);
    free(b->product_worth);
}

/* ---- one vessel on trial ---- */

/* The run that can bring the tub by the thaw day: one that goes anyway, else the latest that may.
 * NONE: no run can. */
static int
run_for(const struct build *b, const struct problem_tub *t, int thaw)
{
    int route = b->p->sites[t->site].route;
    int found = NONE;
    for (int i = b->route_from[route]; i < b->route_from[route + 1]; i++) {
        int run = b->route_runs[i];
        const struct problem_run *r = &b->p->runs[run];
        if (r->day <= t->frozen_day || r->day > t->use_by_day || r->day > thaw ||
            b->van_left_g[run] < t->g || (b->habit->run_off != NULL && b->habit->run_off[run]))
            continue;
        if (found == NONE || b->run_goes[run] || !b->run_goes[found])
            found = run;
    }
    return found;
}

/* Whether the tub may go into a batch thawed on `thaw`; *out_run brings it. */
static bool
can_have(const struct build *b, int tub, int thaw, int *out_run)
{
    const struct problem_tub *t = &b->p->tubs[tub];
    *out_run = NONE;
    if (b->used[tub] || t->use_by_day < thaw)
        return false;
    if (t->at == PROBLEM_AT_KITCHEN)
        return true;
    *out_run = run_for(b, t, thaw);
    return *out_run != NONE;
}

static void
put_in(struct build *b, struct filled *f, int tub, int run)
{
    f->tubs[f->n] = tub;
    f->runs[f->n++] = run;
    f->g += b->p->tubs[tub].g;
    b->used[tub] = true;
    if (run != NONE)
        b->van_left_g[run] -= b->p->tubs[tub].g;
}

static void
take_out(struct build *b, struct filled *f, int i)
{
    int tub = f->tubs[i];
    b->used[tub] = false;
    if (f->runs[i] != NONE)
        b->van_left_g[f->runs[i]] += b->p->tubs[tub].g;
    f->g -= b->p->tubs[tub].g;
    f->n--;
    f->tubs[i] = f->tubs[f->n];
    f->runs[i] = f->runs[f->n];
}

/* The oldest tub of all profiles the recipe takes, from where each pool stands; NONE: no more. */
static int
next_tub(struct build *b, const struct problem_recipe *r)
{
    int found = NONE;
    int of = NONE;
    for (int f = 0; f < b->p->profiles_n; f++) {
        if (!problem_takes(r, f))
            continue;
        while (b->at[f] < b->pool_from[f + 1] && b->used[b->pool[b->at[f]]])
            b->at[f]++;
        if (b->at[f] == b->pool_from[f + 1])
            continue;
        int tub = b->pool[b->at[f]];
        if (found == NONE || b->p->tubs[tub].use_by_day < b->p->tubs[found].use_by_day) {
            found = tub;
            of = f;
        }
    }
    if (of != NONE)
        b->at[of]++;
    return found;
}

/* Takes tubs oldest first while they fit `most`; the tubs that did not fit are kept in `over`. */
static int
fill_oldest(struct build *b, struct filled *f, int64_t most, int over[SWAP_REACH])
{
    const struct problem_recipe *r = &b->p->recipes[f->recipe];
    int thaw = b->p->calendar[f->day].thaw_day;
    int over_n = 0;
    int tub;
    for (int i = 0; i < b->p->profiles_n; i++)
        b->at[i] = b->pool_from[i];
    while (over_n < SWAP_REACH && f->g < most && (tub = next_tub(b, r)) != NONE) {
        int run;
        if (!can_have(b, tub, thaw, &run))
            continue;
        if (f->g + b->p->tubs[tub].g <= most)
            put_in(b, f, tub, run);
        else if (b->p->tubs[tub].g <= most)
            over[over_n++] = tub;
    }
    return over_n;
}

/* Swaps one tub in for one that is out, the pair that fills the vessel best, until none does. */
static void
close_vessel(struct build *b, struct filled *f, int64_t most, const int *over, int over_n)
{
    int thaw = b->p->calendar[f->day].thaw_day;
    for (int round = 0; round < 4 && f->g < most; round++) {
        int64_t gain = 0;
        int in = NONE;
        int out = NONE;
        for (int k = 0; k < over_n; k++)
            for (int i = 0; i < f->n && !b->used[over[k]]; i++) {
                int64_t more = b->p->tubs[over[k]].g - b->p->tubs[f->tubs[i]].g;
                if (more > gain && f->g + more <= most) {
                    gain = more;
                    in = k;
                    out = i;
                }
            }
        int run;
        if (in == NONE)
            return;
        int back = f->tubs[out];
        int back_run = f->runs[out];
        take_out(b, f, out);
        if (!can_have(b, over[in], thaw, &run)) {
            put_in(b, f, back, back_run);
            return;
        }
        put_in(b, f, over[in], run);
    }
}

static void
empty_vessel(struct build *b, struct filled *f)
{
    while (f->n > 0)
        take_out(b, f, f->n - 1);
}

/* What the tubs cost to bring and save by being used. A run not yet ordered is charged by the
 * load it could take, so that the first tub does not pay for all. */
static share_units
tubs_worth(const struct build *b, const struct filled *f)
{
    share_units worth = 0;
    for (int i = 0; i < f->n; i++) {
        const struct problem_tub *t = &b->p->tubs[f->tubs[i]];
        worth += t->g * (PER_CENT / 1000) * problem_unused_cents_per_kg(b->p, t);
        if (f->runs[i] == NONE)
            continue;
        const struct problem_run *r = &b->p->runs[f->runs[i]];
        worth -= t->g * (PER_CENT / 1000) * r->cents_per_kg;
        if (!b->run_goes[f->runs[i]] && r->van_g > 0)
            worth -= PER_CENT * r->fixed_cents * t->g / r->van_g;
    }
    return worth;
}

static share_units
batch_cost(const struct problem *p, const struct problem_recipe *r, int64_t g)
{
    share_units cost = 0;
    share_units ms = (r->mix_s_per_batch + r->bottle_s_per_batch) * 1000 +
                     (r->mix_s_per_kg + r->bottle_s_per_kg) * g;
    for (int part = 0; part < p->ingredients_n; part++)
        cost += (share_units)g * r->need_g_per_kg[part] * p->ingredients[part].cents_per_kg *
                (PER_CENT / 1000000);
    return cost + ms * p->labour_cents_per_hour * (PER_CENT / (INT64_C(3600) * 1000));
}

/* Worth of one batch more of this recipe on this day for keeping to the published plan. */
static share_units
change_worth(const struct build *b, int recipe, int day)
{
    bool wanted =
        b->batches_on[recipe * b->p->days + day] < problem_previous_batches(b->p, recipe, day);
    return PER_CENT * problem_change_cents(b->p, day) * (wanted ? 1 : -1);
}

static share_units
filled_worth(struct build *b, const struct filled *f)
{
    const struct problem_recipe *r = &b->p->recipes[f->recipe];
    int64_t *supply = share_supply_at(b->p, b->supply, r->product, f->ready);
    int64_t ul = f->g * r->yield_ml_per_kg;
    *supply += ul;
    share_units worth =
        share_product(b->share, r->product, b->supply) - b->product_worth[r->product];
    *supply -= ul;
    return worth + tubs_worth(b, f) - batch_cost(b->p, r, f->g) +
           change_worth(b, f->recipe, f->day);
}

/* Fills a vessel with at most `most` g on trial, weighs it, and empties it again. */
static bool
try_vessel(struct build *b, struct filled *f, int64_t most)
{
    int over[SWAP_REACH];
    f->n = 0;
    f->g = 0;
    int over_n = fill_oldest(b, f, most, over);
    close_vessel(b, f, most, over, over_n);
    bool enough = f->g >= b->p->recipes[f->recipe].puck_min_g && f->n > 0;
    if (enough)
        f->worth = filled_worth(b, f);
    struct filled kept = *f;
    empty_vessel(b, f);
    *f = kept; /* the lists still hold what was in it */
    return enough;
}

/* ---- the next vessel ---- */

/* What a batch uses of the scarce thing that the habit looks at. */
static int64_t
measure(const struct build *b, const struct filled *f)
{
    const struct problem_recipe *r = &b->p->recipes[f->recipe];
    int last = f->ready < b->p->days ? f->ready : b->p->days;
    switch (b->habit->measure) {
    case BUILD_BY_STATION_DAY:
        return last > f->day ? last - f->day : 1;
    case BUILD_BY_LABOUR:
        return 1 + r->mix_s_per_batch + r->bottle_s_per_batch +
               (r->mix_s_per_kg + r->bottle_s_per_kg) * f->g / 1000;
    default:
        return 1;
    }
}

static bool
better(const struct build *b, const struct filled *f, const struct filled *than)
{
    if (than->n == 0)
        return f->worth > 0;
    return f->worth * measure(b, than) > than->worth * measure(b, f);
}

static void
swap_filled(struct filled *a, struct filled *b)
{
    struct filled c = *a;
    *a = *b;
    *b = c;
}

/* Tries a recipe on a day, full and half full, and keeps it when it is the best so far. */
static void
try_slot(struct build *b, int recipe, int day)
{
    int ready = problem_ready_day(b->p, recipe, day);
    if (b->p->calendar[day].thaw_day == PROBLEM_NEVER || ready < 0 ||
        (b->habit->slot_off != NULL && b->habit->slot_off[recipe * b->p->days + day]))
        return;
    int64_t most = left_most_grams(&b->left, recipe, day, ready);
    int64_t min = b->p->recipes[recipe].puck_min_g;
    for (int part = 0; part < 2 && most >= min && most > 0; part++) {
        b->trial.recipe = recipe;
        b->trial.day = day;
        b->trial.ready = ready;
        if (!try_vessel(b, &b->trial, most))
            break;
        if (better(b, &b->trial, &b->best))
            swap_filled(&b->trial, &b->best);
        most = (most + min) / 2;
    }
}

/* Moves what is in b->best into the plan. */
static enum err
settle_best(struct build *b, struct err_text *why)
{
    const struct problem *p = b->p;
    struct filled f = {0};
    enum err e = make_filled(&f, b->best.n, why);
    if (e == ERR_OK && b->done_n == b->done_room) {
        int room = b->done_room == 0 ? 16 : b->done_room * 2;
        struct filled *more = realloc(b->done, (size_t)room * sizeof *more);
        if (more == NULL)
            e = err_set(ERR_MEM, why, "no memory for the plan's batches");
        else {
            b->done = more;
            b->done_room = room;
        }
    }
    if (e != ERR_OK) {
        free(f.tubs);
        free(f.runs);
        return e;
    }
    f.recipe = b->best.recipe;
    f.day = b->best.day;
    f.ready = b->best.ready;
    for (int i = 0; i < b->best.n; i++) {
        put_in(b, &f, b->best.tubs[i], b->best.runs[i]);
        if (b->best.runs[i] != NONE)
            b->run_goes[b->best.runs[i]] = true;
    }
    b->done[b->done_n++] = f;
    const struct problem_recipe *r = &p->recipes[f.recipe];
    left_use(&b->left, f.recipe, f.day, f.ready, f.g, 1);
    b->batches_on[f.recipe * p->days + f.day]++;
    *share_supply_at(p, b->supply, r->product, f.ready) += f.g * r->yield_ml_per_kg;
    b->product_worth[r->product] = share_product(b->share, r->product, b->supply);
    return ERR_OK;
}

/* Adds vessels on the days from..to while one pays. */
static enum err
add_vessels(struct build *b, int from, int to, struct err_text *why)
{
    for (;;) {
        b->best.n = 0;
        for (int day = from; day <= to; day++)
            for (int recipe = 0; recipe < b->p->recipes_n; recipe++)
                try_slot(b, recipe, day);
        if (b->best.n == 0)
            return ERR_OK;
        enum err e = settle_best(b, why);
        if (e != ERR_OK)
            return e;
    }
}

/* ---- the plan ---- */

static enum err
write_loads(const struct build *b, int *room, struct plan *plan, struct err_text *why)
{
    for (int run = 0; run < b->p->runs_n; run++) {
        int n = 0;
        if (!b->run_goes[run])
            continue;
        for (int i = 0; i < b->done_n; i++)
            for (int k = 0; k < b->done[i].n; k++)
                if (b->done[i].runs[k] == run)
                    room[n++] = b->done[i].tubs[k];
        enum err e = n > 0 ? plan_add_load(plan, run, room, n, why) : ERR_OK;
        if (e != ERR_OK)
            return e;
    }
    return ERR_OK;
}

static enum err
write_product(struct build *b, struct plan *plan, share_units *out_worth, struct err_text *why)
{
    int n = 0;
    int64_t *ml = NULL;
    const struct share_demand *d = share_demands(b->share, &n);
    enum err e = problem_list(n, sizeof *ml, &ml, why);
    if (e == ERR_OK) {
        share_choose(b->share, b->supply, ml);
        e = share_write(b->share, b->supply, ml, plan, why);
    }
    for (int i = 0; e == ERR_OK && i < n; i++)
        *out_worth += (share_units)ml[i] * d[i].cents_per_l * (PER_CENT / 1000);
    free(ml);
    return e;
}

/* The worth of all that is done, product left aside: counted anew, runs at their full price. */
static share_units
count_worth(const struct build *b)
{
    const struct problem *p = b->p;
    share_units worth = 0;
    for (int i = 0; i < b->done_n; i++) {
        worth += tubs_worth(b, &b->done[i]);
        worth -= batch_cost(p, &p->recipes[b->done[i].recipe], b->done[i].g);
    }
    for (int run = 0; run < p->runs_n; run++)
        worth -= b->run_goes[run] ? PER_CENT * p->runs[run].fixed_cents : 0;
    for (int recipe = 0; recipe < p->recipes_n; recipe++)
        for (int day = 0; day < p->days; day++) {
            int was = problem_previous_batches(p, recipe, day);
            int now = b->batches_on[recipe * p->days + day];
            int off = now > was ? now - was : was - now;
            worth += PER_CENT * problem_change_cents(p, day) * (was - off);
        }
    return worth;
}

static enum err
write_plan(struct build *b, struct plan *plan, share_units *out_worth, struct err_text *why)
{
    int *room = NULL;
    *out_worth = count_worth(b);
    enum err e = problem_list(b->p->tubs_n, sizeof *room, &room, why);
    if (e == ERR_OK)
        e = write_loads(b, room, plan, why);
    for (int i = 0; e == ERR_OK && i < b->done_n; i++)
        e = plan_add_batch(plan, b->done[i].recipe, b->done[i].day, b->done[i].tubs, b->done[i].n,
                           why);
    if (e == ERR_OK)
        e = write_product(b, plan, out_worth, why);
    free(room);
    return e;
}

static enum err
add_all(struct build *b, struct err_text *why)
{
    if (!b->habit->day_by_day)
        return add_vessels(b, 0, b->p->days - 1, why);
    for (int day = 0; day < b->p->days; day++) {
        enum err e = add_vessels(b, day, day, why);
        if (e != ERR_OK)
            return e;
    }
    return ERR_OK;
}

enum err
build_plan(const struct problem *p, struct share *share, const struct build_habit *habit,
           struct plan **out_plan, share_units *out_worth, struct err_text *why)
{
    struct build b = {.p = p, .share = share, .habit = habit};
    share_units worth = 0;
    struct plan *plan = plan_new();
    enum err e = plan == NULL ? err_set(ERR_MEM, why, "no memory for the plan") : start(&b, why);
    if (e == ERR_OK)
        e = add_all(&b, why);
    if (e == ERR_OK)
        e = write_plan(&b, plan, &worth, why);
    finish(&b);
    if (e != ERR_OK) {
        plan_free(plan);
        return e;
    }
    plan_sort(plan);
    *out_plan = plan;
    *out_worth = worth;
    return ERR_OK;
}
