/* Random months: whatever people write, the month adds up, and the order of arrival never shows.
 * The seed is printed; TEST_SEED sets it, TEST_MONTHS how many. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "proto/when.h"
#include "tests/report/month.h"
#include "tests/report/randoms.h"

static const char *const sites[] = {"quayside", "foundry", "kitchen"};

/* Everything but the heads, which tell of arrival. */
static char *
bytes_of(struct play *play, const char *month, bool *out_adds_up)
{
    json_t *report = month_json(play, month);
    *out_adds_up = month_adds_up(report);
    json_object_del(report, "heads");
    char *text = json_dumps(report, JSON_INDENT(1));
    json_decref(report);
    return text;
}

static bool
sites_make_the_whole(struct play *play, int32_t month)
{
    static const enum measure measures[] = {MEASURE_FILLED,      MEASURE_UNCAPTURED,
                                            MEASURE_WASTE_BEGUN, MEASURE_WASTE_TO,
                                            MEASURE_WASTE_GAP,   MEASURE_RESIDUE_MADE};
    struct books *books = play_books(play, INT64_MAX);
    bool same = true;
    for (size_t i = 0; i < sizeof measures / sizeof measures[0]; i++) {
        int64_t sum = 0;
        for (size_t j = 0; j < 3; j++)
            sum += books_sum(books, measures[i], month, month, sites[j]);
        same = same && sum == books_sum(books, measures[i], month, month, NULL);
    }
    books_free(books);
    return same;
}

/* Folded as records came, and all at once: the same lines. */
static bool
is_as_rebuilt(struct play *play)
{
    struct err_text why = {.s = ""};
    uint8_t before[32], after[32];
    uint64_t n = 0;
    play_digest(play, before);
    cr_assert(eq(int, ledger_rebuild(play_ledger(play), &n, &why), ERR_OK), "%s", why.s);
    play_digest(play, after);
    return memcmp(before, after, 32) == 0;
}

static void
check(uint64_t seed, bool waste)
{
    static const char *const months[] = {"2026-02", "2026-03", "2026-04"};
    struct play *in_order = random_months(seed, waste);
    struct play *shuffled = random_months(seed, waste);
    play_put(in_order, 0);
    play_shuffle(shuffled, seed * 7 + 1);
    play_put(shuffled, 11);
    for (size_t i = 0; i < 3; i++) {
        bool adds_up = false, too = false;
        char *a = bytes_of(in_order, months[i], &adds_up);
        char *b = bytes_of(shuffled, months[i], &too);
        cr_expect(adds_up && too, "seed %llu, %s", (unsigned long long)seed, months[i]);
        cr_expect(eq(str, a, b), "seed %llu, %s", (unsigned long long)seed, months[i]);
        cr_expect(sites_make_the_whole(shuffled, play_month(months[i])));
        free(a);
        free(b);
    }
    cr_expect(is_as_rebuilt(shuffled), "seed %llu", (unsigned long long)seed);
    play_free(in_order);
    play_free(shuffled);
}

Test(random, months_add_up_and_do_not_show_the_order_of_arrival)
{
    uint64_t first = randoms_number("TEST_SEED", 20260303), n = randoms_number("TEST_MONTHS", 12);
    fprintf(stderr, "seeds %llu and on\n", (unsigned long long)first);
    for (uint64_t i = 0; i < n; i++)
        check(first + i, i % 3 == 2);
}
