/* test_append.c - own records: numbers, chains, epochs, reading them back. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <sodium.h>
#include <stdlib.h>
#include <string.h>
#include "tests/store/box.h"

/* RFC 7693 names the algorithm, its appendix only a digest of 512 bits. This one of 256 bits is what
 * GNU coreutils 9.1 gives, an independent implementation: printf abc | b2sum -l 256. */
static const char blake2b_256_abc[] =
    "bddd813c634239723171ef3fee98579b94964e3bb1cb3e427262c8c068d52319";

static struct stored
get(struct store_view *view, uint64_t lsn)
{
    struct err_text why = {.s = ""};
    struct stored stored = {0};
    cr_assert_eq(store_get(view, lsn, &stored, &why), ERR_OK, "%s", why.s);
    return stored;
}

static struct store_view *
look(struct box *box)
{
    struct store_view *view = NULL;
    cr_assert_eq(store_look(box->store, &view, NULL), ERR_OK);
    return view;
}

Test(append, hash_is_blake2b_of_256_bits)
{
    uint8_t hash[HASH_SIZE];
    char hex[2 * HASH_SIZE + 1];
    crypto_generichash(hash, sizeof hash, (const uint8_t *)"abc", 3, NULL, 0);
    sodium_bin2hex(hex, sizeof hex, hash, sizeof hash);
    cr_assert(eq(str, hex, (char *)blake2b_256_abc));
}

Test(append, a_new_store_is_empty_and_knows_its_site)
{
    struct box box;
    box_init(&box, "quayside");
    box_open(&box);
    cr_assert(eq(u64, box_count(&box), 0));
    cr_assert(eq(str, (char *)store_site(box.store), "quayside"));
    box_done(&box);
}

Test(append, records_are_numbered_from_1_and_stay_after_a_restart)
{
    struct box box;
    box_init(&box, "quayside");
    box_open(&box);
    box_write(&box, "quayside", 3);
    box_reopen(&box);
    box_write(&box, "quayside", 2);
    box_reopen(&box);
    struct store_view *view = look(&box);
    cr_assert(eq(u64, store_last(view), 5));
    for (uint64_t n = 1; n <= 5; n++) {
        struct stored stored = get(view, n);
        cr_assert(eq(u64, stored.seq, n));
        cr_assert(eq(u32, stored.epoch, 1));
        cr_assert(eq(str, (char *)stored.site, "quayside"));
    }
    store_done(&view);
    box_done(&box);
}

Test(append, the_bytes_are_the_packed_record_with_its_place_filled_in)
{
    struct box box;
    box_init(&box, "quayside");
    box_open(&box);
    box_write(&box, "quayside", 2);
    struct store_view *view = look(&box);
    struct stored stored = get(view, 2);
    Knockbox__Record *record = knockbox__record__unpack(NULL, stored.len, stored.bytes);
    cr_assert_not_null(record);
    cr_assert(eq(str, record->site, "quayside"));
    cr_assert(eq(u64, record->seq, 2));
    cr_assert(eq(u32, record->epoch, 1));
    cr_assert(eq(str, record->note->text, "tub lid was loose"));
    cr_assert_eq(record->mark.len, MARK_SIZE);
    cr_assert_arr_eq(record->mark.data, stored.mark, MARK_SIZE);
    cr_assert_arr_eq(record->id.data, stored.id, ID_SIZE);
    knockbox__record__free_unpacked(record, NULL);
    store_done(&view);
    box_done(&box);
}

Test(append, the_chain_is_what_libsodium_computes_over_the_bytes)
{
    struct box box;
    uint8_t hash[HASH_SIZE] = {0}, data[HASH_SIZE + 4096];
    box_init(&box, "quayside");
    box_open(&box);
    box_write(&box, "quayside", 20);
    struct store_view *view = look(&box);
    for (uint64_t n = 1; n <= 20; n++) {
        struct stored stored = get(view, n);
        memcpy(data, hash, HASH_SIZE); /* hash(n) = BLAKE2b-256(hash(n-1) || bytes(n)) */
        memcpy(data + HASH_SIZE, stored.bytes, stored.len);
        crypto_generichash(hash, HASH_SIZE, data, HASH_SIZE + stored.len, NULL, 0);
        cr_assert_arr_eq(stored.hash, hash, HASH_SIZE);
    }
    store_done(&view);
    cr_assert_arr_eq(box_mark(&box, "quayside").hash, hash, HASH_SIZE);
    box_done(&box);
}

Test(append, an_aborted_transaction_leaves_nothing)
{
    struct box box;
    struct store_txn *txn = NULL;
    struct stored stored;
    box_init(&box, "quayside");
    box_open(&box);
    cr_assert_eq(store_begin(box.store, &txn, NULL), ERR_OK);
    cr_assert_eq(store_append(txn, "quayside", box_note(&box, "x"), &stored, NULL), ERR_OK);
    cr_assert(eq(u64, store_last(store_txn_view(txn)), 1));
    store_abort(&txn);
    cr_assert(eq(u64, box_count(&box), 0));
    cr_assert(eq(u64, box_mark(&box, "quayside").seq, 0));
    box_write(&box, "quayside", 1);
    cr_assert(eq(u64, box_mark(&box, "quayside").seq, 1));
    box_done(&box);
}

Test(append, a_write_sees_what_it_has_written)
{
    struct box box;
    struct store_txn *txn = NULL;
    struct stored stored, again;
    uint64_t lsn = 0;
    struct log_mark mark;
    size_t n = 0;
    box_init(&box, "quayside");
    box_open(&box);
    cr_assert_eq(store_begin(box.store, &txn, NULL), ERR_OK);
    cr_assert_eq(store_append(txn, "quayside", box_note(&box, "x"), &stored, NULL), ERR_OK);
    struct store_view *view = store_txn_view(txn);
    cr_assert_eq(store_find_id(view, stored.id, &lsn, NULL), ERR_OK);
    cr_assert(eq(u64, lsn, 1));
    cr_assert_eq(store_get(view, lsn, &again, NULL), ERR_OK);
    cr_assert_arr_eq(again.hash, stored.hash, HASH_SIZE);
    cr_assert_eq(store_marks(view, NULL, &mark, 1, &n, NULL), ERR_OK);
    cr_assert_eq(n, 1);
    cr_assert(eq(u64, mark.seq, 1));
    store_abort(&txn);
    box_done(&box);
}

Test(append, a_new_epoch_has_the_next_number_a_new_mark_and_counts_from_1)
{
    struct box box;
    struct store_txn *txn = NULL;
    box_init(&box, "quayside");
    box_open(&box);
    box_write(&box, "quayside", 3);
    struct log_mark first = box_mark(&box, "quayside");
    cr_assert_eq(store_begin(box.store, &txn, NULL), ERR_OK);
    cr_assert_eq(store_new_epoch(txn, "quayside", 6, NULL), ERR_OK);
    cr_assert_eq(store_commit(&txn, NULL), ERR_OK);
    box_reopen(&box);
    box_write(&box, "quayside", 2);
    struct log_mark second = box_mark(&box, "quayside");
    cr_assert(eq(u32, first.epoch, 1));
    cr_assert(eq(u32, second.epoch, 7));
    cr_assert(eq(u64, second.seq, 2));
    cr_assert(second.own);
    cr_assert_neq(memcmp(first.mark, second.mark, MARK_SIZE), 0);
    box_done(&box);
}

Test(append, one_store_keeps_logs_of_several_sites_apart)
{
    struct box box;
    struct err_text why = {.s = ""};
    uint64_t lsn = 0;
    box_init(&box, "kitchen");
    box_open(&box);
    for (int i = 0; i < 4; i++) {
        box_write(&box, "kitchen", 2);
        box_write(&box, "paper-cafe", 3);
    }
    struct log_mark mark = box_mark(&box, "paper-cafe");
    cr_assert(eq(u64, mark.seq, 12));
    struct store_view *view = look(&box);
    cr_assert_eq(store_find_seq(view, "paper-cafe", 1, mark.mark, 7, &lsn, &why), ERR_OK);
    cr_assert(eq(u64, lsn, 13)); /* 2+3 2+3 2 and the first of the next three */
    cr_assert_eq(store_find_seq(view, "paper-cafe", 1, mark.mark, 13, &lsn, &why), ERR_NOT_FOUND);
    cr_assert_eq(store_find_seq(view, "no-cafe", 1, mark.mark, 1, &lsn, &why), ERR_NOT_FOUND);
    store_done(&view);
    box_done(&box);
}

Test(append, a_log_is_read_by_numbers_over_gaps_in_arrival)
{
    struct box box;
    struct stored out[20];
    size_t n = 0;
    box_init(&box, "kitchen");
    box_open(&box);
    for (int i = 0; i < 4; i++) {
        box_write(&box, "kitchen", 2);
        box_write(&box, "paper-cafe", 3);
    }
    struct log_mark mark = box_mark(&box, "paper-cafe");
    struct store_view *view = look(&box);
    cr_assert_eq(store_read_log(view, "paper-cafe", 1, mark.mark, 2, 20, 1000000, out, &n, NULL),
                 ERR_OK);
    cr_assert_eq(n, 11);
    for (size_t i = 0; i < n; i++)
        cr_assert(eq(u64, out[i].seq, i + 2));
    cr_assert_eq(store_read_log(view, "paper-cafe", 1, mark.mark, 2, 5, 1000000, out, &n, NULL),
                 ERR_OK);
    cr_assert_eq(n, 5);
    cr_assert_eq(
        store_read_log(view, "paper-cafe", 1, mark.mark, 2, 20, out[0].len * 3, out, &n, NULL),
        ERR_OK);
    cr_assert_eq(n, 3);
    cr_assert_eq(store_read_log(view, "paper-cafe", 1, mark.mark, 2, 20, 1, out, &n, NULL), ERR_OK);
    cr_assert_eq(n, 1); /* one is always given */
    cr_assert_eq(store_read_log(view, "paper-cafe", 1, mark.mark, 13, 20, 1000, out, &n, NULL),
                 ERR_OK);
    cr_assert_eq(n, 0);
    store_done(&view);
    box_done(&box);
}

Test(append, a_walk_gives_all_records_in_order_of_arrival)
{
    struct box box;
    struct store_walk *walk = NULL;
    struct stored stored;
    uint64_t lsn = 4;
    box_init(&box, "kitchen");
    box_open(&box);
    box_write(&box, "kitchen", 6);
    box_write(&box, "paper-cafe", 6);
    struct store_view *view = look(&box);
    cr_assert_eq(store_walk_open(view, lsn, &walk, NULL), ERR_OK);
    while (store_next(walk, &stored, NULL) == ERR_OK)
        cr_assert(eq(u64, stored.lsn, lsn++));
    cr_assert(eq(u64, lsn, 13));
    store_walk_close(walk);
    store_done(&view);
    box_done(&box);
}

Test(append, a_snapshot_does_not_see_what_is_committed_after_it)
{
    struct box box;
    struct log_mark marks[4];
    size_t n = 0;
    box_init(&box, "kitchen");
    box_open(&box);
    box_write(&box, "kitchen", 2);
    struct store_view *view = look(&box);
    box_write(&box, "kitchen", 3);
    box_write(&box, "paper-cafe", 1);
    cr_assert(eq(u64, store_last(view), 2));
    cr_assert_eq(store_marks(view, NULL, marks, 4, &n, NULL), ERR_OK);
    cr_assert_eq(n, 1);
    cr_assert(eq(u64, marks[0].seq, 2));
    store_done(&view);
    box_done(&box);
}

Test(append, marks_come_by_site_then_epoch)
{
    struct box box;
    struct store_txn *txn = NULL;
    struct log_mark marks[4];
    size_t n = 0;
    box_init(&box, "kitchen");
    box_open(&box);
    box_write(&box, "paper-cafe", 1);
    box_write(&box, "kitchen", 1);
    box_write(&box, "anchor", 1);
    cr_assert_eq(store_begin(box.store, &txn, NULL), ERR_OK);
    cr_assert_eq(store_new_epoch(txn, "kitchen", 0, NULL), ERR_OK);
    cr_assert_eq(store_commit(&txn, NULL), ERR_OK);
    struct store_view *view = look(&box);
    cr_assert_eq(store_marks(view, NULL, marks, 4, &n, NULL), ERR_OK);
    cr_assert_eq(n, 4);
    cr_assert(eq(str, marks[0].site, "anchor"));
    cr_assert(eq(u32, marks[1].epoch, 1));
    cr_assert(eq(u32, marks[2].epoch, 2));
    cr_assert(eq(str, marks[3].site, "paper-cafe"));
    store_done(&view);
    box_done(&box);
}

Test(append, held_is_what_an_import_says_unless_that_is_in_the_future)
{
    struct box box;
    struct store_txn *txn = NULL;
    struct stored stored;
    box_init(&box, "kitchen");
    box_open(&box);
    const struct {
        bool has;
        int64_t claimed, want;
    } rows[] = {
        {false, 0, box.now_ms},
        {true, 1000, 1000},
        {true, box.now_ms, box.now_ms},
        {true, box.now_ms + 1, box.now_ms},
    };
    cr_assert_eq(store_begin(box.store, &txn, NULL), ERR_OK);
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        Knockbox__Record *record = box_note(&box, "x");
        record->has_held_ms = rows[i].has;
        record->held_ms = rows[i].claimed;
        cr_assert_eq(store_append(txn, "kitchen", record, &stored, NULL), ERR_OK);
        cr_assert(eq(i64, stored.held_ms, rows[i].want), "row %zu", i);
    }
    store_abort(&txn);
    box_done(&box);
}

Test(append, a_record_over_its_limit_is_refused_and_the_rest_goes_on)
{
    struct box box;
    struct err_text why = {.s = ""};
    struct store_txn *txn = NULL;
    struct stored stored;
    char *text = malloc(5001);
    memset(text, 'x', 5000);
    text[5000] = '\0';
    box_init(&box, "kitchen");
    box_open(&box);
    cr_assert_eq(store_begin(box.store, &txn, NULL), ERR_OK);
    cr_assert_eq(store_append(txn, "kitchen", box_note(&box, text), &stored, &why), ERR_INPUT);
    cr_assert_not_null(strstr(why.s, "at most 4096"));
    cr_assert_eq(store_append(txn, "kitchen", box_note(&box, "x"), &stored, &why), ERR_OK);
    cr_assert_eq(store_commit(&txn, &why), ERR_OK);
    cr_assert(eq(u64, box_count(&box), 1));
    free(text);
    box_done(&box);
}

Test(append, the_first_of_two_records_with_one_id_is_found_by_it)
{
    struct box box;
    uint64_t lsn = 0;
    uint8_t id[ID_SIZE];
    box_init(&box, "kitchen");
    box_open(&box);
    box_write(&box, "kitchen", 2);
    box.next_id = 0; /* the same ids again */
    box_write(&box, "paper-cafe", 2);
    memcpy(id, box_note(&box, "x")->id.data, ID_SIZE);
    id[15] = 2;
    struct store_view *view = look(&box);
    cr_assert_eq(store_find_id(view, id, &lsn, NULL), ERR_OK);
    cr_assert(eq(u64, lsn, 2));
    store_done(&view);
    box_done(&box);
}

Test(append, notes_are_kept_replaced_and_deleted)
{
    struct box box;
    struct store_txn *txn = NULL;
    char got[8];
    size_t len = 0;
    box_init(&box, "kitchen");
    box_open(&box);
    cr_assert_eq(store_begin(box.store, &txn, NULL), ERR_OK);
    cr_assert_eq(store_note(txn, "sync.acked.1", "one", 3, NULL), ERR_OK);
    cr_assert_eq(store_note(txn, "sync.acked.1", "two!", 4, NULL), ERR_OK);
    cr_assert_eq(store_note(txn, "gone", "x", 1, NULL), ERR_OK);
    cr_assert_eq(store_note(txn, "gone", NULL, 0, NULL), ERR_OK);
    cr_assert_eq(store_commit(&txn, NULL), ERR_OK);
    box_reopen(&box);
    struct store_view *view = look(&box);
    cr_assert_eq(store_noted(view, "sync.acked.1", got, sizeof got, &len, NULL), ERR_OK);
    cr_assert_eq(len, 4);
    cr_assert_arr_eq(got, "two!", 4);
    cr_assert_eq(store_noted(view, "gone", got, sizeof got, &len, NULL), ERR_NOT_FOUND);
    cr_assert_eq(store_noted(view, "sync.acked.1", got, 3, &len, NULL), ERR_INPUT);
    store_done(&view);
    box_done(&box);
}

Test(append, what_was_written_verifies)
{
    struct box box;
    struct err_text why = {.s = ""};
    uint64_t checked = 0;
    box_init(&box, "kitchen");
    box_open(&box);
    for (int i = 0; i < 30; i++) {
        box_write(&box, "kitchen", 400);
        box_write(&box, "paper-cafe", 5);
    }
    cr_assert_eq(store_verify(box.store, &checked, &why), ERR_OK, "%s", why.s);
    cr_assert(eq(u64, checked, 30 * 405)); /* more than one piece of 10000 */
    box_done(&box);
}
