/* test_best.c - the optimiser against plans whose worth is known: all of them tried, or planted. */
#include "tiny.h"

#include "daemon/plan/child.h"
#include "daemon/plan/share.h"

#define SOLVER TEST_BIN "/knockbox-solve"

static struct child_result
best(const struct problem *p)
{
    struct child_options o = {.program = SOLVER, .effort = 1};
    struct child_result r = {.plan = NULL};
    struct err_text why = {.s = ""};
    cr_assert(child_best_plan(p, &o, &r, &why) == ERR_OK, "%s", why.s);
    cr_assert(r.how == CHILD_DONE, "%s", r.remark);
    cr_assert(r.bound_known);
    cr_assert(r.bound >= r.worth);
    cr_assert(kit_check(p, r.plan).broken_n == 0);
    return r;
}

static uint64_t
first_seed(void)
{
    const char *text = getenv("TEST_SEED");
    return text != NULL ? strtoull(text, NULL, 10) : 1;
}

/* ---- every plan tried ---- */

/* A slot is recipe x days + day; NOWHERE: the tub stays unused. */
enum {
    NOWHERE = -1,
    TUBS_MOST = 6
};

struct trying {
    const struct problem *p;
    struct share *share;
    int64_t *supply;
    int slot_of[TUBS_MOST];
    check_units best;
};

/* The plan of an assignment without product, checked: its worth without product; false: it breaks
 * a rule. One vessel a slot at most, for there is one station. */
static bool
plain_worth(struct trying *t, check_units *out)
{
    const struct problem *p = t->p;
    struct plan *plan = plan_new();
    int load[TUBS_MOST];
    int load_n = 0;
    memset(t->supply, 0, (size_t)share_supply_n(p) * sizeof *t->supply);
    for (int slot = 0; slot < p->recipes_n * p->days; slot++) {
        int tubs[TUBS_MOST];
        int n = 0;
        int64_t g = 0;
        for (int i = 0; i < p->tubs_n; i++)
            if (t->slot_of[i] == slot) {
                tubs[n++] = i;
                g += p->tubs[i].g;
                if (p->tubs[i].at != PROBLEM_AT_KITCHEN)
                    load[load_n++] = i;
            }
        if (n == 0)
            continue;
        int recipe = slot / p->days;
        int ready = problem_ready_day(p, recipe, slot % p->days);
        plan_add_batch(plan, recipe, slot % p->days, tubs, n, NULL);
        if (ready >= 0)
            *share_supply_at(p, t->supply, p->recipes[recipe].product, ready) +=
                g * p->recipes[recipe].yield_ml_per_kg;
    }
    if (load_n > 0)
        plan_add_load(plan, 0, load, load_n, NULL);
    struct check_result r = kit_check(p, plan);
    plan_free(plan);
    *out = r.worth - r.part[CHECK_END_VALUE];
    return r.broken_n == 0;
}

static void
try_plan(struct trying *t)
{
    check_units worth = 0;
    if (!plain_worth(t, &worth))
        return;
    for (int i = 0; i < t->p->products_n; i++)
        worth += share_product(t->share, i, t->supply);
    if (worth > t->best)
        t->best = worth;
}

static void
try_all(struct trying *t, int tub)
{
    const struct problem *p = t->p;
    if (tub == p->tubs_n) {
        try_plan(t);
        return;
    }
    for (int slot = NOWHERE; slot < p->recipes_n * p->days; slot++) {
        t->slot_of[tub] = slot;
        if (slot == NOWHERE || (p->calendar[slot % p->days].thaw_day != PROBLEM_NEVER &&
                                problem_takes(&p->recipes[slot / p->days], p->tubs[tub].profile)))
            try_all(t, tub + 1);
    }
}

Test(best, no_plan_of_a_tiny_kitchen_is_better_than_the_one_found)
{
    const struct tiny_size size = {5, 4, 2, 1, 2, true};
    for (uint64_t seed = first_seed(), end = seed + 6; seed < end; seed++) {
        struct problem *p = tiny_problem(seed, &size);
        struct trying t = {.p = p, .best = -((check_units)1 << 100)};
        cr_assert(share_new(p, &t.share, NULL) == ERR_OK);
        tiny_list(share_supply_n(p), sizeof *t.supply, &t.supply);
        try_all(&t, 0);
        struct child_result r = best(p);
        /* whole millilitres cost a few cents at most, and the brute force has none */
        cr_expect(check_cents(t.best - r.worth) < 15, "seed %llu: %.2f of %.2f",
                  (unsigned long long)seed, check_cents(r.worth), check_cents(t.best));
        cr_expect(r.bound >= t.best, "seed %llu: bound %.4f under %.4f", (unsigned long long)seed,
                  check_cents(r.bound), check_cents(t.best));
        plan_free(r.plan);
        share_free(t.share);
        free(t.supply);
        problem_free(p);
    }
}

/* ---- a best plan planted ---- */

/* Vessels of 3000 to 4000 g, tubs that fill exactly as many as one station can strain in 8 days,
 * and demand on each ready day for exactly one vessel's product, dear enough. Nothing can be worth
 * more, for every vessel that can be made is full and all of it is sold at the one price. */
static struct problem *
planted(void)
{
    const struct tiny_size size = {1, 8, 1, 1, 1, true};
    struct problem *p = tiny_problem(1, &size);
    for (int d = 0; d < p->calendar_n; d++)
        p->calendar[d] =
            (struct problem_day){true, d > 0 && d < p->days ? d - 1 : PROBLEM_NEVER, 36000};
    p->labour_cents_per_hour = 0;
    p->ingredients[0].stock_g = 1000000;
    p->ingredients[0].cents_per_kg = 0;
    p->orders_n = 0;
    p->stock_n = 0;
    p->previous_n = 0;
    p->previous_until_day = -1;
    p->products[0].end_demand_ml = 0;
    struct problem_recipe *r = &p->recipes[0];
    r->puck_min_g = 3000;
    r->puck_max_g = 4000;
    r->yield_ml_per_kg = 1000;
    r->strain_days = 1;
    r->mix_s_per_batch = r->mix_s_per_kg = r->bottle_s_per_batch = r->bottle_s_per_kg = 0;
    problem_take(r, 0);
    free(p->tubs);
    p->tubs_n = 18; /* 1300 + 1350 + 1350 six times: 4000 g only so */
    tiny_list(p->tubs_n, sizeof *p->tubs, &p->tubs);
    for (int i = 0; i < p->tubs_n; i++) {
        p->tubs[i] = (struct problem_tub){.g = i % 3 == 0 ? 1300 : 1350, .use_by_day = 90};
        tiny_id(p->tubs[i].id, "T", i);
    }
    for (int d = 0; d < p->sales_n; d++)
        p->sales[d] = (struct problem_sale){0, d, d >= 2 ? 4000 : 0, 1000};
    cr_assert(problem_settle(p, NULL) == ERR_OK);
    return p;
}

/* By hand: batches of days 1 to 6 are ready on days 2 to 7; 6 x 4 l x 1000 c/l = 24000 c. */
Test(best, a_planted_best_plan_is_found)
{
    struct problem *p = planted();
    struct child_result r = best(p);
    char text[CHECK_TEXT_SIZE];
    check_text(r.worth, text);
    cr_expect(strcmp(text, "24000.0000") == 0, "%s", text);
    plan_free(r.plan);
    problem_free(p);
}

/* ---- properties ---- */

/* Rounding to millilitres and the solver's tolerance: so much less is not less. */
#define ABOUT (15 * (check_units)CHECK_UNITS_PER_CENT)

static void
more_stations(struct problem *p)
{
    p->stations++;
}

static void
more_labour(struct problem *p)
{
    for (int d = 0; d < p->days; d++)
        p->calendar[d].labour_s *= 2;
}

static void
more_fridge(struct problem *p)
{
    p->fridge_ml *= 3;
}

static void
more_sugar(struct problem *p)
{
    p->ingredients[0].stock_g += 20000;
}

static void
more_van(struct problem *p)
{
    for (int i = 0; i < p->runs_n; i++)
        p->runs[i].van_g *= 2;
}

static void
longer_dates(struct problem *p)
{
    for (int i = 0; i < p->stock_n; i++)
        p->stock[i].best_before_day += 3;
}

static void
wider_vessels(struct problem *p)
{
    for (int i = 0; i < p->recipes_n; i++)
        p->recipes[i].puck_min_g /= 2;
}

Test(best, relaxing_a_rule_never_lowers_the_best)
{
    static const struct {
        const char *what;
        void (*relax)(struct problem *);
    } rows[] = {
        {"stations", more_stations}, {"labour", more_labour}, {"fridge", more_fridge},
        {"sugar", more_sugar},       {"van", more_van},       {"dates", longer_dates},
        {"vessels", wider_vessels},
    };
    const struct tiny_size size = {7, 5, 2, 1, 2, false};
    for (uint64_t seed = first_seed() + 100, end = seed + 3; seed < end; seed++) {
        struct problem *p = tiny_problem(seed, &size);
        struct child_result before = best(p);
        for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
            struct problem *q = NULL;
            cr_assert(problem_copy(p, &q, NULL) == ERR_OK);
            rows[i].relax(q);
            struct child_result after = best(q);
            cr_expect(after.worth + ABOUT >= before.worth, "seed %llu, %s: %.2f after %.2f",
                      (unsigned long long)seed, rows[i].what, check_cents(after.worth),
                      check_cents(before.worth));
            plan_free(after.plan);
            problem_free(q);
        }
        plan_free(before.plan);
        problem_free(p);
    }
}

static void
scale_money(struct problem *p, int64_t by)
{
    p->labour_cents_per_hour *= by;
    p->lost_cents_per_kg *= by;
    for (int i = 0; i < p->late_n; i++)
        p->late_cents_per_kg[i] *= by;
    for (int i = 0; i < p->change_n; i++)
        p->change_cents_per_batch[i] *= by;
    for (int i = 0; i < p->ingredients_n; i++)
        p->ingredients[i].cents_per_kg *= by;
    for (int i = 0; i < p->products_n; i++)
        p->products[i].end_cents_per_l *= by;
    for (int i = 0; i < p->orders_n; i++) {
        p->orders[i].cents_per_l *= by;
        p->orders[i].penalty_cents_per_l *= by;
    }
    for (int i = 0; i < p->sales_n; i++)
        p->sales[i].cents_per_l *= by;
    for (int i = 0; i < p->runs_n; i++) {
        p->runs[i].fixed_cents *= by;
        p->runs[i].cents_per_kg *= by;
    }
}

Test(best, ten_times_the_money_is_ten_times_the_worth)
{
    const struct tiny_size size = {7, 5, 2, 1, 2, false};
    for (uint64_t seed = first_seed() + 200, end = seed + 4; seed < end; seed++) {
        struct problem *p = tiny_problem(seed, &size);
        struct child_result a = best(p);
        check_units same = a.worth;
        plan_free(a.plan);
        scale_money(p, 10);
        struct child_result b = best(p);
        check_units off = b.worth - same * 10;
        cr_expect(off <= 10 * ABOUT && off >= -10 * ABOUT, "seed %llu: %.2f and %.2f",
                  (unsigned long long)seed, check_cents(same), check_cents(b.worth));
        plan_free(b.plan);
        problem_free(p);
    }
}

/* Other places in the lists, the same ids: what comes from a file or a ledger in any order. */
static void
shuffle(struct problem *p, uint64_t *chance)
{
    for (int i = p->tubs_n - 1; i > 0; i--) {
        int k = kit_span(chance, 0, i);
        struct problem_tub t = p->tubs[i];
        p->tubs[i] = p->tubs[k];
        p->tubs[k] = t;
    }
    struct problem_site site = p->sites[0];
    int last = p->sites_n - 1;
    p->sites[0] = p->sites[last];
    p->sites[last] = site;
    for (int i = 0; i < p->tubs_n; i++)
        p->tubs[i].site = p->tubs[i].site == 0      ? last
                          : p->tubs[i].site == last ? 0
                                                    : p->tubs[i].site;
    for (int i = 0; i < p->orders_n; i++)
        p->orders[i].site = p->orders[i].site == 0      ? last
                            : p->orders[i].site == last ? 0
                                                        : p->orders[i].site;
}

Test(best, shuffled_tubs_and_sites_give_the_same_bytes)
{
    static const char *const names[] = {"micro-1", "micro-2", "small-2"};
    uint64_t chance = first_seed();
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        struct problem *p = kit_problem(names[i]);
        struct child_result a = best(p);
        char *x = kit_text(p, a.plan);
        shuffle(p, &chance);
        cr_assert(problem_settle(p, NULL) == ERR_OK);
        struct child_result b = best(p);
        char *y = kit_text(p, b.plan);
        cr_expect(strcmp(x, y) == 0, "%s", names[i]);
        cr_expect(a.bound == b.bound);
        free(x);
        free(y);
        plan_free(a.plan);
        plan_free(b.plan);
        problem_free(p);
    }
}

/* ---- many ---- */

static int
how_many(int usual)
{
    const char *text = getenv("TEST_PROBLEMS");
    return text != NULL ? atoi(text) : usual;
}

/* TEST_PROBLEMS=10000 for a long run. */
Test(best, no_generated_problem_gets_an_infeasible_constructive_plan)
{
    uint64_t seed = first_seed();
    for (int i = 0; i < how_many(400); i++, seed++) {
        uint64_t chance = seed;
        const struct tiny_size size = {kit_span(&chance, 0, 14), kit_span(&chance, 1, 7),
                                       kit_span(&chance, 1, 3),  kit_span(&chance, 0, 3),
                                       kit_span(&chance, 1, 3),  false};
        struct problem *p = tiny_problem(seed, &size);
        struct plan *plan = NULL;
        struct plan *none = plan_new();
        cr_assert(greedy_plan(p, &plan, NULL) == ERR_OK);
        struct check_result empty = kit_check(p, none);
        struct check_result r = kit_check(p, plan);
        /* a problem that is broken before anything is planned stays broken */
        cr_expect(r.broken_n == 0 || empty.broken_n > 0, "seed %llu: rule %s: %s",
                  (unsigned long long)seed, r.broken[0].rule, r.broken[0].text);
        cr_expect(empty.broken_n > 0 || r.worth >= empty.worth, "seed %llu: %.2f under nothing",
                  (unsigned long long)seed, check_cents(r.worth));
        plan_free(plan);
        plan_free(none);
        problem_free(p);
    }
}

Test(best, no_generated_problem_breaks_the_optimiser)
{
    uint64_t seed = first_seed() + 5000;
    for (int i = 0; i < how_many(400) / 10; i++, seed++) {
        uint64_t chance = seed;
        const struct tiny_size size = {kit_span(&chance, 0, 9), kit_span(&chance, 1, 6),
                                       kit_span(&chance, 1, 3), kit_span(&chance, 0, 3),
                                       kit_span(&chance, 1, 3), false};
        struct problem *p = tiny_problem(seed, &size);
        struct child_options o = {.program = SOLVER, .effort = 1};
        struct child_result r = {.plan = NULL};
        struct err_text why = {.s = ""};
        cr_assert(child_best_plan(p, &o, &r, &why) == ERR_OK, "seed %llu: %s",
                  (unsigned long long)seed, why.s);
        cr_expect(r.how == CHILD_DONE, "seed %llu: %s", (unsigned long long)seed, r.remark);
        plan_free(r.plan);
        problem_free(p);
    }
}
