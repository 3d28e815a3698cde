/* What may be tried: each row of the table, what it does to a problem, and what it refuses. All
 * numbers are hand-worked; there is no source. */
#include "daemon/plan/change.h"
#include "tests/plan/tiny.h"

enum {
    WEDNESDAY = 20782 /* 2026-11-25 */
};

/* Two stations, four days that are all worked, one run W... with room for 5 kg, 10 kg of sugar. */
static struct problem *
plain(void)
{
    static const struct tiny_size size = {4, 4, 1, 2, 1, true};
    struct problem *p = tiny_problem(3, &size);
    for (int d = 0; d < p->calendar_n; d++)
        p->calendar[d] = (struct problem_day){true, d > 0 ? d - 1 : PROBLEM_NEVER, 7200};
    p->fridge_ml = 50000;
    p->ingredients[0].stock_g = 10000;
    p->runs[0].van_g = 5000;
    return p;
}

static enum err
change(const struct problem *p, const char *name, const char *value, struct problem **out,
       char said[CHANGE_SAID], struct err_text *why)
{
    struct change one = {change_find(name), value};
    cr_assert(one.kind != NULL, "%s", name);
    return change_problem(p, WEDNESDAY, &one, 1, out, (char(*)[CHANGE_SAID])said, why);
}

static struct problem *
changed(const struct problem *p, const char *name, const char *value, const char *said)
{
    struct problem *out = NULL;
    struct err_text why = {.s = ""};
    char words[CHANGE_SAID] = "";
    cr_assert(change(p, name, value, &out, words, &why) == ERR_OK, "%s", why.s);
    cr_assert_str_eq(words, said);
    return out;
}

Test(change, each_resource_grows_and_shrinks_by_what_is_said)
{
    struct problem *p = plain(), *q;
    q = changed(p, "station", "+1", "1 straining station more, 3 in all");
    cr_assert(q->stations == 3 && p->stations == 2);
    problem_free(q);
    q = changed(p, "station", "-2", "2 straining stations less, 0 in all");
    cr_assert(q->stations == 0);
    problem_free(q);
    q = changed(p, "labour", "+1.5", "1.5 h of work more on each working day");
    cr_assert(q->calendar[3].labour_s == 12600);
    problem_free(q);
    q = changed(p, "labour", "-9", "9 h of work less on each working day");
    cr_assert(q->calendar[3].labour_s == 0);
    problem_free(q);
    q = changed(p, "fridge", "+0.5", "room for 0.5 l more in the cold store");
    cr_assert(q->fridge_ml == 50500);
    problem_free(q);
    q = changed(p, "sugar", "+2", "2 kg more of sugar00 in stock");
    cr_assert(q->ingredients[0].stock_g == 12000);
    problem_free(q);
    q = changed(p, "ingredient", "sugar00-2.5", "2.5 kg less of sugar00 in stock");
    cr_assert(q->ingredients[0].stock_g == 7500);
    problem_free(q);
    q = changed(p, "van", "V00+3", "room for 3 kg more on run V00");
    cr_assert(q->runs[0].van_g == 8000);
    problem_free(q);
    problem_free(p);
}

Test(change, what_is_taken_away_is_gone_and_the_rest_stays)
{
    struct problem *p = plain(), *q;
    q = changed(p, "without-run", "V00", "run V00 does not go");
    cr_assert(q->runs_n == 0 && p->runs_n == 1);
    problem_free(q);
    p->tubs[1].g = 1250;
    q = changed(p, "tub-lost", "T01", "tub T01 is lost, 1.25 kg");
    cr_assert(q->tubs_n == 3);
    cr_assert(problem_find(q->tubs, q->tubs_n, sizeof *q->tubs, "T01") == -1);
    cr_assert(problem_find(q->tubs, q->tubs_n, sizeof *q->tubs, "T02") == 1);
    problem_free(q);
    problem_free(p);
}

/* Friday is day 2: Saturday's batches thaw on Thursday then, and what is ready on Friday is
 * bottled on Saturday. */
Test(change, a_closed_day_moves_thawing_before_it_and_bottling_after_it)
{
    struct problem *p = plain();
    p->straining_n = 1;
    free(p->straining);
    tiny_list(1, sizeof *p->straining, &p->straining);
    p->straining[0] = (struct problem_straining){0, 2, 3000};
    struct problem *q =
        changed(p, "close-day", "2026-11-27", "the kitchen is closed on 2026-11-27");
    cr_assert(!q->calendar[2].working && q->calendar[2].labour_s == 0);
    cr_assert(q->calendar[2].thaw_day == PROBLEM_NEVER);
    cr_assert(q->calendar[3].thaw_day == 1);
    cr_assert(q->straining[0].ready_day == 3);
    problem_free(q);
    problem_free(p);
}

Test(change, an_order_more_pays_what_other_orders_of_the_product_pay)
{
    struct problem *p = plain();
    char said[CHANGE_SAID];
    struct problem *q = NULL;
    cr_assert(change(p, "order", "Q00:2.5:2026-11-28", &q, said, NULL) == ERR_OK);
    int at = problem_find(q->orders, q->orders_n, sizeof *q->orders, "what-if-4");
    cr_assert(q->orders_n == 4 && at >= 0);
    cr_assert(q->orders[at].ml == 2500 && q->orders[at].due_day == 3);
    cr_assert(q->orders[at].cents_per_l == p->orders[0].cents_per_l);
    cr_assert(q->orders[at].penalty_cents_per_l == p->orders[0].penalty_cents_per_l);
    problem_free(q);
    problem_free(p);
}

Test(change, what_cannot_be_is_refused_in_words)
{
    static const struct {
        const char *name, *value, *word;
    } rows[] = {
        {"station", "-3", "there are 2"},
        {"station", "0.5", "whole number"},
        {"station", "many", "whole number"},
        {"labour", "+", "hours"},
        {"labour", "1e9", "hours"},
        {"fridge", "9999999", "litres"},
        {"ingredient", "salt+1", "salt"},
        {"ingredient", "sugar00", "sign"},
        {"van", "V09+1", "V09"},
        {"van", "V00+x", "kilograms"},
        {"without-run", "V09", "V00"},
        {"tub-lost", "T99", "T99"},
        {"close-day", "2026-11-24", "a day of"},
        {"close-day", "tomorrow", "a day of"},
        {"order", "Q00:1", "PRODUCT"},
        {"order", "Q09:1:2026-11-26", "Q09"},
        {"order", "Q00:-1:2026-11-26", "PRODUCT"},
    };
    struct problem *p = plain();
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct problem *q = NULL;
        struct err_text why = {.s = ""};
        char said[CHANGE_SAID];
        cr_assert(change(p, rows[i].name, rows[i].value, &q, said, &why) == ERR_INPUT, "%s %s",
                  rows[i].name, rows[i].value);
        cr_assert(strstr(why.s, rows[i].word) != NULL, "%s %s: %s", rows[i].name, rows[i].value,
                  why.s);
    }
    problem_free(p);
}
