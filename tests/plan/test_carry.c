/* An older plan brought over to a problem of today. Numbers are hand-worked or made up from a
 * counter; there is no source. */
#include "daemon/plan/carry.h"
#include "daemon/plan/child.h"
#include "tests/plan/tiny.h"

static struct plan *
carry(const struct problem *old, const struct plan *plan, int shift, const struct problem *now)
{
    struct plan *out = NULL;
    struct err_text why = {.s = ""};
    cr_assert(carry_plan(old, plan, shift, now, &out, &why) == ERR_OK, "%s", why.s);
    return out;
}

static struct problem *
copy_of(const struct problem *p)
{
    struct problem *copy = NULL;
    cr_assert(problem_copy(p, &copy, NULL) == ERR_OK);
    return copy;
}

static void
lose_tub(struct problem *p, int tub)
{
    memmove(&p->tubs[tub], &p->tubs[tub + 1], (size_t)(p->tubs_n - tub - 1) * sizeof *p->tubs);
    p->tubs_n--;
}

Test(carry, a_plan_on_the_same_facts_stays_as_it_is)
{
    static const char *const names[] = {"micro-1", "small-1", "small-2"};
    for (int i = 0; i < 3; i++) {
        struct problem *p = kit_problem(names[i]);
        struct plan *plan = NULL;
        cr_assert(greedy_plan(p, &plan, NULL) == ERR_OK);
        struct plan *carried = carry(p, plan, 0, p);
        char *before = kit_text(p, plan), *after = kit_text(p, carried);
        cr_assert_str_eq(before, after, "%s", names[i]);
        free(before);
        free(after);
        plan_free(carried);
        plan_free(plan);
        problem_free(p);
    }
}

Test(carry, what_is_left_keeps_the_rules_whatever_happened)
{
    static const struct tiny_size size = {12, 6, 3, 2, 2, false};
    int carried_n = 0;
    for (uint64_t seed = 1; seed <= 400; seed++) {
        uint64_t chance = seed;
        struct problem *p = tiny_problem(seed, &size), *now = copy_of(p);
        struct plan *plan = NULL;
        cr_assert(greedy_plan(p, &plan, NULL) == ERR_OK);
        for (int i = kit_span(&chance, 0, 3); i > 0; i--)
            lose_tub(now, kit_span(&chance, 0, now->tubs_n - 1));
        if (kit_span(&chance, 0, 2) == 0)
            now->runs_n = 0;
        if (kit_span(&chance, 0, 2) == 0)
            now->stations = 1;
        for (int d = 0; d < now->days; d++)
            now->calendar[d].labour_s = now->calendar[d].labour_s * kit_span(&chance, 5, 10) / 10;
        now->ingredients[0].stock_g = now->ingredients[0].stock_g * kit_span(&chance, 4, 10) / 10;
        struct plan *out = carry(p, plan, kit_span(&chance, 0, 2), now);
        if (out != NULL) {
            struct check_result r = kit_check(now, out);
            cr_assert(r.broken_n == 0, "seed %llu: rule %s: %s", (unsigned long long)seed,
                      r.broken[0].rule, r.broken[0].text);
            carried_n += r.batches > 0;
        }
        plan_free(out);
        plan_free(plan);
        problem_free(now);
        problem_free(p);
    }
    cr_assert(carried_n > 100, "only %d plans had a batch left", carried_n);
}

/* Two tubs of 3 kg in one batch; one is gone, and a third stands in the kitchen: it takes its
 * place, for the batch needs 5 kg. */
Test(carry, a_lost_tub_is_replaced_from_what_stands_in_the_kitchen)
{
    static const struct tiny_size size = {3, 4, 1, 1, 1, true};
    struct problem *p = tiny_problem(1, &size);
    struct plan *plan = plan_new();
    for (int d = 0; d < p->calendar_n; d++)
        p->calendar[d] = (struct problem_day){true, d > 0 ? d - 1 : PROBLEM_NEVER, 28800};
    p->recipes[0].puck_min_g = 5000;
    p->recipes[0].puck_max_g = 7000;
    p->ingredients[0].stock_g = 100000;
    for (int i = 0; i < 3; i++) {
        problem_take(&p->recipes[0], p->tubs[i].profile);
        p->tubs[i].g = 3000;
        p->tubs[i].at = PROBLEM_AT_KITCHEN;
        p->tubs[i].frozen_day = -3;
        p->tubs[i].use_by_day = 9;
    }
    cr_assert(plan_add_batch(plan, 0, 1, (const int[]){0, 1}, 2, NULL) == ERR_OK);
    struct problem *now = copy_of(p);
    lose_tub(now, 1);
    struct plan *out = carry(p, plan, 0, now);
    cr_assert(out != NULL && out->batches_n == 1 && out->batches[0].tubs_n == 2);
    cr_assert_str_eq(now->tubs[out->batches[0].tubs[0]].id, "T00");
    cr_assert_str_eq(now->tubs[out->batches[0].tubs[1]].id, "T02");
    lose_tub(now, 1);
    plan_free(out);
    out = carry(p, plan, 0, now); /* 3 kg alone make no batch */
    cr_assert(out == NULL || out->batches_n == 0);
    plan_free(out);
    plan_free(plan);
    problem_free(now);
    problem_free(p);
}

/* What the plan does is what was published. */
static void
publish(struct problem *p, const struct plan *plan)
{
    free(p->previous);
    p->previous_n = 0;
    tiny_list(plan->batches_n, sizeof *p->previous, &p->previous);
    for (int i = 0; i < plan->batches_n; i++) { /* batches come in order of recipe and day */
        const struct plan_batch *b = &plan->batches[i];
        struct problem_previous *last = &p->previous[i > 0 ? p->previous_n - 1 : 0];
        if (i > 0 && last->recipe == b->recipe && last->day == b->day)
            last->batches++;
        else
            p->previous[p->previous_n++] = (struct problem_previous){b->recipe, b->day, 1};
    }
}

/* The optimiser starts from the plan that stands and gives it up only for a better one. */
Test(carry, a_plan_made_again_from_the_one_that_stands_is_the_same_to_the_byte)
{
    static const struct tiny_size size = {10, 6, 2, 1, 2, false};
    for (uint64_t seed = 1; seed <= 8; seed++) {
        struct problem *p = tiny_problem(seed, &size);
        struct child_options options = {.program = TEST_BIN "/knockbox-solve", .effort = 1};
        struct child_result first, again;
        cr_assert(child_best_plan(p, &options, &first, NULL) == ERR_OK);
        publish(p, first.plan);
        struct plan *carried = carry(p, first.plan, 0, p);
        options.start = carried;
        cr_assert(child_best_plan(p, &options, &again, NULL) == ERR_OK);
        char *a = kit_text(p, first.plan), *b = kit_text(p, again.plan);
        cr_assert_str_eq(a, b, "seed %llu", (unsigned long long)seed);
        free(a);
        free(b);
        plan_free(first.plan);
        plan_free(again.plan);
        plan_free(carried);
        problem_free(p);
    }
}
