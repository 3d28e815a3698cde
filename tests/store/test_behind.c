/* test_behind.c - what a commit may leave behind: index rows of the newest records, the row of the
 * newest record's log. Nothing of it may be seen from outside. Common practice, no source.
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <string.h>
#include "tests/store/box.h"

static void
id_of(const struct box *box, uint64_t number, uint8_t out[ID_SIZE])
{
    struct box other = {.now_ms = box->now_ms, .next_id = number - 1};
    memcpy(out, box_note(&other, "x")->id.data, ID_SIZE);
}

/* Each id leads to its record, one that was never given to none. */
static void
expect_ids(const struct box *box, struct store_view *view, uint64_t n)
{
    uint8_t id[ID_SIZE];
    uint64_t lsn = 0;
    for (uint64_t i = 1; i <= n; i++) {
        id_of(box, i, id);
        cr_assert_eq(store_find_id(view, id, &lsn, NULL), ERR_OK, "id %d of %d", (int)i, (int)n);
        cr_assert(eq(u64, lsn, i));
    }
    id_of(box, n + 1, id);
    cr_assert_eq(store_find_id(view, id, &lsn, NULL), ERR_NOT_FOUND);
}

static void
expect_whole(struct box *box, uint64_t n, bool unique)
{
    struct store_view *view = NULL;
    struct err_text why = {.s = ""};
    uint64_t checked = 0;
    bool is_unique = !unique;
    cr_assert_eq(store_verify(box->store, &checked, &why), ERR_OK, "%s", why.s);
    cr_assert(eq(u64, checked, n));
    cr_assert_eq(store_look(box->store, &view, NULL), ERR_OK);
    cr_assert_eq(store_ids_unique(view, &is_unique, NULL), ERR_OK);
    cr_assert_eq(is_unique, unique);
    store_done(&view);
}

/* An open without a close before it is what a power cut leaves: nothing is written at a close. */
Test(behind, after_each_record_all_is_found_at_once_and_after_opening_again)
{
    struct box box;
    box_init(&box, "quayside");
    box_open(&box);
    for (uint64_t n = 1; n <= 80; n++) {
        struct store_view *view = NULL;
        box_write(&box, "quayside", 1);
        if (n % 3 == 0)
            box_reopen(&box);
        cr_assert_eq(store_look(box.store, &view, NULL), ERR_OK);
        expect_ids(&box, view, n);
        store_done(&view);
        cr_assert(eq(u64, box_mark(&box, "quayside").seq, n));
        expect_whole(&box, n, true);
    }
    box_done(&box);
}

Test(behind, an_older_view_goes_on_finding_what_it_had)
{
    struct box box;
    struct store_view *view = NULL;
    box_init(&box, "quayside");
    box_open(&box);
    for (int i = 0; i < 20; i++)
        box_write(&box, "quayside", 1);
    cr_assert_eq(store_look(box.store, &view, NULL), ERR_OK);
    for (int i = 0; i < 70; i++)
        box_write(&box, "quayside", 1);
    expect_ids(&box, view, 20);
    struct log_mark mark;
    size_t n = 0;
    cr_assert_eq(store_marks(view, NULL, &mark, 1, &n, NULL), ERR_OK);
    cr_assert(eq(u64, mark.seq, 20));
    store_done(&view);
    box_done(&box);
}

Test(behind, an_aborted_write_leaves_the_index_as_it_was)
{
    struct box box;
    struct store_txn *txn = NULL;
    struct store_view *view = NULL;
    struct stored stored;
    box_init(&box, "quayside");
    box_open(&box);
    for (int i = 0; i < 30; i++)
        box_write(&box, "quayside", 1);
    cr_assert_eq(store_begin(box.store, &txn, NULL), ERR_OK);
    for (int i = 0; i < 10; i++) /* the index is written on the way */
        cr_assert_eq(store_append(txn, "quayside", box_note(&box, "x"), &stored, NULL), ERR_OK);
    store_abort(&txn);
    box.next_id = 30;
    cr_assert_eq(store_look(box.store, &view, NULL), ERR_OK);
    expect_ids(&box, view, 30);
    store_done(&view);
    box_write(&box, "quayside", 10);
    expect_whole(&box, 40, true);
    box_done(&box);
}

Test(behind, a_second_record_with_an_id_that_waits_is_known_as_one)
{
    struct box box;
    struct store_view *view = NULL;
    box_init(&box, "kitchen");
    box_open(&box);
    for (int i = 0; i < 5; i++)
        box_write(&box, "kitchen", 1);
    box.next_id = 2;
    box_write(&box, "paper-cafe", 1); /* the id of record 3 again */
    expect_whole(&box, 6, false);
    box_reopen(&box);
    expect_whole(&box, 6, false);
    cr_assert_eq(store_look(box.store, &view, NULL), ERR_OK);
    expect_ids(&box, view, 5);
    store_done(&view);
    box_done(&box);
}

Test(behind, heads_of_logs_that_take_turns_are_right_after_opening_again)
{
    struct box box;
    const char *const sites[] = {"kitchen", "quayside", "market-hall"};
    uint64_t written[3] = {0};
    box_init(&box, "kitchen");
    box_open(&box);
    for (unsigned i = 0; i < 90; i++) {
        unsigned site = i * i % 7 % 3;
        box_write(&box, sites[site], 1);
        written[site]++;
        if (i % 4 == 0)
            box_reopen(&box);
        for (int s = 0; s < 3; s++)
            cr_assert(eq(u64, box_mark(&box, sites[s]).seq, written[s]));
    }
    expect_whole(&box, 90, true);
    box_done(&box);
}
