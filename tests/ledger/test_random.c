/* test_random.c - months that nobody would write: what must hold whatever is written.
 *
 * Each month has its seed; TEST_SEED adds one of your own.
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "proto/ledger.pb-c.h"
#include "tests/ledger/random.h"

enum {
    SEEDS = 12,
    RECORDS = 260
};

static uint64_t
first_seed(void)
{
    const char *text = getenv("TEST_SEED");
    return text != NULL ? strtoull(text, NULL, 10) : 1000;
}

static struct play *
month_of(uint64_t seed)
{
    struct play *play = play_new("kitchen");
    random_month(play, seed, RECORDS);
    return play;
}

Test(random, any_order_one_at_a_time_or_in_groups_gives_the_ledger_of_a_rebuild)
{
    for (uint64_t seed = first_seed(); seed < first_seed() + SEEDS; seed++) {
        static const size_t groups[] = {1, 5, 64};
        uint8_t want[32], got[32];
        struct err_text why = {.s = ""};
        struct play *play = month_of(seed);
        play_put(play, 0);
        cr_assert(eq(int, ledger_rebuild(play_ledger(play), NULL, &why), ERR_OK), "%s", why.s);
        play_digest(play, want);
        play_free(play);
        for (size_t i = 0; i < 3; i++) {
            play = month_of(seed);
            play_shuffle(play, seed * 7 + i);
            play_put(play, groups[i]);
            play_digest(play, got);
            cr_expect(eq(int, memcmp(want, got, sizeof want), 0), "seed %" PRIu64 ", groups of %zu",
                      seed, groups[i]);
            play_free(play);
        }
    }
}

Test(random, books_of_a_moment_are_those_of_a_hub_that_holds_no_more)
{
    for (uint64_t seed = first_seed(); seed < first_seed() + SEEDS; seed++) {
        struct play *all = month_of(seed);
        play_put(all, 50);
        for (int64_t hours = 10; hours < 150; hours += 35) {
            int64_t moment = play_ms("2026-03-28T22:00:00Z") + hours * 3600000;
            struct play *then = month_of(seed);
            play_keep_held(then, moment);
            play_put(then, 0);
            struct books *a = play_books(all, moment);
            struct books *b = play_books(then, INT64_MAX);
            char *got = play_text(a), *want = play_text(b);
            cr_expect(eq(str, got, want), "seed %" PRIu64 ", %" PRId64 " h", seed, hours);
            free(got);
            free(want);
            books_free(a);
            books_free(b);
            play_free(then);
        }
        play_free(all);
    }
}

/* The books of a month at its close are kept; a record that a hub held before, and that arrives
 * after (an import), is in them all the same. */
Test(random, books_of_a_closed_month_are_the_same_kept_or_folded)
{
    for (uint64_t seed = first_seed(); seed < first_seed() + SEEDS; seed++) {
        struct err_text why = {.s = ""};
        struct closing closing;
        struct play *all = month_of(seed);
        play_put(all, 1);
        if (ledger_closing(play_ledger(all), play_month("2026-03"), INT64_MAX, &closing, &why) ==
            ERR_OK) {
            struct play *then = month_of(seed), *late = month_of(seed);
            play_keep_held(then, closing.held_ms);
            play_put(then, 0);
            play_shuffle(late, seed);
            for (size_t n = play_size(late); n > 0; n = play_size(late)) {
                play_put_some(late, n / 3 + 1, 0);
                books_free(play_books(late, closing.held_ms)); /* kept at different stages */
            }
            struct books *a = play_books(all, closing.held_ms);
            struct books *b = play_books(then, INT64_MAX);
            struct books *c = play_books(late, closing.held_ms);
            char *first = play_text(a), *want = play_text(b), *second = play_text(c);
            cr_expect(eq(str, first, want), "seed %" PRIu64, seed);
            cr_expect(eq(str, second, want), "seed %" PRIu64 ", late", seed);
            free(first);
            free(want);
            free(second);
            books_free(a);
            books_free(b);
            books_free(c);
            play_free(then);
            play_free(late);
        }
        play_free(all);
    }
}

/* ---- mass */

struct held {
    const char *row;
    int64_t net_g;
};

static bool
add_tub(void *owner, const char *code, const ProtobufCMessage *message)
{
    (void)code;
    struct held *held = owner;
    const Knockbox__TubRow *row = (const Knockbox__TubRow *)message;
    if (row->site != NULL && strcmp(row->site, held->row) == 0 &&
        row->state != KNOCKBOX__TUB_STATE__TUB_STATE_MISSING)
        held->net_g += row->net_g;
    return true;
}

static int64_t
sum(const struct books *books, enum measure measure, const char *site)
{
    return books_sum(books, measure, 0, INT32_MAX, site);
}

static int64_t
closing(const struct books *books, const char *row)
{
    return sum(books, MEASURE_FILLED, row) + sum(books, MEASURE_RECEIVED, row) -
           sum(books, MEASURE_SENT, row) - sum(books, MEASURE_REJECTED, row) -
           sum(books, MEASURE_USED, row) + sum(books, MEASURE_UNEXPLAINED_RECEIPT, row) +
           sum(books, MEASURE_UNEXPLAINED_COUNT, row) +
           sum(books, MEASURE_UNEXPLAINED_OVERDRAW, row) +
           sum(books, MEASURE_UNEXPLAINED_EMPTY, row);
}

Test(random, each_row_closes_with_the_tubs_that_are_in_it_and_transfers_cancel)
{
    static const char *const rows[] = {"kitchen", "alpha", "beta", "in-transit"};
    for (uint64_t seed = first_seed(); seed < first_seed() + SEEDS; seed++) {
        struct err_text why = {.s = ""};
        struct play *play = month_of(seed);
        play_put(play, 0);
        struct books *books = play_books(play, INT64_MAX);
        for (int i = 0; i < 4; i++) {
            struct held held = {rows[i], 0};
            cr_assert(
                eq(int, ledger_rows(play_ledger(play), SUBJECT_TUB, add_tub, &held, &why), ERR_OK));
            cr_expect(eq(i64, closing(books, rows[i]), held.net_g), "seed %" PRIu64 " %s", seed,
                      rows[i]);
        }
        cr_expect(eq(i64, sum(books, MEASURE_SENT, NULL), sum(books, MEASURE_RECEIVED, NULL)));
        books_free(books);
        play_free(play);
    }
}
