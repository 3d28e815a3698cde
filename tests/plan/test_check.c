/* test_check.c - each rule broken on its own, and worths by hand. */
#include "kit.h"

/* Worths of the two stored plans, as an independent checker of exact fractions gave them. */
Test(check, the_stored_plans_are_feasible_and_worth_what_was_found_elsewhere)
{
    static const struct {
        const char *name, *worth;
    } rows[] = {{"micro-1", "6909.4309"}, {"small-2", "81111.0107"}};
    for (size_t i = 0; i < 2; i++) {
        struct problem *p = kit_problem(rows[i].name);
        struct plan *plan = kit_plan(p, rows[i].name);
        struct check_result r = kit_check(p, plan);
        char text[CHECK_TEXT_SIZE];
        check_text(r.worth, text);
        cr_expect(r.broken_n == 0, "%s: %s", rows[i].name, r.broken[0].text);
        cr_expect(strcmp(text, rows[i].worth) == 0, "%s: %s", rows[i].name, text);
        plan_free(plan);
        problem_free(p);
    }
}

Test(check, doing_nothing_is_worth_the_baseline)
{
    static const char *const names[] = {"micro-1", "micro-2", "small-1", "small-2", "medium-2"};
    for (size_t i = 0; i < 5; i++) {
        struct problem *p = kit_problem(names[i]);
        struct plan *plan = plan_new();
        struct check_result r = kit_check(p, plan);
        cr_expect(r.broken_n == 0);
        double off = check_cents(r.worth) - (double)kit_baseline(names[i], 1);
        cr_expect(off < 1 && off > -1, "%s: %.2f", names[i], check_cents(r.worth));
        plan_free(plan);
        problem_free(p);
    }
}

/* Plans about micro-1, each breaking one rule (or none); from the rules' own wording. */
static const struct {
    const char *name, *rule, *plan;
} rows[] = {
    {"nothing", "", "{}"},
    {"an unknown tub collected", "1a", "{\"collect\":[{\"run\":\"R01-D01\",\"tubs\":[\"T9\"]}]}"},
    {"a kitchen tub collected", "1b",
     "{\"collect\":[{\"run\":\"R01-D01\",\"tubs\":[\"T00001\"]}]}"},
    {"a tub collected twice", "1b",
     "{\"collect\":[{\"run\":\"R01-D01\",\"tubs\":[\"T00006\",\"T00006\"]}]}"},
    {"a tub in two batches", "1c",
     "{\"batches\":[{\"recipe\":\"liqueur-dark\",\"day\":1,\"tubs\":[\"T00001\"]},"
     "{\"recipe\":\"liqueur-dark\",\"day\":3,\"tubs\":[\"T00001\"]}]}"},
    {"no such run", "2a", "{\"collect\":[{\"run\":\"R09\",\"tubs\":[]}]}"},
    {"a run listed twice", "2a",
     "{\"collect\":[{\"run\":\"R01-D01\",\"tubs\":[\"T00006\"]},"
     "{\"run\":\"R01-D01\",\"tubs\":[\"T00007\"]}]}"},
    {"a run without tubs is no run", "", "{\"collect\":[{\"run\":\"R01-D01\",\"tubs\":[]}]}"},
    {"a tub not frozen yet", "2c", "{\"collect\":[{\"run\":\"R01-D01\",\"tubs\":[\"T00008\"]}]}"},
    {"the day after it is frozen is fine", "",
     "{\"collect\":[{\"run\":\"R01-D04\",\"tubs\":[\"T00008\"]}]}"},
    {"no such recipe", "3a", "{\"batches\":[{\"recipe\":\"soup\",\"day\":1,\"tubs\":[]}]}"},
    {"a batch today", "3b",
     "{\"batches\":[{\"recipe\":\"liqueur-dark\",\"day\":0,\"tubs\":[\"T00001\"]}]}"},
    {"a batch after the plan", "3b",
     "{\"batches\":[{\"recipe\":\"liqueur-dark\",\"day\":5,\"tubs\":[\"T00001\"]}]}"},
    {"a batch in another century", "3b",
     "{\"batches\":[{\"recipe\":\"liqueur-dark\",\"day\":999999999,\"tubs\":[\"T00001\"]}]}"},
    {"a tub never brought", "3c",
     "{\"batches\":[{\"recipe\":\"liqueur-dark\",\"day\":2,\"tubs\":[\"T00006\"]}]}"},
    {"a run on the thaw day is in time", "",
     "{\"collect\":[{\"run\":\"R01-D01\",\"tubs\":[\"T00006\"]}],"
     "\"batches\":[{\"recipe\":\"liqueur-dark\",\"day\":2,\"tubs\":[\"T00006\"]}]}"},
    {"a run after the thaw day is late", "3c",
     "{\"collect\":[{\"run\":\"R01-D01\",\"tubs\":[\"T00006\"]}],"
     "\"batches\":[{\"recipe\":\"liqueur-dark\",\"day\":1,\"tubs\":[\"T00006\"]}]}"},
    {"a profile it does not take", "3e",
     "{\"batches\":[{\"recipe\":\"liqueur-dark\",\"day\":1,\"tubs\":[\"T00001\",\"T00002\"]}]}"},
    {"too little in the vessel", "4",
     "{\"batches\":[{\"recipe\":\"liqueur-dark\",\"day\":1,\"tubs\":[\"T00004\"]}]}"},
    {"too much in the vessel", "4",
     "{\"batches\":[{\"recipe\":\"liqueur-house\",\"day\":1,"
     "\"tubs\":[\"T00001\",\"T00002\",\"T00003\"]}]}"},
    {"two batches in one station", "5",
     "{\"batches\":[{\"recipe\":\"liqueur-house\",\"day\":3,\"tubs\":[\"T00001\"]},"
     "{\"recipe\":\"liqueur-house\",\"day\":4,\"tubs\":[\"T00005\"]}]}"},
    {"the station is free on the ready day", "",
     "{\"batches\":[{\"recipe\":\"liqueur-house\",\"day\":1,\"tubs\":[\"T00004\"," /* 1770 g */
     "\"T00003\"]},{\"recipe\":\"liqueur-house\",\"day\":3,\"tubs\":[\"T00001\"]}]}"},
    {"more sugar than there is", "7",
     "{\"batches\":[{\"recipe\":\"liqueur-dark\",\"day\":1,\"tubs\":[\"T00001\"]}]}"},
    {"an unknown order", "8a", "{\"orders\":[{\"order\":\"O9\",\"ml\":0}]}"},
    {"an order twice", "8a",
     "{\"orders\":[{\"order\":\"O003\",\"ml\":1},{\"order\":\"O003\",\"ml\":1}]}"},
    {"more than was ordered", "8a", "{\"orders\":[{\"order\":\"O003\",\"ml\":1501}]}"},
    {"a negative order", "8a", "{\"orders\":[{\"order\":\"O003\",\"ml\":-1}]}"},
    {"a sale of nothing known", "8b", "{\"sales\":[{\"product\":\"X\",\"day\":1,\"ml\":0}]}"},
    {"a sale after the plan", "8b", "{\"sales\":[{\"product\":\"LQ-DARK\",\"day\":5,\"ml\":0}]}"},
    {"a sale twice", "8b",
     "{\"sales\":[{\"product\":\"LQ-DARK\",\"day\":1,\"ml\":1},"
     "{\"product\":\"LQ-DARK\",\"day\":1,\"ml\":1}]}"},
    {"more than the counter sells", "8b",
     "{\"sales\":[{\"product\":\"LQ-DARK\",\"day\":1,\"ml\":1431}]}"},
    {"pouring away nothing known", "8c", "{\"discard\":[{\"product\":\"X\",\"day\":1,\"ml\":1}]}"},
    {"pouring away less than nothing", "8c",
     "{\"discard\":[{\"product\":\"LQ-DARK\",\"day\":1,\"ml\":-1}]}"},
    {"pouring away after the plan", "8c",
     "{\"discard\":[{\"product\":\"LQ-DARK\",\"day\":5,\"ml\":1}]}"},
    {"all of the stock", "", "{\"orders\":[{\"order\":\"O002\",\"ml\":3070}]}"},
    {"a drop more than the stock", "8d", "{\"orders\":[{\"order\":\"O002\",\"ml\":3071}]}"},
};

Test(check, each_rule_is_told_by_its_number)
{
    struct problem *p = kit_problem("micro-1");
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct plan *plan = NULL;
        struct err_text why = {.s = ""};
        cr_assert(plan_parse(rows[i].plan, strlen(rows[i].plan), p, &plan, &why) == ERR_OK,
                  "%s: %s", rows[i].name, why.s);
        struct check_result r = kit_check(p, plan);
        if (rows[i].rule[0] == '\0')
            cr_expect(r.broken_n == 0 || strcmp(r.broken[0].rule, "7") == 0, "%s: %s %s",
                      rows[i].name, r.broken[0].rule, r.broken[0].text);
        else {
            bool told = false;
            for (int k = 0; k < r.broken_n && k < CHECK_BROKEN_KEPT; k++)
                told = told || strcmp(r.broken[k].rule, rows[i].rule) == 0;
            cr_expect(told, "%s: %s", rows[i].name, r.broken_n > 0 ? r.broken[0].text : "nothing");
        }
        plan_free(plan);
    }
    problem_free(p);
}

static bool
breaks(const struct problem *p, const char *text, const char *rule)
{
    struct plan *plan = NULL;
    struct err_text why = {.s = ""};
    cr_assert(plan_parse(text, strlen(text), p, &plan, &why) == ERR_OK, "%s", why.s);
    struct check_result r = kit_check(p, plan);
    bool told = false;
    for (int k = 0; k < r.broken_n && k < CHECK_BROKEN_KEPT; k++)
        told = told || strcmp(r.broken[k].rule, rule) == 0;
    plan_free(plan);
    return told;
}

/* Edges of resources, each set so that the stored batch just fits, then one less. */
Test(check, the_last_unit_of_a_resource_may_be_used_and_not_one_more)
{
    const char *batch =
        "{\"batches\":[{\"recipe\":\"liqueur-dark\",\"day\":3,\"tubs\":[\"T00001\"]}]}";
    struct problem *p = kit_problem("micro-1");
    /* 2710 g: mixing 2700 s + 20 x 2.710 = 2754.2 s; spirit 2710 g of 2500 + 7500 */
    p->calendar[3].labour_s = 2755;
    cr_expect(!breaks(p, batch, "6"));
    p->calendar[3].labour_s = 2754;
    cr_expect(breaks(p, batch, "6"));
    for (int i = 0; i < p->ingredients_n; i++)
        if (strcmp(p->ingredients[i].id, "spirit") == 0) {
            p->ingredients[i].stock_g = 2710;
            p->ingredients[i].deliveries_n = 0;
            cr_expect(!breaks(p, batch, "7"));
            p->ingredients[i].stock_g = 2709;
            cr_expect(breaks(p, batch, "7"));
        }
    /* ready on day 5, after the plan: 2710 x 2.73 = 7398.3 ml beside 2880 ml of the other product
     * (good to day 8); 3070 ml of its own are past their date on day 4 */
    p->fridge_ml = 10279;
    cr_expect(!breaks(p, batch, "8e"));
    p->fridge_ml = 10278;
    cr_expect(breaks(p, batch, "8e"));
    p->sites[0].route = 0;
    p->runs[0].van_g = 2600;
    const char *load = "{\"collect\":[{\"run\":\"R01-D01\",\"tubs\":[\"T00006\"]}]}";
    cr_expect(!breaks(p, load, "2d"));
    p->runs[0].van_g = 2599;
    cr_expect(breaks(p, load, "2d"));
    problem_free(p);
}

/* Worth of pouring away the stock: no end value of 2880 ml x 1001 c/l = 2882.88 c. */
Test(check, pouring_away_takes_the_value_at_the_end)
{
    struct problem *p = kit_problem("micro-1");
    struct plan *plan = plan_new();
    int house = problem_find(p->products, p->products_n, sizeof *p->products, "LQ-HOUSE");
    struct check_result before = kit_check(p, plan);
    cr_assert(plan_add_discard(plan, house, 0, 2880, NULL) == ERR_OK);
    struct check_result after = kit_check(p, plan);
    cr_expect(after.broken_n == 0);
    cr_expect(before.worth - after.worth == (check_units)288288 * (CHECK_UNITS_PER_CENT / 100));
    plan_free(plan);
    problem_free(p);
}

Test(check, plans_that_are_no_plans_are_refused_in_words)
{
    static const struct {
        const char *plan, *says;
    } bad[] = {
        {"", "expected one JSON object"},
        {"[]", "object in braces"},
        {"{\"batch\":[]}", "\"batch\": expected"},
        {"{\"batches\":{}}", "expected a list"},
        {"{\"batches\":[7]}", "batches[0]"},
        {"{\"orders\":[{\"order\":\"O001\"}]}", "object of 2 fields"},
        {"{\"orders\":[{\"order\":\"O001\",\"ml\":1.5}]}", "whole number"},
        {"{\"orders\":[{\"order\":\"O001\",\"ml\":\"1\"}]}", "whole number"},
        {"{\"orders\":[{\"order\":\"O001\",\"ml\":1,\"x\":2}]}", "object of 2 fields"},
        {"{\"orders\":[{\"order\":7,\"ml\":1}]}", "name in quotes"},
        {"{\"orders\":[{\"order\":\"O001\",\"ml\":99999999999999}]}", "up to 1000000000000"},
        {"{\"collect\":[{\"run\":\"R01-D01\",\"tubs\":\"T00006\"}]}", "list of names"},
        {"{\"collect\":[{\"run\":\"R01-D01\",\"tubs\":[6]}]}", "name in quotes"},
        {"{\"sales\":[{\"product\":\"LQ-DARK\",\"day\":\"1\",\"ml\":1}]}", "whole number"},
    };
    struct problem *p = kit_problem("micro-1");
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct plan *plan = NULL;
        struct err_text why = {.s = ""};
        cr_expect(plan_parse(bad[i].plan, strlen(bad[i].plan), p, &plan, &why) == ERR_INPUT, "%s",
                  bad[i].plan);
        cr_expect(strstr(why.s, bad[i].says) != NULL, "%s: %s", bad[i].plan, why.s);
    }
    problem_free(p);
}

Test(check, a_plan_is_written_and_read_again_the_same)
{
    struct problem *p = kit_problem("small-2");
    struct plan *plan = kit_plan(p, "small-2");
    plan_sort(plan);
    char *text = kit_text(p, plan);
    struct plan *again = NULL;
    cr_assert(plan_parse(text, strlen(text), p, &again, NULL) == ERR_OK);
    char *more = kit_text(p, again);
    cr_expect(strcmp(text, more) == 0);
    free(text);
    free(more);
    plan_free(plan);
    plan_free(again);
    problem_free(p);
}
