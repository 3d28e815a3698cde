/* What to order and by when. Worked by hand; common practice, no source. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdlib.h>
#include "daemon/plan/buy.h"

enum {
    N = 28,
    PLANNED = 14
};

/* Day 0 is a Tuesday; Sundays (5, 12, 19, 26) and Thursday 9 are not worked. */
static const signed char week[N] = {2, 3, 4, 5, 6, 0, 1, 2, 3, 0, 5, 6, 0, 1,
                                    2, 3, 4, 5, 6, 0, 1, 2, 3, 4, 5, 6, 0, 1};
static const struct buy_days days = {N, week};

enum {
    TUESDAY = 1 << 2,
    FRIDAY = 1 << 5
};

static const int64_t none[PLANNED];

struct row {
    const char *name;
    struct buy_terms terms;
    int use, latest, arrives;
};

Test(buy, the_last_day_of_order_is_as_worked_by_hand)
{
    static const struct row rows[] = {
        {"three days, for Saturday: Tuesday, there on Friday", {3, 0, 0}, 4, 0, 3},
        {"three days, for Friday: too late", {3, 0, 0}, 3, -1, 0},
        {"two days, for Monday: Thursday, there on Saturday", {2, 0, 0}, 6, 2, 4},
        {"two days over the day off: Wednesday the 8th is two working days before Saturday",
         {2, 0, 0},
         13,
         8,
         11},
        {"the same day, for Monday: Saturday", {0, 0, 0}, 6, 4, 4},
        {"the same day, for the day after a day off", {0, 0, 0}, 10, 8, 8},
        {"Tuesdays and Fridays, two days: Friday for Wednesday", {2, TUESDAY | FRIDAY, 0}, 8, 3, 6},
        {"Fridays only, two days, for Saturday: too late", {2, FRIDAY, 0}, 4, -1, 0},
        {"today for tomorrow is too late at one day", {1, 0, 0}, 1, -1, 0},
        {"today for the day after tomorrow", {1, 0, 0}, 2, 0, 1},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        int latest = buy_latest(&days, &rows[i].terms, rows[i].use);
        cr_expect(eq(int, latest, rows[i].latest), "%s", rows[i].name);
        if (latest >= 0)
            cr_expect(eq(int, buy_arrives(&days, &rows[i].terms, latest), rows[i].arrives), "%s",
                      rows[i].name);
    }
}

/* 25 kg there. 10 kg each on days 3, 4, 7 and 13: on day 7 5 kg lack, on day 13 10 more. */
static const int64_t use[PLANNED] = {0, 0, 0, 10000, 10000, 0, 0, 10000, 0, 0, 0, 0, 0, 10000};

Test(buy, one_order_brings_all_in_whole_packs)
{
    struct buy_terms terms = {2, 0, 4000};
    struct buy_need need = {25000, PLANNED, use, none};
    struct buy out[PLANNED];
    cr_assert(eq(int, buy_list(&days, &terms, &need, out, PLANNED), 1));
    cr_assert(eq(i64, out[0].lack_g, 15000));
    cr_assert(eq(i64, out[0].packs, 4));
    cr_assert(eq(i64, out[0].g, 16000));
    cr_assert(eq(int, out[0].use, 7));   /* Tuesday the second */
    cr_assert(eq(int, out[0].order, 3)); /* Friday: there on Monday, two working days on */
    cr_assert(eq(int, out[0].arrives, 6));
    cr_assert(not(out[0].late));
}

Test(buy, with_days_of_order_each_brings_what_lacks_until_the_next)
{
    struct buy_terms terms = {2, TUESDAY | FRIDAY, 4000};
    struct buy_need need = {25000, PLANNED, use, none};
    struct buy out[PLANNED];
    cr_assert(eq(int, buy_list(&days, &terms, &need, out, PLANNED), 2));
    cr_assert(eq(int, out[0].order, 3)); /* Friday for Tuesday: 5 kg, 2 packs */
    cr_assert(eq(i64, out[0].g, 8000));
    cr_assert(eq(int, out[1].use, 13));
    cr_assert(eq(int, out[1].order, 7)); /* Tuesday: the Friday after it would come on Monday 13 */
    cr_assert(eq(i64, out[1].lack_g, 7000)); /* 15 kg less the 8 bought */
    cr_assert(eq(i64, out[1].g, 8000));
}

Test(buy, what_is_under_way_and_what_is_there_need_not_be_bought)
{
    struct buy_terms terms = {2, 0, 0};
    int64_t coming[PLANNED] = {0};
    struct buy out[PLANNED];
    struct buy_need need = {40000, PLANNED, use, coming};
    cr_assert(eq(int, buy_list(&days, &terms, &need, out, PLANNED), 0));
    need.stock_g = 25000;
    coming[7] = 15000;
    cr_assert(eq(int, buy_list(&days, &terms, &need, out, PLANNED), 0));
    coming[7] = 0;
    coming[8] = 15000; /* a day too late for the first 5 kg */
    cr_assert(eq(int, buy_list(&days, &terms, &need, out, PLANNED), 1));
    cr_assert(eq(i64, out[0].g, 5000));
}

Test(buy, what_is_late_is_ordered_today_and_said_to_be_late)
{
    struct buy_terms terms = {5, 0, 0};
    struct buy_need need = {0, PLANNED, use, none};
    struct buy out[PLANNED];
    cr_assert(eq(int, buy_list(&days, &terms, &need, out, PLANNED), 1));
    cr_assert(out[0].late);
    cr_assert(eq(int, out[0].order, 0));
    cr_assert(eq(int, out[0].arrives, 6)); /* W, T, F, S, M */
    cr_assert(eq(i64, out[0].g, 40000));
}

static unsigned state = 7;

static int
below(int n)
{
    state = state * 1103515245u + 12345u;
    return (int)((state >> 16) % (unsigned)n);
}

/* Bought in time, with packs and days of order as they come, nothing ever lacks, and the day after
 * the last order would have been too late. */
Test(buy, ordered_as_it_says_nothing_ever_lacks)
{
    for (int round = 0; round < 3000; round++) {
        signed char made[40];
        int64_t takes[PLANNED], coming[PLANNED];
        struct buy out[PLANNED];
        struct buy_days all = {40, made};
        struct buy_terms terms = {below(5), below(2) ? (unsigned)below(128) << 1 : 0,
                                  below(2) ? 1 + below(9000) : 0};
        for (int d = 0; d < 40; d++)
            made[d] = (signed char)(below(5) == 0 ? 0 : d % 7 + 1);
        int first = buy_first_use(&all, &terms);
        for (int d = 0; d < PLANNED; d++) {
            takes[d] = d >= first ? below(3) * below(5000) : 0;
            coming[d] = below(6) == 0 ? below(4000) : 0;
        }
        struct buy_need need = {below(6000), PLANNED, takes, coming};
        int n = buy_list(&all, &terms, &need, out, PLANNED);
        int64_t have = need.stock_g;
        for (int d = 0; d < PLANNED; d++) {
            have += coming[d];
            for (int i = 0; i < n; i++)
                have += out[i].arrives + 1 == d ? out[i].g : 0;
            have -= takes[d];
            cr_assert(have >= 0, "round %d day %d", round, d);
        }
        for (int i = 0; i < n; i++) {
            int next = buy_order_day(&all, &terms, out[i].order + 1);
            cr_assert(not(out[i].late));
            cr_assert(made[out[i].order] != 0 && made[out[i].arrives] != 0);
            cr_assert(next >= out[i].use || buy_arrives(&all, &terms, next) >= out[i].use);
            cr_assert(terms.pack_g == 0 || out[i].g - out[i].lack_g < terms.pack_g);
        }
    }
}
