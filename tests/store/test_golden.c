/* test_golden.c - stores of released formats open, verify and are written on; the page that shows
 * one byte by byte tells the truth.
 *
 * tests/golden/v1/store/data.mdb was made by make() below:
 *     GOLDEN_OUT=FOLDER test_store_golden --filter 'golden/a_store_is_made_when_asked'
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>
#include "daemon/store/row.h"
#include "tests/store/box.h"

static const uint8_t hub_mark[MARK_SIZE] = {0xA1, 0xA2, 0xA3, 0xA4, 0xA5, 0xA6, 0xA7, 0xA8};

/* A record of the hub's log, seen in part. */
static void
accept_part(struct box *box, uint64_t seq, const char *text)
{
    uint8_t bytes[512], prev[HASH_SIZE];
    struct store_txn *txn = NULL;
    enum accept_result result = ACCEPT_BROKEN;
    Knockbox__Record *record = box_note(box, text);
    record->site = (char *)"kitchen";
    record->has_epoch = record->has_mark = record->has_seq = 1;
    record->epoch = 1;
    record->mark = (ProtobufCBinaryData){.len = MARK_SIZE, .data = (uint8_t *)(uintptr_t)hub_mark};
    record->seq = seq;
    struct stored stored = {.seq = seq, .bytes = bytes};
    memcpy(stored.id, record->id.data, ID_SIZE);
    stored.len = knockbox__record__pack(record, bytes);
    memset(prev, (int)seq, sizeof prev);
    cr_assert_eq(store_begin(box->store, &txn, NULL), ERR_OK);
    cr_assert_eq(
        store_accept_part(txn, "kitchen", 1, hub_mark, prev, &stored, box->now_ms, &result, NULL),
        ERR_OK);
    cr_assert_eq(result, ACCEPT_STORED);
    cr_assert_eq(store_commit(&txn, NULL), ERR_OK);
}

/* Nine records: two epochs of the own log, a log of another site, two of the hub's in part. */
static void
make(struct box *box)
{
    struct store_txn *txn = NULL;
    box_open(box);
    box_write(box, "quayside", 3);
    accept_part(box, 4, "run R7 on Thursday");
    box_write(box, "paper-cafe", 2);
    accept_part(box, 9, "run R8 on Friday");
    cr_assert_eq(store_begin(box->store, &txn, NULL), ERR_OK);
    cr_assert_eq(store_new_epoch(txn, "quayside", 0, NULL), ERR_OK);
    cr_assert_eq(store_note(txn, "sync.acked.1", "3", 1, NULL), ERR_OK);
    cr_assert_eq(store_commit(&txn, NULL), ERR_OK);
    box_write(box, "quayside", 2);
}

Test(golden, a_store_is_made_when_asked)
{
    const char *out = getenv("GOLDEN_OUT");
    struct box box;
    size_t len = 0;
    if (out == NULL)
        cr_skip_test("GOLDEN_OUT is not set");
    box_init(&box, "quayside");
    box.options.map_mib = 1;
    make(&box);
    box_close(&box);
    uint8_t *bytes = box_slurp(box.dir, "data.mdb", &len);
    box_spill(out, "data.mdb", bytes, len);
    free(bytes);
    box_done(&box);
}

/* A copy of the store of version `v`, not opened. */
static void
take_golden(struct box *box, const char *v)
{
    char from[600];
    size_t len = 0;
    (void)snprintf(from, sizeof from, "%s/tests/golden/%s/store", TEST_SOURCE, v);
    uint8_t *bytes = box_slurp(from, "data.mdb", &len);
    box_init(box, "quayside");
    box_spill(box->dir, "data.mdb", bytes, len);
    free(bytes);
}

static void
expect_mark(struct box *box, const char *site, uint32_t epoch, uint64_t seq)
{
    struct log_mark mark = box_mark(box, site);
    cr_assert(eq(u32, mark.epoch, epoch), "%s", site);
    cr_assert(eq(u64, mark.seq, seq), "%s", site);
}

Test(golden, a_store_of_format_1_opens_verifies_and_is_written_on)
{
    struct box box;
    struct err_text why = {.s = ""};
    uint64_t checked = 0;
    char note[4];
    size_t len = 0;
    struct store_view *view = NULL;
    take_golden(&box, "v1");
    box_open(&box);
    cr_assert_eq(store_verify(box.store, &checked, &why), ERR_OK, "%s", why.s);
    cr_assert(eq(u64, checked, 9));
    expect_mark(&box, "quayside", 2, 2);
    expect_mark(&box, "paper-cafe", 1, 2);
    expect_mark(&box, "kitchen", 1, 9);
    cr_assert_eq(store_look(box.store, &view, NULL), ERR_OK);
    cr_assert_eq(store_noted(view, "sync.acked.1", note, sizeof note, &len, NULL), ERR_OK);
    store_done(&view);
    box.next_id = 100;
    box_write(&box, "quayside", 5);
    cr_assert_eq(store_verify(box.store, &checked, &why), ERR_OK, "%s", why.s);
    expect_mark(&box, "quayside", 2, 7);
    box_done(&box);
}

/* ---- docs/store-format.md: the bytes in the tables between `<!-- NAME -->` and `<!-- end -->`,
 * second column, put together. */

static size_t
documented(const char *name, uint8_t *out, size_t size)
{
    size_t len = 0, n = 0;
    char *text = (char *)box_slurp(TEST_SOURCE "/docs", "store-format.md", &len);
    text[len] = '\0';
    char *at = strstr(text, name);
    cr_assert_not_null(at, "%s", name);
    char *end = strstr(at, "<!-- end -->");
    cr_assert_not_null(end, "%s", name);
    *end = '\0';
    for (char *line = strstr(at, "\n| "); line != NULL; line = strstr(line + 1, "\n| ")) {
        char *cell = strchr(line + 3, '|');
        for (cell++; *cell != '|' && *cell != '\0'; cell++) {
            if (!isxdigit((unsigned char)cell[0]) || !isxdigit((unsigned char)cell[1]))
                continue;
            char pair[3] = {cell[0], cell[1], '\0'};
            cr_assert_lt(n, size);
            out[n++] = (uint8_t)strtoul(pair, NULL, 16);
            cell++;
        }
    }
    free(text);
    return n;
}

static void
expect_documented(struct box *box, const char *name, const char *table, const void *key,
                  size_t key_len)
{
    uint8_t want[2048];
    struct store_view *view = NULL;
    MDB_dbi dbi;
    MDB_val value;
    size_t n = documented(name, want, sizeof want);
    cr_assert_eq(kv_table_there(store_kv(box->store), table, &dbi, NULL), ERR_OK);
    cr_assert_eq(store_look(box->store, &view, NULL), ERR_OK);
    cr_assert_eq(kv_get(store_view_txn(view), dbi, key, key_len, &value, NULL), ERR_OK);
    cr_assert_eq(value.mv_size, n, "%s: %zu bytes, the page shows %zu", name, value.mv_size, n);
    cr_assert_arr_eq(value.mv_data, want, n, "%s", name);
    store_done(&view);
}

Test(golden, the_page_on_the_format_shows_the_bytes_of_this_store)
{
    static const uint8_t second[8] = {0, 0, 0, 0, 0, 0, 0, 2}, first_log[4] = {0, 0, 0, 1},
                         run[12] = {0, 0, 0, 1, 0, 0, 0, 0, 0, 0, 0, 1};
    struct box box;
    take_golden(&box, "v1");
    box_open(&box);
    expect_documented(&box, "<!-- records 2 -->", "records", second, sizeof second);
    expect_documented(&box, "<!-- logs 1 -->", "logs", first_log, sizeof first_log);
    expect_documented(&box, "<!-- runs 1 1 -->", "runs", run, sizeof run);
    expect_documented(&box, "<!-- meta format -->", "meta", "format", 6);
    box_done(&box);
}
