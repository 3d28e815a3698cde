/* test_example.c - the worked months of tests/data/example-month: books against their reports. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include "tests/ledger/play.h"

static struct play *
example(void)
{
    struct play *play = play_new("kitchen");
    play_read(play, TEST_DATA "/example-month/catalogue.jsonl");
    play_read(play, TEST_DATA "/example-month/records.jsonl");
    return play;
}

Test(example, tubs_of_february_are_in_the_books_to_the_gram)
{
    struct play *play = example();
    play_put(play, 100);
    struct books *books = play_books(play, INT64_MAX);
    int32_t month = play_month("2026-02");
    cr_expect(eq(i64, books_sum(books, MEASURE_FILLED, month, month, NULL), 21788));
    cr_expect(eq(i64, books_sum(books, MEASURE_USED, month, month, NULL), 10080));
    cr_expect(eq(i64, books_sum(books, MEASURE_UNEXPLAINED_COUNT, month, month, NULL), -1953));
    books_free(books);
    play_free(play);
}
