/* test_number.c - a head page whose number rotted is found and put right; nothing is missing.
 *
 * Source of the rule: lmdb 0.9.24, mdb.c (kv_number.h). What is tried here: common practice, no source. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>
#include "daemon/store/kv_number.h"
#include "tests/store/box.h"

enum {
    ALL_BITS = 64
};

static void
flip(struct box *box, size_t at, unsigned bit)
{
    size_t len = 0;
    uint8_t *bytes = box_slurp(box->dir, "data.mdb", &len);
    bytes[at + bit / 8] ^= (uint8_t)(1u << bit % 8);
    box_spill(box->dir, "data.mdb", bytes, len);
    free(bytes);
}

/* Who only reads says so and changes nothing; a daemon puts it right and goes on. */
static void
expect_put_right(struct box *box, uint64_t records)
{
    struct err_text why = {.s = ""};
    uint64_t checked = 0;
    box->options.read_only = true;
    cr_expect(eq(int, store_open(box->dir, &box->options, &box->store, &why), ERR_DAMAGED));
    cr_expect(strstr(why.s, "not the number of its commit") != NULL, "%s", why.s);
    box->options.read_only = false;
    box_open(box);
    cr_assert(store_mended(box->store) != NULL);
    cr_expect(strstr(store_mended(box->store), "nothing is missing") != NULL);
    cr_expect(eq(int, store_verify(box->store, &checked, &why), ERR_OK), "%s", why.s);
    cr_expect(eq(u64, checked, records));
    cr_expect(eq(u32, box_mark(box, "quayside").epoch, 1));
    box_reopen(box);
    cr_expect(store_mended(box->store) == NULL);
    box_close(box);
}

/* The second bit (value 2) makes the older head the newer one, or the newer one the older. */
Test(number, of_either_head_page_with_any_bit_flipped_is_put_right_and_nothing_is_missing)
{
    static const unsigned bits[] = {0, 1, 2, 3, 9, 31, 63};
    struct box box;
    box_init(&box, "quayside");
    for (uint64_t n = 1; n <= 4; n++) {
        box_open(&box);
        box_write(&box, "quayside", 1);
        box_close(&box);
        for (size_t page = 0; page < 2; page++)
            for (size_t i = 0; i < sizeof bits / sizeof bits[0]; i++) {
                flip(&box, page * PAGE_SIZE + PAGE_HEAD_TXN, bits[i]);
                expect_put_right(&box, n);
            }
    }
    box_done(&box);
}

/* ---- a busy environment, looked at after each commit */

struct busy {
    char dir[256];
    struct kv *kv;
    MDB_dbi table;
    uint64_t random;
};

static uint64_t
next_random(struct busy *busy)
{
    uint64_t z = busy->random += 0x9e3779b97f4a7c15U; /* splitmix64 (Steele, Lea, Flood 2014) */
    z = (z ^ z >> 30) * 0xbf58476d1ce4e5b9U;
    z = (z ^ z >> 27) * 0x94d049bb133111ebU;
    return z ^ z >> 31;
}

static void
commit_something(struct busy *busy)
{
    static const uint8_t value[9000];
    struct kv_txn *txn = NULL;
    cr_assert_eq(kv_write(busy->kv, &txn, NULL), ERR_OK);
    for (uint64_t n = next_random(busy) % 12 + 1; n > 0; n--) {
        uint16_t key = (uint16_t)(next_random(busy) % 300);
        size_t len = next_random(busy) % 4 == 0 ? sizeof value : next_random(busy) % 700;
        if (next_random(busy) % 3 == 0)
            cr_assert_eq(kv_del(txn, busy->table, &key, sizeof key, NULL), ERR_OK);
        else
            cr_assert_eq(kv_put(txn, busy->table, &key, sizeof key, value, len, false, NULL),
                         ERR_OK);
    }
    cr_assert_eq(kv_commit(&txn, NULL), ERR_OK);
}

/* As it is: nothing wrong. With one bit of a number flipped: that one. */
static void
look(const char *dir, const char *name)
{
    char path[400];
    size_t len = 0;
    struct page_head heads[2];
    uint64_t number = 0;
    (void)snprintf(path, sizeof path, "%s/%s", dir, name);
    uint8_t *bytes = box_slurp(dir, name, &len);
    int fd = open(path, O_RDONLY | O_CLOEXEC);
    cr_assert(fd >= 0);
    for (int i = 0; i < 2; i++)
        heads[i] = page_head_of(bytes + (size_t)i * PAGE_SIZE);
    cr_expect(eq(int, kv_number_wrong(fd, heads, len, &number), -1));
    for (int i = 0; i < 2 && heads[0].txn + heads[1].txn > 0; i++)
        for (unsigned bit = 0; bit < ALL_BITS; bit++) {
            uint64_t right = heads[i].txn;
            heads[i].txn ^= (uint64_t)1 << bit;
            cr_expect(kv_number_wrong(fd, heads, len, &number) == i && number == right,
                      "head %d of %llu, bit %u", i, (unsigned long long)right, bit);
            heads[i].txn = right;
        }
    cr_assert_eq(close(fd), 0);
    free(bytes);
}

/* From the first commit on, with pages used again, big values, a reader that holds old pages, opened
 * again now and then, and as a copy. */
Test(number, of_no_healthy_commit_is_called_wrong)
{
    struct box box;
    struct kv_options options = {.map_mib = 8};
    struct busy busy = {.random = 20260303};
    struct kv_txn *reader = NULL;
    char copy[400];
    box_init(&box, "quayside");
    (void)snprintf(busy.dir, sizeof busy.dir, "%s", box.dir);
    (void)snprintf(copy, sizeof copy, "%s/copy.mdb", box.dir);
    for (int i = 0; i < 100; i++) {
        if (i % 10 == 0) {
            kv_close(busy.kv);
            cr_assert_eq(kv_open(busy.dir, &options, &busy.kv, NULL), ERR_OK);
            cr_expect(kv_numbered(busy.kv) == false);
            look(busy.dir, "data.mdb");
            cr_assert_eq(kv_table(busy.kv, "rows", &busy.table, NULL), ERR_OK);
            look(busy.dir, "data.mdb");
        }
        if (i % 10 == 3)
            cr_assert_eq(kv_read(busy.kv, &reader, NULL), ERR_OK);
        commit_something(&busy);
        look(busy.dir, "data.mdb");
        if (i % 10 == 8)
            kv_abort(&reader);
        if (i % 50 == 49) {
            cr_assert_eq(kv_copy(busy.kv, copy, NULL), ERR_OK);
            look(busy.dir, "copy.mdb");
            cr_assert_eq(unlink(copy), 0);
        }
    }
    kv_close(busy.kv);
    box_done(&box);
}

/* Where the newer head's list of free pages keeps its last key, in the file. */
static size_t
last_free_key(const uint8_t *bytes)
{
    struct page page;
    struct page_node node;
    struct page_head a = page_head_of(bytes), b = page_head_of(bytes + PAGE_SIZE);
    uint64_t root = a.txn > b.txn ? a.free.root : b.free.root;
    cr_assert(page_open(bytes + root * PAGE_SIZE, root, true, &page) == NULL);
    cr_assert(page_node(&page, page.n - 1, &node) == NULL);
    return (size_t)(node.key - bytes);
}

/* The list rots, not the head: no commit is taken back for it. */
Test(number, is_not_changed_for_a_list_that_rotted)
{
    struct box box;
    size_t len = 0;
    box_init(&box, "quayside");
    box_open(&box);
    for (int i = 0; i < 6; i++)
        box_write(&box, "quayside", 1);
    box_close(&box);
    uint8_t *bytes = box_slurp(box.dir, "data.mdb", &len);
    size_t at = last_free_key(bytes);
    box.options.read_only = true;
    for (unsigned bit = 0; bit < ALL_BITS; bit++) {
        struct err_text why = {.s = ""};
        flip(&box, at, bit);
        enum err e = store_open(box.dir, &box.options, &box.store, &why);
        cr_expect(e == ERR_OK || strstr(why.s, "not the number") == NULL, "bit %u: %s", bit, why.s);
        if (e == ERR_OK)
            cr_expect(eq(u64, box_count(&box), 6), "bit %u", bit);
        box_close(&box);
        box_spill(box.dir, "data.mdb", bytes, len);
    }
    free(bytes);
    box_done(&box);
}
