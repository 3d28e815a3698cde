/* test_kv.c - the environment: tables, rows, growth, limits, locks. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <unistd.h>
#include "daemon/store/kv.h"
#include "daemon/store/kv_dir.h"
#include "tests/store/box.h"

static struct kv *
open_kv(const char *dir, uint64_t map_mib, uint64_t most_mib)
{
    struct kv_options options = {.map_mib = map_mib, .most_mib = most_mib, .ballast_kib = 64};
    struct err_text why = {.s = ""};
    struct kv *kv = NULL;
    cr_assert_eq(kv_open(dir, &options, &kv, &why), ERR_OK, "%s", why.s);
    return kv;
}

static struct kv_txn *
begin(struct kv *kv)
{
    struct err_text why = {.s = ""};
    struct kv_txn *txn = NULL;
    cr_assert_eq(kv_write(kv, &txn, &why), ERR_OK, "%s", why.s);
    return txn;
}

static MDB_dbi
table(struct kv *kv, const char *name)
{
    struct err_text why = {.s = ""};
    MDB_dbi dbi = 0;
    cr_assert_eq(kv_table(kv, name, &dbi, &why), ERR_OK, "%s", why.s);
    return dbi;
}

static void
put(struct kv_txn *txn, MDB_dbi dbi, const char *key, const char *value)
{
    cr_assert_eq(kv_put(txn, dbi, key, strlen(key), value, strlen(value), false, NULL), ERR_OK);
}

static bool
is(MDB_val got, const char *want)
{
    return got.mv_size == strlen(want) && memcmp(got.mv_data, want, got.mv_size) == 0;
}

Test(kv, rows_are_put_replaced_added_deleted_and_counted)
{
    struct box box;
    MDB_val value;
    uint64_t n = 0;
    bool added = true;
    box_init(&box, "x");
    struct kv *kv = open_kv(box.dir, 8, 8);
    MDB_dbi dbi = table(kv, "rows");
    struct kv_txn *txn = begin(kv);
    put(txn, dbi, "b", "one");
    put(txn, dbi, "b", "two");
    cr_assert_eq(kv_put(txn, dbi, "a", 1, "not last", 8, true, NULL), ERR_OK); /* a hint only */
    cr_assert_eq(kv_add(txn, dbi, "b", 1, "three", 5, &added, NULL), ERR_OK);
    cr_assert_not(added);
    cr_assert_eq(kv_add(txn, dbi, "c", 1, "new", 3, &added, NULL), ERR_OK);
    cr_assert(added);
    cr_assert_eq(kv_del(txn, dbi, "zz", 2, NULL), ERR_OK); /* missing is fine */
    cr_assert_eq(kv_commit(&txn, NULL), ERR_OK);
    cr_assert_null(txn);
    cr_assert_eq(kv_read(kv, &txn, NULL), ERR_OK);
    cr_assert_eq(kv_get(txn, dbi, "b", 1, &value, NULL), ERR_OK);
    cr_assert(is(value, "two"));
    cr_assert_eq(kv_get(txn, dbi, "x", 1, &value, NULL), ERR_NOT_FOUND);
    cr_assert_eq(kv_count(txn, dbi, &n, NULL), ERR_OK);
    cr_assert(eq(u64, n, 3));
    kv_abort(&txn);
    txn = begin(kv);
    cr_assert_eq(kv_clear(txn, dbi, NULL), ERR_OK);
    cr_assert_eq(kv_count(txn, dbi, &n, NULL), ERR_OK);
    cr_assert(eq(u64, n, 0));
    kv_abort(&txn);
    kv_close(kv);
    box_done(&box);
}

Test(kv, a_walk_begins_at_the_first_key_not_before_and_ends)
{
    struct box box;
    struct kv_walk *walk = NULL;
    MDB_val key, value;
    box_init(&box, "x");
    struct kv *kv = open_kv(box.dir, 8, 8);
    MDB_dbi dbi = table(kv, "rows");
    struct kv_txn *txn = begin(kv);
    put(txn, dbi, "a", "1");
    put(txn, dbi, "c", "2");
    put(txn, dbi, "e", "3");
    cr_assert_eq(kv_walk_open(txn, dbi, "b", 1, &walk, NULL), ERR_OK);
    cr_assert_eq(kv_next(walk, &key, &value, NULL), ERR_OK);
    cr_assert(is(key, "c"));
    cr_assert_eq(kv_next(walk, &key, &value, NULL), ERR_OK);
    cr_assert(is(value, "3"));
    cr_assert_eq(kv_next(walk, &key, &value, NULL), ERR_NOT_FOUND);
    kv_walk_close(walk);
    cr_assert_eq(kv_walk_open(txn, dbi, NULL, 0, &walk, NULL), ERR_OK);
    cr_assert_eq(kv_next(walk, &key, &value, NULL), ERR_OK);
    cr_assert(is(key, "a"));
    kv_walk_close(walk);
    kv_abort(&txn);
    kv_close(kv);
    box_done(&box);
}

Test(kv, the_last_key_and_the_last_not_after_a_key_are_found)
{
    static const struct {
        const char *key, *want; /* NULL: none */
    } rows[] = {{"a", NULL}, {"b", "b"}, {"c", "b"}, {"d", "d"}, {"z", "d"}};
    struct box box;
    MDB_val key, value;
    box_init(&box, "x");
    struct kv *kv = open_kv(box.dir, 8, 8);
    MDB_dbi dbi = table(kv, "rows");
    struct kv_txn *txn = begin(kv);
    cr_assert_eq(kv_last(txn, dbi, &key, &value, NULL), ERR_NOT_FOUND);
    cr_assert_eq(kv_floor(txn, dbi, "b", 1, &key, &value, NULL), ERR_NOT_FOUND);
    put(txn, dbi, "b", "1");
    put(txn, dbi, "d", "2");
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        enum err e = kv_floor(txn, dbi, rows[i].key, 1, &key, &value, NULL);
        cr_assert_eq(e, rows[i].want != NULL ? ERR_OK : ERR_NOT_FOUND, "%s", rows[i].key);
        cr_assert(rows[i].want == NULL || is(key, rows[i].want), "%s", rows[i].key);
    }
    cr_assert_eq(kv_last(txn, dbi, &key, &value, NULL), ERR_OK);
    cr_assert(is(key, "d"));
    kv_abort(&txn);
    kv_close(kv);
    box_done(&box);
}

/* 0001-store.md, L15: keys of 1 to 511 bytes. */
Test(kv, a_key_of_no_or_too_many_bytes_is_refused_in_words)
{
    struct box box;
    struct err_text why = {.s = ""};
    char key[512] = {1};
    box_init(&box, "x");
    struct kv *kv = open_kv(box.dir, 8, 8);
    MDB_dbi dbi = table(kv, "rows");
    struct kv_txn *txn = begin(kv);
    cr_assert_eq(kv_put(txn, dbi, key, 511, "x", 1, false, &why), ERR_OK);
    cr_assert_eq(kv_put(txn, dbi, key, 512, "x", 1, false, &why), ERR_INPUT);
    cr_assert_not_null(strstr(why.s, "1 to 511"));
    kv_abort(&txn);
    kv_close(kv);
    box_done(&box);
}

/* 0001-store.md, L9, L10: a second of either kind would hang or take a slot that is not there. */
Test(kv, one_write_and_one_read_at_a_time_and_a_second_is_refused)
{
    struct box box;
    struct err_text why = {.s = ""};
    struct kv_txn *second = NULL, *read = NULL;
    box_init(&box, "x");
    struct kv *kv = open_kv(box.dir, 8, 8);
    struct kv_txn *txn = begin(kv);
    cr_assert_eq(kv_write(kv, &second, &why), ERR_BUSY);
    cr_assert_eq(kv_read(kv, &read, &why), ERR_OK);
    cr_assert_eq(kv_read(kv, &second, &why), ERR_BUSY);
    cr_assert_not_null(strstr(why.s, "read transaction is open"));
    kv_abort(&read);
    kv_abort(&txn);
    kv_abort(&txn); /* NULL inside is fine */
    kv_close(kv);
    box_done(&box);
}

/* Rows of 1000 bytes until `bytes` are used or a put fails. */
static enum err
fill(struct kv *kv, MDB_dbi dbi, uint64_t from, unsigned rows, struct err_text *why)
{
    char value[1000], key[16];
    memset(value, 'x', sizeof value);
    struct kv_txn *txn = NULL;
    enum err e = kv_write(kv, &txn, why);
    for (unsigned i = 0; i < rows && e == ERR_OK; i++) {
        (void)snprintf(key, sizeof key, "%012llu", (unsigned long long)from + i);
        e = kv_put(txn, dbi, key, 12, value, sizeof value, true, why);
    }
    if (txn == NULL)
        return e;
    enum err c = kv_commit(&txn, why);
    return e != ERR_OK ? e : c;
}

/* 0001-store.md, L3: raise the map before it is full. */
Test(kv, the_map_doubles_by_itself_and_keeps_room_for_a_group)
{
    struct box box;
    struct err_text why = {.s = ""};
    box_init(&box, "x");
    struct kv *kv = open_kv(box.dir, 1, 256);
    MDB_dbi dbi = table(kv, "rows");
    uint64_t first = kv_sizes(kv).map_bytes;
    for (unsigned i = 0; i < 40; i++) /* 40 MiB */
        cr_assert_eq(fill(kv, dbi, i * 1000, 1000, &why), ERR_OK, "%s", why.s);
    struct kv_sizes sizes = kv_sizes(kv);
    cr_assert_leq(first, 64u << 20);
    cr_assert_geq(sizes.map_bytes, 80u << 20);
    cr_assert_geq(sizes.map_bytes - sizes.used_bytes, 30u << 20);
    cr_assert_eq(kv_check_pages(kv, &why), ERR_OK, "%s", why.s);
    struct kv_txn *txn = begin(kv);
    cr_assert_eq(kv_clear(txn, dbi, &why), ERR_OK, "%s", why.s); /* a long list of free pages */
    cr_assert_eq(kv_commit(&txn, &why), ERR_OK, "%s", why.s);
    cr_assert_eq(kv_check_pages(kv, &why), ERR_OK, "%s", why.s);
    kv_close(kv);
    box_done(&box);
}

Test(kv, the_map_does_not_move_while_something_is_read)
{
    struct box box;
    struct err_text why = {.s = ""};
    struct kv_txn *read = NULL;
    MDB_val value;
    box_init(&box, "x");
    struct kv *kv = open_kv(box.dir, 40, 256);
    MDB_dbi dbi = table(kv, "rows");
    cr_assert_eq(fill(kv, dbi, 0, 1000, &why), ERR_OK, "%s", why.s);
    cr_assert_eq(kv_read(kv, &read, &why), ERR_OK);
    uint64_t before = kv_sizes(kv).map_bytes;
    for (unsigned i = 1; i < 15; i++)
        cr_assert_eq(fill(kv, dbi, i * 1000, 1000, &why), ERR_OK, "%s", why.s);
    cr_assert(eq(u64, kv_sizes(kv).map_bytes, before));
    cr_assert_eq(kv_get(read, dbi, "000000000999", 12, &value, &why), ERR_OK);
    kv_abort(&read);
    cr_assert_eq(fill(kv, dbi, 20000, 10, &why), ERR_OK, "%s", why.s);
    cr_assert(kv_sizes(kv).map_bytes > before);
    cr_assert_eq(kv_read(kv, &read, &why), ERR_OK);
    cr_assert_eq(kv_get(read, dbi, "000000020009", 12, &value, &why), ERR_OK);
    kv_abort(&read);
    kv_close(kv);
    box_done(&box);
}

Test(kv, a_full_map_names_the_setting_keeps_what_was_there_and_heals_when_raised)
{
    struct box box;
    struct err_text why = {.s = ""};
    struct kv_txn *txn = NULL;
    MDB_val value;
    enum err e = ERR_OK;
    unsigned rounds = 0;
    box_init(&box, "x");
    struct kv *kv = open_kv(box.dir, 1, 2);
    MDB_dbi dbi = table(kv, "rows");
    while (rounds < 100 && (e = fill(kv, dbi, rounds * 100, 100, &why)) == ERR_OK)
        rounds++;
    cr_assert_eq(e, ERR_FULL);
    cr_assert_not_null(strstr(why.s, "store.most_mib"), "%s", why.s);
    cr_assert_not_null(strstr(why.s, "2 MiB"), "%s", why.s);
    cr_assert_not(kv_failed(kv));
    cr_assert_eq(fill(kv, dbi, rounds * 100, 100, &why), ERR_FULL); /* and again */
    cr_assert_eq(kv_read(kv, &txn, &why), ERR_OK);
    cr_assert_eq(kv_get(txn, dbi, "000000000099", 12, &value, &why), ERR_OK);
    kv_abort(&txn);
    cr_assert_eq(kv_check_pages(kv, &why), ERR_OK, "%s", why.s);
    kv_close(kv);
    kv = open_kv(box.dir, 1, 8);
    dbi = table(kv, "rows");
    cr_assert_eq(fill(kv, dbi, rounds * 100, 100, &why), ERR_OK, "%s", why.s);
    kv_close(kv);
    box_done(&box);
}

Test(kv, a_transaction_that_outgrows_the_map_says_so_and_fits_after_that)
{
    struct box box;
    struct err_text why = {.s = ""};
    box_init(&box, "x");
    struct kv *kv = open_kv(box.dir, 1, 256);
    MDB_dbi dbi = table(kv, "rows");
    enum err e = fill(kv, dbi, 0, 80000, &why); /* 80 MiB at once */
    cr_assert_eq(e, ERR_FULL);
    cr_assert_not_null(strstr(why.s, "grows at the next write"), "%s", why.s);
    for (int i = 0; i < 3 && e != ERR_OK; i++)
        e = fill(kv, dbi, 0, 80000, &why);
    cr_assert_eq(e, ERR_OK, "%s", why.s);
    kv_close(kv);
    box_done(&box);
}

/* 0001-store.md, L14: no address space for a larger map. */
Test(kv, a_map_that_cannot_grow_stays_as_it_is_and_says_why_when_full)
{
#ifdef __SANITIZE_ADDRESS__
    cr_skip_test("the address sanitizer takes the address space itself");
#endif
    struct box box;
    struct err_text why = {.s = ""};
    struct rlimit limit;
    long pages = 0;
    enum err e = ERR_OK;
    box_init(&box, "x");
    struct kv *kv = open_kv(box.dir, 40, 1024);
    MDB_dbi dbi = table(kv, "rows");
    FILE *file = fopen("/proc/self/statm", "r");
    cr_assert_eq(fscanf(file, "%ld", &pages), 1);
    (void)fclose(file);
    cr_assert_eq(getrlimit(RLIMIT_AS, &limit), 0);
    rlim_t before = limit.rlim_cur;
    limit.rlim_cur = (rlim_t)pages * 4096 + (8 << 20);
    cr_assert_eq(setrlimit(RLIMIT_AS, &limit), 0);
    unsigned n = 0;
    for (; n < 100 && e == ERR_OK; n++)
        e = fill(kv, dbi, n * 1000, 1000, &why);
    cr_assert_eq(e, ERR_FULL, "%s", why.s);
    cr_assert_eq(fill(kv, dbi, n * 1000, 1000, &why), ERR_MEM);
    cr_assert_not_null(strstr(why.s, "address space"), "%s", why.s);
    cr_assert_not(kv_failed(kv));
    limit.rlim_cur = before;
    cr_assert_eq(setrlimit(RLIMIT_AS, &limit), 0);
    cr_assert_eq(fill(kv, dbi, n * 1000, 1000, &why), ERR_OK, "%s", why.s);
    kv_close(kv);
    box_done(&box);
}

/* 0001-store.md, L8. */
Test(kv, a_second_open_is_refused_in_this_process_and_in_another)
{
    struct box box;
    struct err_text why = {.s = ""};
    struct kv *second = NULL;
    struct kv_options options = {.map_mib = 8};
    char pid[32];
    box_init(&box, "x");
    struct kv *kv = open_kv(box.dir, 8, 8);
    cr_assert_eq(kv_open(box.dir, &options, &second, &why), ERR_BUSY);
    (void)snprintf(pid, sizeof pid, "number %ld", (long)getpid());
    cr_assert_not_null(strstr(why.s, pid), "%s", why.s);
    kv_close(kv);
    cr_assert_eq(kv_open(box.dir, &options, &second, &why), ERR_OK, "%s", why.s);
    kv_close(second);
    box_done(&box);
}

Test(kv, files_are_for_their_owner_only)
{
    static const char *const names[] = {"data.mdb", "lock.mdb", "lock"};
    struct box box;
    struct stat st;
    char path[512];
    box_init(&box, "x");
    (void)snprintf(path, sizeof path, "%s/inner", box.dir);
    (void)umask(0);
    kv_close(open_kv(path, 8, 8));
    cr_assert_eq(stat(path, &st), 0);
    cr_assert_eq(st.st_mode & 07777, 0700);
    for (size_t i = 0; i < 3; i++) {
        (void)snprintf(path, sizeof path, "%s/inner/%s", box.dir, names[i]);
        cr_assert_eq(stat(path, &st), 0);
        cr_assert_eq(st.st_mode & 07777, 0600, "%s", names[i]);
    }
    box_done(&box);
}

Test(kv, a_start_that_was_cut_off_is_begun_again)
{
    struct box box;
    box_init(&box, "x");
    box_spill(box.dir, "data.new", "half", 4);
    kv_close(open_kv(box.dir, 8, 8));
    cr_assert_neq(access(box.dir, F_OK), -1);
    char path[512];
    (void)snprintf(path, sizeof path, "%s/data.new", box.dir);
    cr_assert_eq(access(path, F_OK), -1);
    box_done(&box);
}

Test(kv, read_only_makes_nothing_and_writes_nothing)
{
    struct box box;
    struct err_text why = {.s = ""};
    struct kv_options options = {.map_mib = 8, .read_only = true};
    struct kv *kv = NULL;
    struct kv_txn *txn = NULL;
    MDB_dbi dbi;
    box_init(&box, "x");
    cr_assert_eq(kv_open(box.dir, &options, &kv, &why), ERR_NOT_FOUND);
    kv = open_kv(box.dir, 8, 8);
    (void)table(kv, "rows");
    kv_close(kv);
    cr_assert_eq(kv_open(box.dir, &options, &kv, &why), ERR_OK, "%s", why.s);
    cr_assert_eq(kv_table(kv, "rows", &dbi, &why), ERR_OK, "%s", why.s);
    cr_assert_eq(kv_table(kv, "others", &dbi, &why), ERR_NOT_FOUND);
    cr_assert_eq(kv_write(kv, &txn, &why), ERR_DENIED);
    kv_close(kv);
    box_done(&box);
}

Test(kv, a_copy_is_a_store_and_never_replaces_a_file)
{
    struct box box;
    struct err_text why = {.s = ""};
    char file[600], dir[512];
    MDB_val value;
    struct kv_txn *txn = NULL;
    box_init(&box, "x");
    struct kv *kv = open_kv(box.dir, 8, 8);
    MDB_dbi dbi = table(kv, "rows");
    cr_assert_eq(fill(kv, dbi, 0, 100, &why), ERR_OK);
    (void)snprintf(dir, sizeof dir, "%s/copy", box.dir);
    (void)snprintf(file, sizeof file, "%s/data.mdb", dir);
    cr_assert_eq(kv_copy(kv, file, &why), ERR_NOT_FOUND); /* no such folder */
    cr_assert_eq(mkdir(dir, 0700), 0);
    cr_assert_eq(kv_copy(kv, file, &why), ERR_OK, "%s", why.s);
    cr_assert_eq(kv_copy(kv, file, &why), ERR_INPUT);
    txn = begin(kv);
    cr_assert_eq(kv_copy(kv, "elsewhere", &why), ERR_BUSY);
    kv_abort(&txn);
    kv_close(kv);
    kv = open_kv(dir, 8, 8);
    dbi = table(kv, "rows");
    cr_assert_eq(kv_read(kv, &txn, &why), ERR_OK);
    cr_assert_eq(kv_get(txn, dbi, "000000000099", 12, &value, &why), ERR_OK);
    kv_abort(&txn);
    kv_close(kv);
    box_done(&box);
}

/* statfs(2): numbers of linux/magic.h. 0001-store.md, L16. */
Test(kv, network_and_user_space_file_systems_are_refused_local_ones_not)
{
    static const struct {
        long type;
        const char *word;
    } rows[] = {{0x6969, "NFS"},    {0xFF534D42, "CIFS"}, {0xFE534D42, "SMB"},
                {0x517B, "SMB"},    {0x65735546, "FUSE"}, {0xEF53, NULL},
                {0x01021994, NULL}, {0x58465342, NULL},   {0x9123683E, NULL}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const char *word = kv_dir_refused(rows[i].type);
        cr_expect_eq(word == NULL, rows[i].word == NULL, "%lx", rows[i].type);
        cr_expect(word == NULL || rows[i].word == NULL || strcmp(word, rows[i].word) == 0);
    }
}

/* 0001-store.md, L5: a held reader makes the file grow; a short one does not. */
Test(kv, a_reader_that_is_done_lets_pages_be_used_again)
{
    struct box box;
    struct err_text why = {.s = ""};
    struct kv_txn *read = NULL;
    box_init(&box, "x");
    struct kv *kv = open_kv(box.dir, 64, 64);
    MDB_dbi dbi = table(kv, "rows");
    for (int i = 0; i < 5; i++)
        cr_assert_eq(fill(kv, dbi, 0, 200, &why), ERR_OK);
    uint64_t before = kv_sizes(kv).used_bytes;
    for (int i = 0; i < 50; i++) { /* read, done, write: in turn */
        cr_assert_eq(kv_read(kv, &read, &why), ERR_OK);
        kv_abort(&read);
        cr_assert_eq(fill(kv, dbi, 0, 200, &why), ERR_OK);
    }
    uint64_t renewed = kv_sizes(kv).used_bytes;
    cr_assert_eq(kv_read(kv, &read, &why), ERR_OK);
    for (int i = 0; i < 50; i++)
        cr_assert_eq(fill(kv, dbi, 0, 200, &why), ERR_OK);
    uint64_t held = kv_sizes(kv).used_bytes;
    kv_abort(&read);
    cr_assert_leq(renewed, before * 3);
    cr_assert(held > renewed * 5, "%llu, %llu", (unsigned long long)held,
              (unsigned long long)renewed);
    kv_close(kv);
    box_done(&box);
}

Test(kv, upkeep_makes_the_ballast_and_takes_no_part_of_a_transaction)
{
    struct box box;
    box_init(&box, "x");
    struct kv *kv = open_kv(box.dir, 8, 8);
    struct kv_txn *txn = begin(kv);
    kv_upkeep(kv);
    cr_assert_not(kv_sizes(kv).ballast);
    kv_abort(&txn);
    kv_upkeep(kv);
    cr_assert(kv_sizes(kv).ballast);
    cr_assert(eq(u64, kv_sizes(kv).disk_keep, 64 * 1024));
    kv_close(kv);
    box_done(&box);
}

/* The page check must never cry wolf: rows of all sizes come and go, and it stays content. */
Test(kv, the_page_check_is_content_with_whatever_lmdb_writes)
{
    struct box box;
    struct err_text why = {.s = ""};
    static char value[70000];
    const char *text = getenv("TEST_SEED");
    uint64_t seed = text != NULL ? strtoull(text, NULL, 10) : 20260303, x = seed;
    box_init(&box, "x");
    struct kv *kv = open_kv(box.dir, 64, 256);
    MDB_dbi dbis[3] = {table(kv, "a"), table(kv, "b"), table(kv, "c")};
    for (int round = 0; round < 150; round++) {
        struct kv_txn *txn = begin(kv);
        for (int i = 0; i < 60; i++) {
            char key[40];
            x = x * 6364136223846793005u + 1442695040888963407u;
            uint64_t r = x >> 33;
            int len = snprintf(key, sizeof key, "%0*llu", (int)(r % 30) + 1,
                               (unsigned long long)(r >> 5) % 3000);
            size_t size = r % 97 == 0 ? r % sizeof value : r % 600;
            MDB_dbi dbi = dbis[r % 3];
            if (r % 5 < 2)
                cr_assert_eq(kv_del(txn, dbi, key, (size_t)len, &why), ERR_OK, "%s", why.s);
            else
                cr_assert_eq(kv_put(txn, dbi, key, (size_t)len, value, size, false, &why), ERR_OK,
                             "%s", why.s);
        }
        if (round % 37 == 36)
            cr_assert_eq(kv_clear(txn, dbis[round % 3], &why), ERR_OK, "%s", why.s);
        if (round % 11 == 10)
            kv_abort(&txn);
        else
            cr_assert_eq(kv_commit(&txn, &why), ERR_OK, "%s", why.s);
        cr_assert_eq(kv_check_pages(kv, &why), ERR_OK, "seed %llu round %d: %s",
                     (unsigned long long)seed, round, why.s);
    }
    kv_close(kv);
    box_done(&box);
}
