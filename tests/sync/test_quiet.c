/* test_quiet.c - runs of records that nobody gets, against a plain table of yes and no.
 *
 * Source: own design, no source. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/sync/hub_quiet.h"

enum {
    LOGS = 3,
    MOST = 200
};

static struct log_mark
log_of(unsigned i)
{
    struct log_mark log = {.epoch = i < 2 ? 1 : 2};
    memset(log.mark, i == 1 ? 7 : 3, MARK_SIZE); /* two logs of one epoch, and a later epoch */
    return log;
}

static void
expect_same(const struct quiet *quiet, bool table[LOGS][MOST + 2])
{
    for (unsigned l = 0; l < LOGS; l++) {
        struct log_mark log = log_of(l);
        for (uint64_t seq = 1; seq <= MOST; seq++) {
            uint64_t until = seq - 1;
            while (table[l][until + 1])
                until++;
            cr_expect(quiet_until(quiet, &log, seq) == (until >= seq ? until : 0), "log %u, %lu", l,
                      (unsigned long)seq);
        }
    }
}

static size_t
runs_in(bool table[LOGS][MOST + 2])
{
    size_t n = 0;
    for (unsigned l = 0; l < LOGS; l++)
        for (unsigned seq = 1; seq <= MOST; seq++)
            n += table[l][seq] && !table[l][seq - 1];
    return n;
}

Test(quiet, runs_say_what_was_added_in_any_order_and_no_more)
{
    struct quiet quiet = {0};
    bool table[LOGS][MOST + 2] = {{false}};
    srand(20260303); /* the same each time */
    expect_same(&quiet, table);
    for (unsigned i = 0; i < 900; i++) {
        unsigned l = (unsigned)rand() % LOGS, seq = 1 + (unsigned)rand() % MOST;
        struct log_mark log = log_of(l);
        quiet_add(&quiet, &log, seq);
        table[l][seq] = true;
        if (i % 50 == 0)
            expect_same(&quiet, table);
        cr_assert(quiet.n == runs_in(table), "%zu runs, not %zu", quiet.n, runs_in(table));
    }
    expect_same(&quiet, table);
    quiet_done(&quiet);
    expect_same(&quiet, (bool[LOGS][MOST + 2]){{false}});
}
