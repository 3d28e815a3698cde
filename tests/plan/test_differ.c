/* What is new since a plan was made, and two plans side by side. A kitchen made by hand: Wednesday
 * 25 November is day 0; no source. */
#include "daemon/plan/carry.h"
#include "daemon/plan/differ.h"
#include "tests/plan/tiny.h"

enum {
    WEDNESDAY = 20782 /* 2026-11-25 */
};

static struct problem *
plain(void)
{
    static const struct tiny_size size = {6, 6, 2, 2, 1, true};
    struct problem *p = tiny_problem(3, &size);
    for (int d = 0; d < p->calendar_n; d++)
        p->calendar[d] = (struct problem_day){true, d > 0 ? d - 1 : PROBLEM_NEVER, 28800};
    for (int i = 0; i < p->tubs_n; i++) {
        p->tubs[i].g = 3000;
        p->tubs[i].at = i < 4 ? PROBLEM_AT_KITCHEN : PROBLEM_AT_SITE;
        p->tubs[i].frozen_day = -3;
        p->tubs[i].use_by_day = 9;
    }
    for (int r = 0; r < 2; r++) {
        problem_take(&p->recipes[r], 0);
        problem_take(&p->recipes[r], 1);
        p->recipes[r].puck_min_g = 3000;
        p->recipes[r].puck_max_g = 9000;
        p->recipes[r].need_g_per_kg[0] = 1000;
        p->recipes[r].strain_days = 1;
    }
    p->ingredients[0].stock_g = 100000;
    p->ingredients[0].deliveries_n = 0;
    p->runs[0].day = 1;
    p->runs[0].van_g = 9000;
    return p;
}

/* T00 and T01 into R00 on day 2; run V00 of day 1 brings T04, which goes into R01 on day 3. */
static struct plan *
made(void)
{
    struct plan *plan = plan_new();
    cr_assert(plan_add_batch(plan, 0, 2, (const int[]){0, 1}, 2, NULL) == ERR_OK);
    cr_assert(plan_add_batch(plan, 1, 3, (const int[]){4}, 1, NULL) == ERR_OK);
    cr_assert(plan_add_load(plan, 0, (const int[]){4}, 1, NULL) == ERR_OK);
    return plan;
}

static struct problem *
copy_of(const struct problem *p)
{
    struct problem *copy = NULL;
    cr_assert(problem_copy(p, &copy, NULL) == ERR_OK);
    return copy;
}

/* The same problem seen `shift` days later. */
static struct problem *
later(const struct problem *p, int shift)
{
    struct problem *q = copy_of(p);
    for (int i = 0; i < q->tubs_n; i++) {
        q->tubs[i].frozen_day -= shift;
        q->tubs[i].use_by_day -= shift;
    }
    for (int i = 0; i < q->runs_n; i++)
        q->runs[i].day -= shift;
    int n = 0; /* orders of the past are past */
    for (int i = 0; i < q->orders_n; i++)
        if ((q->orders[i].due_day -= shift) >= 0)
            q->orders[n++] = q->orders[i];
    q->orders_n = n;
    return q;
}

static void
lose_tub(struct problem *p, int tub)
{
    memmove(&p->tubs[tub], &p->tubs[tub + 1], (size_t)(p->tubs_n - tub - 1) * sizeof *p->tubs);
    p->tubs_n--;
}

static const struct news_item *
find(const struct news *news, enum news_kind kind)
{
    for (int i = 0; i < news->n; i++)
        if (news->items[i].kind == kind)
            return &news->items[i];
    return NULL;
}

static void
expect(const struct problem *old, const struct problem *now, int shift, enum news_kind kind,
       bool contradicts, const char *words)
{
    struct plan *plan = made();
    struct news news;
    struct err_text why = {.s = ""};
    cr_assert(news_find(old, plan, shift, now, WEDNESDAY + shift, &news, &why) == ERR_OK, "%s",
              why.s);
    const struct news_item *item = find(&news, kind);
    cr_assert(item != NULL, "%s: nothing found", words);
    cr_assert(item->contradicts == contradicts, "%s", item->words);
    cr_assert(strstr(item->words, words) != NULL, "%s, not: %s", words, item->words);
    news_done(&news);
    plan_free(plan);
}

Test(differ, nothing_new_is_no_news)
{
    struct problem *p = plain();
    struct plan *plan = made();
    for (int shift = 0; shift < 2; shift++) {
        struct problem *now = later(p, shift);
        struct differ differ;
        struct plan *same = NULL;
        cr_assert(carry_same(p, plan, shift, now, &same, NULL) == ERR_OK);
        cr_assert(differ_find(p, plan, now, same, shift, WEDNESDAY + shift, &differ, NULL) ==
                  ERR_OK);
        cr_assert(differ.news.n == 0, "%s", differ.news.n > 0 ? differ.news.items[0].words : "");
        cr_assert(differ.n == 0, "%s", differ.n > 0 ? differ.items[0].words : "");
        cr_assert(differ.fits);
        differ_done(&differ);
        plan_free(same);
        problem_free(now);
    }
    plan_free(plan);
    problem_free(p);
}

Test(differ, each_fact_that_a_plan_cannot_live_with_is_told)
{
    struct problem *p = plain(), *now = copy_of(p);
    lose_tub(now, 1);
    expect(p, now, 0, NEWS_TUB_GONE, true, "tub T01 is gone; the plan puts it into R00 of Fri 27");
    problem_free(now);
    now = copy_of(p);
    now->tubs[0].use_by_day = 0;
    expect(p, now, 0, NEWS_TUB_LATE, true, "tub T00 is past its date, Wed 25 Nov, when R00");
    problem_free(now);
    now = copy_of(p);
    now->runs_n = 0;
    expect(p, now, 0, NEWS_RUN, true, "run V00 of Thu 26 Nov does not go");
    problem_free(now);
    now = copy_of(p);
    now->ingredients[0].stock_g = 7500; /* 6 kg on day 2, 9 kg by day 3 */
    expect(p, now, 0, NEWS_INGREDIENT, true, "sugar00 is short by 1.50 kg on Sat 28 Nov");
    problem_free(now);
    now = copy_of(p);
    now->calendar[2] = (struct problem_day){false, PROBLEM_NEVER, 0};
    expect(p, now, 0, NEWS_DAY, true, "the kitchen is closed on Fri 27 Nov");
    problem_free(now);
    now = later(p, 2); /* Friday: Thursday's run is past, and T04 is at the café still */
    expect(p, now, 2, NEWS_RUN_MISSED, true, "run V00 of Thu 26 Nov did not bring tub T04");
    problem_free(now);
    now = later(p, 3); /* Saturday: Friday's batch is past, and its tubs are there */
    expect(p, now, 3, NEWS_BATCH_UNMADE, true,
           "R00 of Fri 27 Nov was not mixed as planned: 2 of its");
    problem_free(now);
    problem_free(p);
}

Test(differ, what_a_plan_can_live_with_is_told_too)
{
    struct problem *p = plain(), *now = copy_of(p);
    lose_tub(now, 5);
    expect(p, now, 0, NEWS_TUB_GONE, false, "the plan did not need it");
    problem_free(now);
    now = copy_of(p);
    lose_tub(now, 5);
    expect(now, p, 0, NEWS_TUB_NEW, false, "1 new tub of S01, 3.00 kg");
    problem_free(now);
    now = copy_of(p);
    now->orders[0].ml += 1000;
    expect(p, now, 0, NEWS_ORDER_CHANGED, false, "is for");
    now->orders_n--;
    expect(p, now, 0, NEWS_ORDER_GONE, false, "is gone");
    expect(now, p, 0, NEWS_ORDER_NEW, false, "is new");
    problem_free(now);
    now = copy_of(p);
    now->stations = 3;
    expect(p, now, 0, NEWS_STATIONS, false, "there are 3 stations, not 2");
    problem_free(now);
    problem_free(p);
}

/* The batch moves, another grows by T02, and the cause is the tub that is gone. */
Test(differ, two_plans_are_told_apart_in_words_with_the_fact_behind_it)
{
    struct problem *p = plain(), *now = copy_of(p);
    struct plan *from = made(), *to = plan_new();
    struct differ differ;
    lose_tub(now, 1); /* T02 is place 1 now, T04 is 3 */
    cr_assert(plan_add_batch(to, 0, 4, (const int[]){0}, 1, NULL) == ERR_OK);
    cr_assert(plan_add_batch(to, 1, 3, (const int[]){3, 1}, 2, NULL) == ERR_OK);
    cr_assert(plan_add_load(to, 0, (const int[]){3}, 1, NULL) == ERR_OK);
    cr_assert(differ_find(p, from, now, to, 0, WEDNESDAY, &differ, NULL) == ERR_OK);
    cr_assert_not(differ.fits);
    static const char *const words[] = {
        "R00 moves from Fri 27 Nov to Sun 29 Nov",
        "R01 of Sat 28 Nov has 6.00 kg of grounds, not 3.00 kg",
        "tub T00 goes into R00 of Sun 29 Nov, not R00 of Fri 27 Nov",
        "tub T02 goes into R01 of Sat 28 Nov",
    };
    cr_assert(differ.n == 4, "%d", differ.n);
    for (int w = 0; w < 4; w++) {
        bool found = false;
        for (int i = 0; i < differ.n; i++)
            found = found || strcmp(differ.items[i].words, words[w]) == 0;
        cr_assert(found, "%s", words[w]);
    }
    cr_assert(differ.items[0].cause == 0);
    cr_assert(differ.news.items[0].kind == NEWS_TUB_GONE);
    differ_done(&differ);
    plan_free(from);
    plan_free(to);
    problem_free(now);
    problem_free(p);
}

Test(differ, made_up_problems_and_plans_are_compared_without_harm)
{
    static const struct tiny_size size = {12, 6, 3, 2, 2, false};
    for (uint64_t seed = 1; seed <= 200; seed++) {
        uint64_t chance = seed;
        int shift = kit_span(&chance, 0, 3);
        struct problem *p = tiny_problem(seed, &size), *now = later(p, shift);
        struct plan *from = NULL, *to = NULL;
        struct differ differ;
        for (int i = kit_span(&chance, 0, 3); i > 0; i--)
            lose_tub(now, kit_span(&chance, 0, now->tubs_n - 1));
        now->runs_n = kit_span(&chance, 0, 1);
        cr_assert(greedy_plan(p, &from, NULL) == ERR_OK);
        cr_assert(greedy_plan(now, &to, NULL) == ERR_OK);
        cr_assert(differ_find(p, from, now, to, shift, WEDNESDAY, &differ, NULL) == ERR_OK);
        for (int i = 0; i < differ.n; i++)
            cr_assert(differ.items[i].words[0] != '\0' && differ.items[i].cause < differ.news.n);
        differ_done(&differ);
        plan_free(from);
        plan_free(to);
        problem_free(now);
        problem_free(p);
    }
}
