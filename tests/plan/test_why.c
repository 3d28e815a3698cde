/* Why not that tub, no larger batch, an order short: each reason in its words. A kitchen made by
 * hand: Wednesday 25 November is day 0, all days are worked, tubs go out the evening before, one
 * station, one run on day 1, syrup strains a day. There is no source. */
#include "daemon/plan/change.h"
#include "daemon/plan/why.h"
#include "tests/plan/tiny.h"

enum {
    WEDNESDAY = 20782 /* 2026-11-25 */
};

static struct problem *
plain(void)
{
    static const struct tiny_size size = {4, 5, 1, 1, 1, true};
    struct problem *p = tiny_problem(3, &size);
    for (int d = 0; d < p->calendar_n; d++)
        p->calendar[d] = (struct problem_day){true, d > 0 ? d - 1 : PROBLEM_NEVER, 28800};
    for (int i = 0; i < p->tubs_n; i++) {
        p->tubs[i].profile = 0;
        p->tubs[i].g = 3000;
        p->tubs[i].at = PROBLEM_AT_KITCHEN;
        p->tubs[i].frozen_day = -3;
        p->tubs[i].use_by_day = 9;
    }
    struct problem_recipe *r = &p->recipes[0];
    memset(r->takes, 0, sizeof r->takes);
    problem_take(r, 0);
    r->puck_min_g = 3000;
    r->puck_max_g = 6000;
    r->strain_days = 1;
    r->mix_s_per_batch = r->bottle_s_per_batch = 1800;
    r->mix_s_per_kg = r->bottle_s_per_kg = 0;
    r->yield_ml_per_kg = 1000;
    r->need_g_per_kg[0] = 1000;
    p->ingredients[0].stock_g = 100000;
    p->runs[0].day = 1;
    p->runs[0].van_g = 9000;
    p->stock_n = p->sales_n = 0;
    p->previous_n = 0;
    p->previous_until_day = -1;
    return p;
}

/* T00 and T01 in a batch on day 1. */
static struct plan *
one_batch(void)
{
    struct plan *plan = plan_new();
    cr_assert(plan_add_batch(plan, 0, 1, (const int[]){0, 1}, 2, NULL) == ERR_OK);
    return plan;
}

static bool
says(const struct why_answer *a, const char *words)
{
    for (int i = 0; i < a->said_n; i++)
        if (strstr(a->said[i], words) != NULL)
            return true;
    return false;
}

static bool
asks(const struct why_answer *a, const char *kind)
{
    for (int i = 0; i < a->asks_n; i++)
        if (strcmp(a->asks[i].kind, kind) == 0)
            return true;
    return false;
}

static void
expect_tub(const struct problem *p, const struct plan *plan, int tub, bool settled,
           const char *words)
{
    struct why_answer a;
    struct err_text why = {.s = ""};
    cr_assert(kit_check(p, plan).broken_n == 0);
    cr_assert(why_tub(p, plan, WEDNESDAY, tub, &a, &why) == ERR_OK, "%s", why.s);
    cr_assert(a.settled == settled, "%s", words);
    cr_assert(says(&a, words), "%s, not: %s", words, a.said[0]);
}

Test(why, a_tub_that_is_used_is_told_where)
{
    struct problem *p = plain();
    struct plan *plan = one_batch();
    expect_tub(p, plan, 0, true, "3.00 kg into R00 of Thu 26 Nov; it is in the kitchen");
    plan_free(plan);
    problem_free(p);
}

Test(why, what_no_resource_can_mend_is_told_outright)
{
    struct problem *p = plain();
    struct plan *plan = one_batch();
    p->tubs[3].profile = 1;
    expect_tub(p, plan, 3, true, "No recipe takes grounds of P01");
    p->tubs[3].profile = 0;
    p->tubs[3].g = 6001;
    expect_tub(p, plan, 3, true, "heavier than any batch");
    p->tubs[3].g = 3000;
    p->tubs[3].use_by_day = -1;
    expect_tub(p, plan, 3, true, "no evening between Wed 25 Nov");
    p->tubs[3].at = PROBLEM_AT_SITE;
    p->tubs[3].use_by_day = 0;
    expect_tub(p, plan, 3, true, "The first run past S01 is on Thu 26 Nov, after its date");
    p->tubs[3].use_by_day = 9;
    p->tubs[3].at = PROBLEM_AT_FORECAST;
    p->tubs[3].frozen_day = 1;
    expect_tub(p, plan, 3, true, "too late for the last run past S01, on Thu 26 Nov");
    p->runs_n = 0;
    expect_tub(p, plan, 3, true, "No van run passes S01 in these 5 days");
    plan_free(plan);
    problem_free(p);
}

/* The vessel is full at 6 kg: in the place of another tub it is worth as much. */
Test(why, a_tub_that_could_be_used_is_tried_in_every_vessel)
{
    struct problem *p = plain();
    struct plan *plan = one_batch();
    expect_tub(p, plan, 2, false, "in the place of T00, with all else as it is");
    expect_tub(p, plan, 2, false, "It keeps until Fri 4 Dec");
    plan_free(plan);
    problem_free(p);
}

Test(why, the_rules_that_bind_are_asked_for)
{
    struct problem *p = plain();
    struct plan *plan = one_batch();
    struct why_answer a;
    p->ingredients[0].stock_g = 6000; /* all of it is in the batch */
    p->ingredients[0].deliveries_n = 0;
    p->calendar[3].labour_s = 900; /* less than mixing takes */
    for (int d = 1; d < 5; d++)
        cr_assert(d == 1 || plan->batches[0].day != d);
    cr_assert(why_tub(p, plan, WEDNESDAY, 2, &a, NULL) == ERR_OK);
    cr_assert(asks(&a, "station") && asks(&a, "ingredient") && asks(&a, "labour"));
    for (int i = 0; i < a.asks_n; i++) {
        struct change one = {change_find(a.asks[i].kind), a.asks[i].value};
        struct problem *q = NULL;
        char said[1][CHANGE_SAID];
        cr_assert(one.kind != NULL, "%s", a.asks[i].kind);
        cr_assert(change_problem(p, WEDNESDAY, &one, 1, &q, said, NULL) == ERR_OK, "%s",
                  a.asks[i].value);
        problem_free(q);
    }
    plan_free(plan);
    problem_free(p);
}

Test(why, a_batch_is_told_its_room_and_what_keeps_another_from_starting)
{
    struct problem *p = plain();
    struct plan *plan = one_batch();
    struct why_answer a;
    cr_assert(why_batch(p, plan, WEDNESDAY, 0, 1, &a, NULL) == ERR_OK);
    cr_assert(says(&a, "R00 of Thu 26 Nov has 6.00 kg in 2 tubs; it may have 3.00 to 6.00 kg"));
    cr_assert(says(&a, "No spare tub fits"));
    cr_assert(says(&a, "finds no station") && asks(&a, "station"));
    cr_assert(why_batch(p, plan, WEDNESDAY, 0, 0, &a, NULL) == ERR_OK);
    cr_assert(a.settled && says(&a, "No batch can start on Wed 25 Nov"));
    p->calendar[4] = (struct problem_day){false, PROBLEM_NEVER, 0};
    cr_assert(why_batch(p, plan, WEDNESDAY, 0, 4, &a, NULL) == ERR_OK);
    cr_assert(a.settled && says(&a, "Nobody works in the kitchen on Sun 29 Nov"));
    plan_free(plan);
    problem_free(p);
}

Test(why, an_order_is_short_because_of_time_or_of_what_binds)
{
    struct problem *p = plain();
    struct plan *plan = one_batch();
    struct why_answer a;
    p->orders[0].ml = 4000;
    p->orders[0].due_day = 1; /* the first batch is ready on day 2 */
    cr_assert(why_order(p, plan, WEDNESDAY, 0, &a, NULL) == ERR_OK);
    cr_assert(a.settled && says(&a, "can be ready before Fri 27 Nov"));
    p->orders[0].due_day = 3;
    cr_assert(why_order(p, plan, WEDNESDAY, 0, &a, NULL) == ERR_OK);
    cr_assert(!a.settled && says(&a, "0.0 l of 4.0 l of Q00 due Sat 28 Nov"));
    cr_assert(plan_add_order(plan, 0, 4000, NULL) == ERR_OK);
    cr_assert(why_order(p, plan, WEDNESDAY, 0, &a, NULL) == ERR_OK);
    cr_assert(a.settled && says(&a, "it is not short"));
    plan_free(plan);
    problem_free(p);
}

/* Whatever is asked about whatever plan, there is an answer in words. */
Test(why, every_tub_batch_and_order_of_made_up_problems_has_an_answer)
{
    static const struct tiny_size size = {10, 5, 2, 1, 2, false};
    for (uint64_t seed = 1; seed <= 60; seed++) {
        struct problem *p = tiny_problem(seed, &size);
        struct plan *plan = NULL;
        struct why_answer a;
        cr_assert(greedy_plan(p, &plan, NULL) == ERR_OK);
        for (int i = 0; i < p->tubs_n; i++)
            cr_assert(why_tub(p, plan, WEDNESDAY, i, &a, NULL) == ERR_OK && a.said_n > 0);
        for (int i = 0; i < p->orders_n; i++)
            cr_assert(why_order(p, plan, WEDNESDAY, i, &a, NULL) == ERR_OK && a.said_n > 0);
        for (int i = 0; i < p->recipes_n * p->days; i++)
            cr_assert(why_batch(p, plan, WEDNESDAY, i / p->days, i % p->days, &a, NULL) == ERR_OK &&
                      a.said_n > 0);
        plan_free(plan);
        problem_free(p);
    }
}
