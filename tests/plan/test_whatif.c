/* Two problems that differ in one thing: the difference has the right sign, is the difference of
 * exact worths, and is the same again. Problems are made up from a counter; there is no source. */
#include "client/plan/whatif.h"
#include "daemon/plan/change.h"
#include "tests/plan/tiny.h"

static const struct whatif_how how = {TEST_BIN "/knockbox-solve", 40};

static check_units
difference(const struct problem *p, const char *name, const char *value, bool *out_proven)
{
    struct change one = {change_find(name), value};
    struct whatif_side now = {.plan = NULL}, then = {.plan = NULL};
    struct problem *q = NULL;
    char said[1][CHANGE_SAID];
    struct err_text why = {.s = ""};
    cr_assert(change_problem(p, 20782, &one, 1, &q, said, &why) == ERR_OK, "%s", why.s);
    cr_assert(whatif_solve(p, NULL, &how, &now, &why) == ERR_OK, "%s", why.s);
    cr_assert(whatif_compare(&now, q, &how, &then, &why) == ERR_OK, "%s", why.s);
    cr_assert(kit_check(p, now.plan).worth == now.check.worth);
    cr_assert(kit_check(q, then.plan).worth == then.check.worth);
    check_units more = then.check.worth - now.check.worth;
    *out_proven = whatif_proven(&now) && whatif_proven(&then);
    whatif_done(&now);
    whatif_done(&then);
    problem_free(q);
    return more;
}

Test(whatif, more_of_anything_is_never_worth_less_and_less_never_more)
{
    static const struct tiny_size size = {8, 5, 2, 1, 2, false};
    static const char *const more[][2] = {
        {"station", "+1"}, {"labour", "+1"}, {"fridge", "+2"}, {"sugar", "+3"}, {"van", "V00+2"}};
    static const char *const less[][2] = {
        {"labour", "-1"}, {"sugar", "-3"}, {"without-run", "V00"}};
    int moved = 0;
    for (uint64_t seed = 1; seed <= 3; seed++) {
        struct problem *p = tiny_problem(seed, &size);
        bool proven;
        for (size_t i = 0; i < sizeof more / sizeof more[0]; i++) {
            check_units units = difference(p, more[i][0], more[i][1], &proven);
            cr_assert(units >= 0, "seed %d: %s", (int)seed, more[i][0]);
            moved += units > 0;
        }
        for (size_t i = 0; i < sizeof less / sizeof less[0]; i++) {
            check_units units = difference(p, less[i][0], less[i][1], &proven);
            cr_assert(units <= 0, "seed %d: %s", (int)seed, less[i][0]);
            moved += units < 0;
        }
        problem_free(p);
    }
    cr_assert(moved > 3, "only %d of the changes made a difference", moved);
}

Test(whatif, the_same_question_has_the_same_answer)
{
    struct problem *p = kit_problem("small-1");
    bool proven;
    check_units first = difference(p, "station", "+1", &proven);
    cr_assert(difference(p, "station", "+1", &proven) == first);
    problem_free(p);
}

Test(whatif, money_is_rounded_to_the_cent_away_from_zero)
{
    static const struct {
        long long parts; /* hundredths of a cent */
        const char *text;
    } rows[] = {{0, "0.00"}, {49, "0.00"}, {50, "0.01"}, {-50, "-0.01"}, {12345678, "1234.57"}};
    char text[48];
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        cr_assert_str_eq(
            whatif_money((check_units)rows[i].parts * (CHECK_UNITS_PER_CENT / 100), text),
            rows[i].text);
}
