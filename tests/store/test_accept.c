/* test_accept.c - records of other machines: the decision alone, then the store around it. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <criterion/parameterized.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/store/accept.h"
#include "daemon/store/row.h"
#include "tests/store/box.h"

/* ---- the decision */

struct row_whole {
    const char *name;
    struct accept_facts facts; /* have, first, n, claims_fit, prev_fits, same */
    enum accept_result want;
};

static const struct row_whole whole_rows[] = {
    {"the first records of an epoch", {0, 1, 3, true, true, true}, ACCEPT_STORED},
    {"the next ones", {10, 11, 3, true, true, true}, ACCEPT_STORED},
    {"known ones again", {10, 1, 10, true, true, true}, ACCEPT_REPEAT},
    {"the last one again", {10, 10, 1, true, true, true}, ACCEPT_REPEAT},
    {"half of them known", {10, 8, 6, true, true, true}, ACCEPT_STORED},
    {"nothing, at the end", {10, 11, 0, true, true, true}, ACCEPT_REPEAT},
    {"one is missing between", {10, 12, 1, true, true, true}, ACCEPT_GAP},
    {"a gap whatever the hash before", {10, 12, 1, true, false, false}, ACCEPT_GAP},
    {"nothing, after a gap", {10, 12, 0, true, true, true}, ACCEPT_GAP},
    {"hangs on another tenth", {10, 11, 1, true, false, true}, ACCEPT_FORK},
    {"other bytes for a known number", {10, 10, 1, true, true, false}, ACCEPT_FORK},
    {"other bytes, then new ones", {10, 9, 5, true, true, false}, ACCEPT_FORK},
    {"a chain that does not begin with zeros", {0, 1, 1, true, false, true}, ACCEPT_BROKEN},
    {"a claimed hash that is wrong", {10, 11, 1, false, true, true}, ACCEPT_BROKEN},
    {"numbers begin with 1", {0, 0, 1, true, true, true}, ACCEPT_BROKEN},
    {"a number over the most", {10, 1000000000001, 1, true, true, true}, ACCEPT_BROKEN},
    {"the last number there can be",
     {999999999999, 1000000000000, 1, true, true, true},
     ACCEPT_STORED},
    {"past the last number there can be",
     {999999999999, 1000000000000, 2, true, true, true},
     ACCEPT_BROKEN},
};

Test(accept, whole_logs_are_decided_by_the_table)
{
    for (size_t i = 0; i < sizeof whole_rows / sizeof whole_rows[0]; i++)
        cr_expect_eq(accept_decide(&whole_rows[i].facts), whole_rows[i].want, "%s",
                     whole_rows[i].name);
}

struct row_part {
    const char *name;
    struct accept_part_facts facts; /* seq, claims, held, same, before, after, prev_is_zero */
    enum accept_result want;
};

static const struct row_part part_rows[] = {
    {"a new one", {7, true, false, false, true, true, false}, ACCEPT_STORED},
    {"the first of all", {1, true, false, false, true, true, true}, ACCEPT_STORED},
    {"a known one", {7, true, true, true, true, true, false}, ACCEPT_REPEAT},
    {"other bytes for a known number", {7, true, true, false, true, true, false}, ACCEPT_FORK},
    {"hangs on another sixth", {7, true, false, false, false, true, false}, ACCEPT_FORK},
    {"the eighth hangs on another", {7, true, false, false, true, false, false}, ACCEPT_FORK},
    {"the first must hang on zeros", {1, true, false, false, true, true, false}, ACCEPT_BROKEN},
    {"numbers begin with 1", {0, true, false, false, true, true, true}, ACCEPT_BROKEN},
    {"a claimed hash that is wrong", {7, false, false, false, true, true, false}, ACCEPT_BROKEN},
};

Test(accept, logs_in_part_are_decided_by_the_table)
{
    for (size_t i = 0; i < sizeof part_rows / sizeof part_rows[0]; i++)
        cr_expect_eq(accept_part_decide(&part_rows[i].facts), part_rows[i].want, "%s",
                     part_rows[i].name);
}

/* ---- the store around it: 10 records of another machine, made as that machine makes them */

enum {
    N = 10
};
static const uint8_t far_mark[MARK_SIZE] = {1, 2, 3, 4, 5, 6, 7, 8};
static const uint8_t zeros[HASH_SIZE];

struct far {
    uint8_t bytes[N][256];
    uint8_t hash[N + 1][HASH_SIZE]; /* hash[0] zeros */
    struct stored records[N];
};

static void
make_far(struct box *box, struct far *far, const char *text)
{
    memset(far, 0, sizeof *far);
    for (int i = 0; i < N; i++) {
        Knockbox__Record *record = box_note(box, text);
        record->site = (char *)"quayside";
        record->has_seq = 1;
        record->seq = (uint64_t)i + 1;
        struct stored *s = &far->records[i];
        s->len = knockbox__record__pack(record, far->bytes[i]);
        s->bytes = far->bytes[i];
        memcpy(s->id, record->id.data, ID_SIZE);
        chain_link(far->hash[i], s->bytes, s->len, far->hash[i + 1]);
    }
}

/* Offers records first .. first + n - 1 hanging on `prev`, in a transaction of its own. */
static enum accept_result
offer(struct box *box, const struct far *far, uint64_t first, size_t n, const uint8_t *prev,
      struct log_mark *out_mark)
{
    struct err_text why = {.s = ""};
    struct store_txn *txn = NULL;
    struct log_mark mark;
    enum accept_result result = ACCEPT_BROKEN;
    cr_assert_eq(store_begin(box->store, &txn, &why), ERR_OK);
    cr_assert_eq(store_accept(txn, "quayside", 1, far_mark, first, prev, &far->records[first - 1],
                              n, box->now_ms, &result, &mark, &why),
                 ERR_OK, "%s", why.s);
    cr_assert_eq(store_commit(&txn, &why), ERR_OK);
    if (out_mark != NULL)
        *out_mark = mark;
    return result;
}

static void
start(struct box *box, struct far *far)
{
    box_init(box, "kitchen");
    box_open(box);
    make_far(box, far, "as it was");
}

Test(accept, records_are_stored_once_and_repeating_is_harmless)
{
    struct box box;
    static struct far far;
    struct log_mark mark;
    start(&box, &far);
    cr_assert_eq(offer(&box, &far, 1, 4, zeros, &mark), ACCEPT_STORED);
    cr_assert(eq(u64, mark.seq, 4));
    cr_assert_eq(offer(&box, &far, 1, 4, zeros, NULL), ACCEPT_REPEAT);
    cr_assert_eq(offer(&box, &far, 3, 5, far.hash[2], &mark), ACCEPT_STORED);
    cr_assert(eq(u64, mark.seq, 7));
    cr_assert_arr_eq(mark.hash, far.hash[7], HASH_SIZE);
    cr_assert_not(mark.own);
    box_reopen(&box);
    cr_assert(eq(u64, box_count(&box), 7));
    cr_assert_eq(offer(&box, &far, 8, 3, far.hash[7], &mark), ACCEPT_STORED);
    cr_assert(eq(u64, box_mark(&box, "quayside").seq, 10));
    box_done(&box);
}

Test(accept, the_bytes_stay_as_they_came)
{
    struct box box;
    static struct far far;
    struct store_view *view = NULL;
    struct stored stored;
    start(&box, &far);
    cr_assert_eq(offer(&box, &far, 1, N, zeros, NULL), ACCEPT_STORED);
    cr_assert_eq(store_look(box.store, &view, NULL), ERR_OK);
    for (uint64_t n = 1; n <= N; n++) {
        cr_assert_eq(store_get(view, n, &stored, NULL), ERR_OK);
        cr_assert_eq(stored.len, far.records[n - 1].len);
        cr_assert_arr_eq(stored.bytes, far.bytes[n - 1], stored.len);
        cr_assert_arr_eq(stored.hash, far.hash[n], HASH_SIZE);
        cr_assert_arr_eq(stored.id, far.records[n - 1].id, ID_SIZE);
    }
    store_done(&view);
    box_done(&box);
}

Test(accept, a_gap_stores_nothing_and_says_how_far_it_goes)
{
    struct box box;
    static struct far far;
    struct log_mark mark;
    start(&box, &far);
    cr_assert_eq(offer(&box, &far, 5, 2, far.hash[4], &mark), ACCEPT_GAP);
    cr_assert(eq(u64, mark.seq, 0));
    cr_assert(eq(u64, box_mark(&box, "quayside").epoch, 0)); /* not even the log */
    cr_assert_eq(offer(&box, &far, 1, 2, zeros, NULL), ACCEPT_STORED);
    cr_assert_eq(offer(&box, &far, 5, 2, far.hash[4], &mark), ACCEPT_GAP);
    cr_assert(eq(u64, mark.seq, 2));
    cr_assert(eq(u64, box_count(&box), 2));
    box_done(&box);
}

Test(accept, a_fork_stores_nothing_wherever_it_shows)
{
    struct box box;
    static struct far far, other;
    struct log_mark mark;
    start(&box, &far);
    make_far(&box, &other, "as the copy has it");
    cr_assert_eq(offer(&box, &far, 1, 6, zeros, NULL), ACCEPT_STORED);
    cr_assert_eq(offer(&box, &other, 1, 3, zeros, &mark), ACCEPT_FORK);
    cr_assert_eq(offer(&box, &other, 7, 2, other.hash[6], NULL), ACCEPT_FORK);
    cr_assert_eq(offer(&box, &other, 5, 4, other.hash[4], NULL), ACCEPT_FORK);
    cr_assert(eq(u64, mark.seq, 6));
    cr_assert_arr_eq(mark.hash, far.hash[6], HASH_SIZE);
    cr_assert(eq(u64, box_count(&box), 6));
    box_done(&box);
}

Test(accept, a_fork_inside_a_message_is_seen_at_its_first_record)
{
    struct box box;
    static struct far far, other;
    start(&box, &far);
    make_far(&box, &other, "as the copy has it");
    cr_assert_eq(offer(&box, &far, 1, 6, zeros, NULL), ACCEPT_STORED);
    /* numbers 1 to 4 are the same, 5 and on are the copy's */
    for (int i = 4; i < N; i++)
        far.records[i] = other.records[i];
    cr_assert_eq(offer(&box, &far, 3, 6, far.hash[2], NULL), ACCEPT_FORK);
    cr_assert(eq(u64, box_count(&box), 6));
    box_done(&box);
}

Test(accept, a_chain_that_does_not_fit_is_broken)
{
    struct box box;
    static struct far far;
    start(&box, &far);
    cr_assert_eq(offer(&box, &far, 1, 2, far.hash[3], NULL), ACCEPT_BROKEN);
    memcpy(far.records[1].hash, far.hash[5], HASH_SIZE); /* a claim, and a wrong one */
    cr_assert_eq(offer(&box, &far, 1, 2, zeros, NULL), ACCEPT_BROKEN);
    memcpy(far.records[1].hash, far.hash[2], HASH_SIZE);
    far.records[1].seq = 3;
    cr_assert_eq(offer(&box, &far, 1, 2, zeros, NULL), ACCEPT_BROKEN);
    far.records[1].seq = 2;
    cr_assert(eq(u64, box_count(&box), 0));
    cr_assert_eq(offer(&box, &far, 1, 2, zeros, NULL), ACCEPT_STORED);
    box_done(&box);
}

Test(accept, several_in_one_transaction_follow_each_other)
{
    struct box box;
    static struct far far;
    struct store_txn *txn = NULL;
    struct log_mark mark;
    enum accept_result result;
    start(&box, &far);
    cr_assert_eq(store_begin(box.store, &txn, NULL), ERR_OK);
    for (uint64_t first = 1; first <= 9; first += 4) {
        cr_assert_eq(store_accept(txn, "quayside", 1, far_mark, first, far.hash[first - 1],
                                  &far.records[first - 1], first == 9 ? 2 : 4, box.now_ms, &result,
                                  &mark, NULL),
                     ERR_OK);
        cr_assert_eq(result, ACCEPT_STORED);
    }
    cr_assert(eq(u64, mark.seq, 10));
    store_abort(&txn);
    cr_assert(eq(u64, box_count(&box), 0));
    cr_assert(eq(u64, box_mark(&box, "quayside").epoch, 0));
    box_done(&box);
}

Test(accept, a_site_that_takes_its_own_records_back_goes_on_in_a_later_epoch)
{
    struct box box;
    static struct far far;
    start(&box, &far);
    cr_assert_eq(offer(&box, &far, 1, N, zeros, NULL), ACCEPT_STORED);
    box_write(&box, "quayside", 1);
    struct log_mark mark = box_mark(&box, "quayside");
    cr_assert(eq(u32, mark.epoch, 2));
    cr_assert(eq(u64, mark.seq, 1));
    cr_assert(mark.own);
    box_done(&box);
}

/* ---- in part */

static enum accept_result
offer_part(struct box *box, const struct far *far, uint64_t seq, const uint8_t *prev)
{
    struct err_text why = {.s = ""};
    struct store_txn *txn = NULL;
    struct stored record = far->records[seq - 1];
    enum accept_result result = ACCEPT_BROKEN;
    record.seq = seq;
    cr_assert_eq(store_begin(box->store, &txn, &why), ERR_OK);
    cr_assert_eq(
        store_accept_part(txn, "quayside", 1, far_mark, prev, &record, box->now_ms, &result, &why),
        ERR_OK, "%s", why.s);
    cr_assert_eq(store_commit(&txn, &why), ERR_OK);
    return result;
}

Test(accept, parts_of_a_log_come_in_any_order_and_are_found_by_number)
{
    static const uint64_t order[] = {5, 3, 4, 9, 10, 1, 6};
    struct box box;
    static struct far far;
    struct store_view *view = NULL;
    uint64_t checked = 0, lsn = 0;
    struct err_text why = {.s = ""};
    start(&box, &far);
    for (size_t i = 0; i < 7; i++) {
        cr_assert_eq(offer_part(&box, &far, order[i], far.hash[order[i] - 1]), ACCEPT_STORED);
        cr_assert_eq(offer_part(&box, &far, order[i], far.hash[order[i] - 1]), ACCEPT_REPEAT);
    }
    box_reopen(&box);
    cr_assert_eq(store_look(box.store, &view, NULL), ERR_OK);
    for (size_t i = 0; i < 7; i++) {
        cr_assert_eq(store_find_seq(view, "quayside", 1, far_mark, order[i], &lsn, NULL), ERR_OK);
        cr_assert(eq(u64, lsn, i + 1));
    }
    cr_assert_eq(store_find_seq(view, "quayside", 1, far_mark, 2, &lsn, NULL), ERR_NOT_FOUND);
    cr_assert_eq(store_find_seq(view, "quayside", 1, far_mark, 7, &lsn, NULL), ERR_NOT_FOUND);
    cr_assert_eq(store_find_seq(view, "quayside", 1, far_mark, 11, &lsn, NULL), ERR_NOT_FOUND);
    store_done(&view);
    struct log_mark mark = box_mark(&box, "quayside");
    cr_assert(mark.partial);
    cr_assert(eq(u64, mark.seq, 10));
    cr_assert_eq(store_verify(box.store, &checked, &why), ERR_OK, "%s", why.s);
    cr_assert(eq(u64, checked, 7));
    box_done(&box);
}

Test(accept, a_part_that_contradicts_its_neighbours_is_a_fork)
{
    struct box box;
    static struct far far, other;
    start(&box, &far);
    make_far(&box, &other, "as the copy has it");
    cr_assert_eq(offer_part(&box, &far, 3, far.hash[2]), ACCEPT_STORED);
    cr_assert_eq(offer_part(&box, &far, 5, far.hash[4]), ACCEPT_STORED);
    cr_assert_eq(offer_part(&box, &other, 3, other.hash[2]), ACCEPT_FORK); /* the number itself */
    cr_assert_eq(offer_part(&box, &other, 4, other.hash[3]), ACCEPT_FORK); /* both neighbours */
    cr_assert_eq(offer_part(&box, &other, 4, far.hash[3]), ACCEPT_FORK);   /* the one after */
    cr_assert_eq(offer_part(&box, &other, 6, other.hash[5]), ACCEPT_FORK); /* the one before */
    cr_assert_eq(offer_part(&box, &far, 4, far.hash[3]), ACCEPT_STORED);
    cr_assert_eq(offer_part(&box, &far, 1, far.hash[1]), ACCEPT_BROKEN);
    cr_assert(eq(u64, box_count(&box), 3));
    box_done(&box);
}

Test(accept, a_log_is_held_as_a_whole_or_in_part_not_both)
{
    struct box box;
    static struct far far;
    struct err_text why = {.s = ""};
    struct store_txn *txn = NULL;
    enum accept_result result;
    struct log_mark mark;
    start(&box, &far);
    cr_assert_eq(offer_part(&box, &far, 1, zeros), ACCEPT_STORED);
    cr_assert_eq(store_begin(box.store, &txn, NULL), ERR_OK);
    cr_assert_eq(store_accept(txn, "quayside", 1, far_mark, 1, zeros, far.records, 1, box.now_ms,
                              &result, &mark, &why),
                 ERR_INPUT);
    cr_assert_not_null(strstr(why.s, "in part"));
    store_abort(&txn);
    box_done(&box);
}
