/* test_greedy.c - the constructive plan: feasible, no worse than by hand, always the same. */
#include "kit.h"

static const char *const names[] = {"micro-1", "micro-2", "small-1", "small-2", "medium-2"};
enum {
    NAMES = sizeof names / sizeof names[0]
};

static struct plan *
greedy(const struct problem *p)
{
    struct plan *plan = NULL;
    struct err_text why = {.s = ""};
    cr_assert(greedy_plan(p, &plan, &why) == ERR_OK, "%s", why.s);
    return plan;
}

Test(greedy, keeps_every_rule_and_is_no_worse_than_planning_by_hand)
{
    for (int i = 0; i < NAMES; i++) {
        struct problem *p = kit_problem(names[i]);
        struct plan *plan = greedy(p);
        struct check_result r = kit_check(p, plan);
        cr_expect(r.broken_n == 0, "%s: rule %s: %s", names[i], r.broken[0].rule, r.broken[0].text);
        check_units by_hand = (check_units)kit_baseline(names[i], 2) * CHECK_UNITS_PER_CENT;
        check_units bound = (check_units)kit_baseline(names[i], 4) * CHECK_UNITS_PER_CENT;
        cr_expect(r.worth >= by_hand, "%s: %.2f", names[i], check_cents(r.worth));
        cr_expect(r.worth <= bound, "%s: %.2f", names[i], check_cents(r.worth));
        plan_free(plan);
        problem_free(p);
    }
}

Test(greedy, gives_the_same_bytes_again)
{
    struct problem *p = kit_problem("small-2");
    struct plan *a = greedy(p);
    struct plan *b = greedy(p);
    char *x = kit_text(p, a);
    char *y = kit_text(p, b);
    cr_expect(strcmp(x, y) == 0);
    free(x);
    free(y);
    plan_free(a);
    plan_free(b);
    problem_free(p);
}

Test(greedy, a_problem_with_nothing_in_it_has_an_empty_plan)
{
    struct problem *p = problem_new();
    p->days = 3;
    p->calendar_n = 3;
    p->previous_until_day = -1;
    struct err_text why = {.s = ""};
    cr_assert(problem_settle(p, &why) == ERR_OK, "%s", why.s);
    struct plan *plan = greedy(p);
    struct check_result r = kit_check(p, plan);
    cr_expect(r.broken_n == 0);
    cr_expect(r.worth == 0);
    cr_expect(plan->batches_n == 0);
    plan_free(plan);
    problem_free(p);
}
