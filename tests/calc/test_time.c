/* Date marks, elapsed time, warm time, TCS. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>

#include "daemon/calc/datemark.h"
#include "daemon/calc/elapsed.h"
#include "daemon/calc/tcs.h"
#include "daemon/calc/warm.h"
#include "tests/calc/csv.h"
#include "tests/calc/near.h"

static int
day(const char *text)
{
    int d = 0;
    if (text == NULL)
        return CALC_NO_DAY;
    cr_assert(calc_day_read(text, &d), "%s", text);
    return d;
}

Test(time, days_are_real_days_of_the_calendar)
{
    cr_assert(eq(int, day("1970-01-01"), 0));
    cr_assert(eq(int, day("2000-03-01"), 11017));
    cr_assert(eq(int, day("2024-02-29") + 1, day("2024-03-01")));
    cr_assert(eq(int, day("2025-02-28") + 1, day("2025-03-01")));
    cr_assert(eq(int, day("0000-02-29") + 1, day("0000-03-01")));
    static const char *const bad[] = {"2025-02-29", "1900-02-29", "2025-13-01", "2025-00-10",
                                      "2025-04-31", "2025-4-01",  "20250401",   "2025-04-01 ",
                                      "2025-04-00", "2025/04/01", "",           "2025-04-01T00:00"};
    int d = 0;
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
        cr_assert(not(calc_day_read(bad[i], &d)), "%s", bad[i]);
}

Test(time, a_day_printed_and_read_is_the_same_day)
{
    char text[11];
    for (int d = day("0000-01-01"); d <= day("9999-12-31"); d += 97) {
        cr_assert(calc_day_print(d, text));
        cr_assert(eq(int, day(text), d));
    }
    cr_assert(calc_day_print(day("9999-12-31"), text));
    cr_assert(eq(str, text, "9999-12-31"));
    cr_assert(not(calc_day_print(day("9999-12-31") + 1, text)));
}

static const struct {
    const char *what;
    const char *made, *oldest, *frozen, *thawed;
    int days;
    const char *discard_by; /* NULL: none yet */
    int days_left;
    bool used_up;
} marks[] = {
    /* worked-examples.csv WE-11, WE-12, WE-13 (the year is ours) */
    {"North Carolina sheet", "2025-10-01", NULL, "2025-10-03", "2025-10-10", 7, "2025-10-14", 5, 0},
    {"Southern Nevada, made", "2025-04-01", NULL, NULL, NULL, 7, "2025-04-07", -1, 0},
    {"Southern Nevada, oldest", "2025-06-03", "2025-06-01", NULL, NULL, 7, "2025-06-07", -1, 0},
    /* calc.md rules 25 and 26, by hand */
    {"frozen on the day", "2025-10-01", NULL, "2025-10-01", "2025-10-10", 7, "2025-10-15", 6, 0},
    {"frozen the next day", "2025-10-01", NULL, "2025-10-02", "2025-10-10", 7, "2025-10-15", 6, 0},
    {"still frozen", "2025-10-01", NULL, "2025-10-03", NULL, 7, NULL, 5, 0},
    {"all used", "2025-10-01", NULL, "2025-10-08", "2025-10-10", 7, "2025-10-07", 0, 1},
    {"all used, still frozen", "2025-10-01", NULL, "2025-10-09", NULL, 7, "2025-10-07", 0, 1},
    {"one left", "2025-10-01", NULL, "2025-10-07", "2025-12-31", 7, "2025-12-31", 1, 0},
    {"old ingredient", "2025-10-03", "2025-09-30", "2025-10-04", "2025-11-01", 7, "2025-11-03", 3,
     0},
    {"one day only", "2025-10-01", NULL, NULL, NULL, 1, "2025-10-01", -1, 0},
    {"across a leap day", "2024-02-26", NULL, NULL, NULL, 7, "2024-03-03", -1, 0},
};

Test(time, rules_25_and_26_date_marks)
{
    for (size_t i = 0; i < sizeof marks / sizeof marks[0]; i++) {
        struct calc_datemark_in in = {day(marks[i].made), day(marks[i].oldest),
                                      day(marks[i].frozen), day(marks[i].thawed), marks[i].days};
        struct calc_datemark out;
        cr_assert(calc_datemark(&in, &out, NULL) == ERR_OK, "%s", marks[i].what);
        cr_assert(eq(int, out.discard_by, day(marks[i].discard_by)), "%s", marks[i].what);
        cr_assert(eq(int, out.days_left, marks[i].days_left), "%s", marks[i].what);
        cr_assert(eq(int, out.used_up, marks[i].used_up), "%s", marks[i].what);
    }
}

Test(time, rule_26_impossible_orders_are_refused_by_field)
{
    static const struct {
        const char *made, *oldest, *frozen, *thawed;
        int days;
        const char *field;
    } rows[] = {
        {"2025-10-02", NULL, NULL, "2025-10-03", 7, "frozen"},
        {"2025-10-02", NULL, "2025-10-01", "2025-10-03", 7, "frozen"},
        {"2025-10-02", NULL, "2025-10-05", "2025-10-04", 7, "thawed"},
        {"2025-10-02", "2025-10-03", NULL, NULL, 7, "oldest_ingredient"},
        {"2025-10-02", NULL, NULL, NULL, 0, "days"},
        {"2025-10-02", NULL, NULL, NULL, 366, "days"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct calc_datemark_in in = {day(rows[i].made), day(rows[i].oldest), day(rows[i].frozen),
                                      day(rows[i].thawed), rows[i].days};
        struct calc_datemark out;
        struct err_text why = {0};
        cr_assert(calc_datemark(&in, &out, &why) == ERR_INPUT);
        cr_assert(eq(str, why.field, (char *)rows[i].field));
    }
}

/* Each later day of freezing costs a day, never two. */
Test(time, a_day_kept_cold_costs_a_day)
{
    for (int used = 1; used < 7; used++) {
        struct calc_datemark_in in = {100, CALC_NO_DAY, 100 + used, 200, 7};
        struct calc_datemark out;
        cr_assert(calc_datemark(&in, &out, NULL) == ERR_OK);
        cr_assert(eq(int, out.discard_by, 200 + 6 - used));
    }
}

static double
minutes(const char *from, const char *to)
{
    struct calc_instant a, b;
    cr_assert(calc_instant_read(from, &a), "%s", from);
    cr_assert(calc_instant_read(to, &b), "%s", to);
    return calc_elapsed_minutes(&a, &b);
}

/* calc.md rule 27. Clock changes as in the EU in 2026: 29 March and 25 October. */
Test(time, rule_27_elapsed_time_is_of_instants)
{
    static const struct {
        const char *from, *to;
        double want;
    } rows[] = {
        {"2026-03-29T00:30:00+00:00", "2026-03-29T02:30:00+01:00", 60},
        {"2026-10-25T01:30:00+01:00", "2026-10-25T01:30:00+00:00", 60},
        {"2026-01-01T00:00:00Z", "2026-01-01T00:00:00.5Z", 0.5 / 60},
        {"2026-01-01T00:00:00Z", "2026-01-01T00:00:00.000000001Z", 1 / 60e9},
        {"2026-01-01T12:00:00+14:00", "2025-12-31T12:00:00-10:00", 0},
        {"2024-02-28T23:59:00Z", "2024-03-01T00:00:00Z", 1441},
        {"2026-01-02T00:00:00Z", "2026-01-01T00:00:00Z", -1440},
        {"0000-01-01T00:00:00Z", "9999-12-31T23:59:59Z", 5259491999.983333},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        EXPECT_NEAR(minutes(rows[i].from, rows[i].to), rows[i].want, 1e-6, "%s", rows[i].from);
}

Test(time, rule_27_other_forms_are_refused)
{
    static const char *const bad[] = {
        "2026-01-01T00:00:00",
        "2026-01-01 00:00:00Z",
        "2026-01-01T00:00Z",
        "2026-01-01T00:00:60Z",
        "2026-02-29T00:00:00Z",
        "2026-01-01T24:00:00Z",
        "2026-01-01T00:00:00.Z",
        "2026-01-01T00:00:00.1234567890Z",
        "2026-01-01T00:00:00z",
        "2026-01-01t00:00:00Z",
        "2026-01-01T00:00:00+0100",
        "2026-01-01T00:00:00+01",
        "2026-01-01T00:00:00+24:00",
        "2026-01-01T00:00:00+01:60",
        "2026-01-01T00:00:00Z ",
        "2026-01-01T00:00:00,5Z",
        "",
        "2026-01-01T00:00:00+01:00x",
        "2026-01-01T0a:00:00Z",
        "2026-01-01T00:00:00",
    };
    struct calc_instant t;
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
        cr_assert(not(calc_instant_read(bad[i], &t)), "%s", bad[i]);
}

static enum calc_warm_state
warm(enum calc_warm_rule rule, double min, double highest_c)
{
    struct calc_warm_in in = {rule, min, highest_c, NAN, NAN};
    return calc_warm(&in);
}

/* worked-examples.csv WE-18 and food-safety-limits.csv. */
Test(time, warm_time_rules_with_their_ends)
{
    cr_assert(warm(CALC_WARM_2H_4H, 50 + 45 + 20, NAN) == CALC_WARM_MAY_CHILL);
    cr_assert(warm(CALC_WARM_2H_4H, 120, NAN) == CALC_WARM_USE_NOW);
    cr_assert(warm(CALC_WARM_2H_4H, 239.99, NAN) == CALC_WARM_USE_NOW);
    cr_assert(warm(CALC_WARM_2H_4H, 240, NAN) == CALC_WARM_DISCARD);
    cr_assert(warm(CALC_WARM_4H, 240, NAN) == CALC_WARM_USE_NOW);
    cr_assert(warm(CALC_WARM_4H, 240.01, NAN) == CALC_WARM_DISCARD);
    cr_assert(warm(CALC_WARM_6H, 360, 21) == CALC_WARM_USE_NOW);
    cr_assert(warm(CALC_WARM_6H, 300, 21.5) == CALC_WARM_DISCARD);
    cr_assert(warm(CALC_WARM_6H, 300, NAN) == CALC_WARM_DISCARD);
}

Test(time, a_site_s_own_limit_wins)
{
    struct calc_warm_in in = {CALC_WARM_2H_4H, 61, NAN, 30, 60};
    cr_assert(calc_warm(&in) == CALC_WARM_DISCARD);
    in.minutes = 40;
    cr_assert(calc_warm(&in) == CALC_WARM_USE_NOW);
    EXPECT_NEAR(calc_warm_left_min(&in), 20, 1e-12, "left");
}

/* One point inside each cell of the table, and its bounds. */
Test(time, tcs_tables_as_published)
{
    static const struct {
        bool packaged;
        double aw, ph;
        enum calc_tcs want;
    } rows[] = {
        {true, 0.92, 6.5, CALC_TCS_NOT},     {true, 0.93, 5.6, CALC_TCS_NOT},
        {true, 0.93, 5.7, CALC_TCS_ASSESS},  {true, 0.95, 5.6, CALC_TCS_NOT},
        {true, 0.96, 4.6, CALC_TCS_NOT},     {true, 0.96, 4.7, CALC_TCS_ASSESS},
        {true, 0.99, 6.0, CALC_TCS_ASSESS},  {false, 0.87, 7.0, CALC_TCS_NOT},
        {false, 0.88, 5.0, CALC_TCS_NOT},    {false, 0.88, 5.1, CALC_TCS_ASSESS},
        {false, 0.90, 4.9, CALC_TCS_NOT},    {false, 0.91, 4.6, CALC_TCS_NOT},
        {false, 0.91, 4.7, CALC_TCS_ASSESS}, {false, 0.93, 4.19, CALC_TCS_NOT},
        {false, 0.93, 4.2, CALC_TCS_ASSESS}, {false, 0.99, 5.5, CALC_TCS_ASSESS},
        {false, NAN, 4.0, CALC_TCS_ASSESS},  {true, 0.5, NAN, CALC_TCS_ASSESS},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        cr_assert(eq(int, calc_tcs_of(rows[i].packaged, rows[i].aw, rows[i].ph), rows[i].want),
                  "row %zu", i);
}
