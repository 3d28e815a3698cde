/* test_damage.c - what is not ours, newer, torn or rotten is named and left alone. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <fcntl.h>
#include <lmdb.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>
#include "daemon/store/kv_page.h"
#include "daemon/store/row.h"
#include "tests/store/box.h"

/* A closed store with 60 records of two sites, and a note. */
static void
fill_box(struct box *box)
{
    struct store_txn *txn = NULL;
    box_init(box, "kitchen");
    box_open(box);
    for (int i = 0; i < 4; i++) {
        box_write(box, "kitchen", 10);
        box_write(box, "paper-cafe", 5);
    }
    cr_assert_eq(store_begin(box->store, &txn, NULL), ERR_OK);
    cr_assert_eq(store_note(txn, "acked", "40", 2, NULL), ERR_OK);
    cr_assert_eq(store_commit(&txn, NULL), ERR_OK);
    box_close(box);
}

/* Opening gives `want` and words with `words`, and data.mdb stays as it is. */
static void
refuses(struct box *box, enum err want, const char *words)
{
    struct err_text why = {.s = ""};
    size_t before_len = 0, after_len = 0;
    uint8_t *before = box_slurp(box->dir, "data.mdb", &before_len);
    enum err e = store_open(box->dir, &box->options, &box->store, &why);
    uint8_t *after = box_slurp(box->dir, "data.mdb", &after_len);
    cr_assert_eq(e, want, "%s: %s", err_word(e), why.s);
    cr_assert_not_null(strstr(why.s, words), "%s", why.s);
    cr_assert_eq(before_len, after_len);
    cr_assert_eq(memcmp(before, after, before_len), 0);
    free(before);
    free(after);
}

/* Puts a row of `meta` with its check. */
static void
put_meta(struct box *box, const char *name, uint64_t n)
{
    struct kv_options options = {.map_mib = 8};
    struct kv *kv = NULL;
    struct kv_txn *txn = NULL;
    MDB_dbi meta = 0;
    uint8_t value[8 + VALUE_CHECK];
    put_number(value, n, 8);
    value_seal(name, strlen(name), value, 8);
    cr_assert_eq(kv_open(box->dir, &options, &kv, NULL), ERR_OK);
    cr_assert_eq(kv_table(kv, "meta", &meta, NULL), ERR_OK);
    cr_assert_eq(kv_write(kv, &txn, NULL), ERR_OK);
    cr_assert_eq(kv_put(txn, meta, name, strlen(name), value, sizeof value, false, NULL), ERR_OK);
    cr_assert_eq(kv_commit(&txn, NULL), ERR_OK);
    kv_close(kv);
}

Test(damage, a_newer_format_is_refused_untouched)
{
    struct box box;
    fill_box(&box);
    put_meta(&box, "format", 2);
    put_meta(&box, "reads_from", 2);
    refuses(&box, ERR_FORMAT, "format 2");
    box.options.read_only = true;
    refuses(&box, ERR_FORMAT, "format 2");
    box_done(&box);
}

Test(damage, a_newer_format_that_says_we_can_read_it_is_read_but_not_written)
{
    struct box box;
    struct store_txn *txn = NULL;
    fill_box(&box);
    put_meta(&box, "format", 2);
    refuses(&box, ERR_FORMAT, "format 2");
    box.options.read_only = true;
    box_open(&box);
    cr_assert(eq(u64, box_count(&box), 60));
    cr_assert_eq(store_begin(box.store, &txn, NULL), ERR_DENIED);
    box_done(&box);
}

Test(damage, the_store_of_another_site_is_refused)
{
    struct box box;
    fill_box(&box);
    box.options.site = "quayside";
    refuses(&box, ERR_INPUT, "site kitchen, not of quayside");
    box.options.site = NULL; /* whatever it is */
    box_open(&box);
    cr_assert(eq(str, (char *)store_site(box.store), "kitchen"));
    box_done(&box);
}

Test(damage, a_new_store_needs_a_name)
{
    struct box box;
    struct err_text why = {.s = ""};
    char name[70];
    box_init(&box, NULL);
    cr_assert_eq(store_open(box.dir, &box.options, &box.store, &why), ERR_INPUT);
    memset(name, 'x', 65);
    name[65] = '\0';
    box.options.site = name;
    cr_assert_eq(store_open(box.dir, &box.options, &box.store, &why), ERR_INPUT);
    name[64] = '\0';
    box_open(&box);
    box_write(&box, name, 1);
    box_reopen(&box);
    cr_assert(eq(u64, box_mark(&box, name).seq, 1));
    box_done(&box);
}

Test(damage, a_file_of_something_else_is_refused)
{
    static const char text[5000] = "once upon a time";
    struct box box;
    box_init(&box, "kitchen");
    box_spill(box.dir, "data.mdb", text, sizeof text);
    refuses(&box, ERR_FORMAT, "is not a store");
    box_spill(box.dir, "data.mdb", text, 3);
    refuses(&box, ERR_FORMAT, "is not a store");
    box_spill(box.dir, "data.mdb", "", 0);
    refuses(&box, ERR_DAMAGED, "is empty");
    box_done(&box);
}

/* Else a café would not be told that `rescue` saves what can be read. */
Test(damage, a_store_without_its_two_head_pages_is_a_damaged_one)
{
    struct box box;
    size_t len = 0;
    fill_box(&box);
    uint8_t *bytes = box_slurp(box.dir, "data.mdb", &len);
    memset(bytes, 'Z', (size_t)2 * PAGE_SIZE);
    box_spill(box.dir, "data.mdb", bytes, len);
    refuses(&box, ERR_DAMAGED, "both its head pages are rubbish");
    memset(bytes, 'Z', len);
    box_spill(box.dir, "data.mdb", bytes, len);
    refuses(&box, ERR_FORMAT, "is not a store");
    free(bytes);
    box_done(&box);
}

Test(damage, a_folder_in_its_place_is_refused)
{
    struct box box;
    struct err_text why = {.s = ""};
    char path[300];
    box_init(&box, "kitchen");
    (void)snprintf(path, sizeof path, "%s/data.mdb", box.dir);
    cr_assert_eq(mkdir(path, 0700), 0);
    cr_assert_eq(store_open(box.dir, &box.options, &box.store, &why), ERR_FORMAT, "%s", why.s);
    box_done(&box);
}

/* An LMDB file of another program: its rows in the main table, or tables of its own. */
static void
write_foreign(const char *dir, const char *name)
{
    MDB_env *env = NULL;
    MDB_txn *txn = NULL;
    MDB_dbi dbi;
    MDB_val key = {3, (void *)(uintptr_t) "key"};
    cr_assert_eq(mdb_env_create(&env), 0);
    cr_assert_eq(mdb_env_set_maxdbs(env, 2), 0);
    cr_assert_eq(mdb_env_open(env, dir, 0, 0600), 0);
    cr_assert_eq(mdb_txn_begin(env, NULL, 0, &txn), 0);
    cr_assert_eq(mdb_dbi_open(txn, name, name != NULL ? MDB_CREATE : 0, &dbi), 0);
    cr_assert_eq(mdb_put(txn, dbi, &key, &key, 0), 0);
    cr_assert_eq(mdb_txn_commit(txn), 0);
    mdb_env_close(env);
}

Test(damage, another_programs_lmdb_file_is_refused_with_a_table)
{
    struct box box;
    box_init(&box, "kitchen");
    write_foreign(box.dir, "songs");
    refuses(&box, ERR_FORMAT, "another program");
    box_done(&box);
}

Test(damage, another_programs_lmdb_file_is_refused_without_tables)
{
    struct box box;
    box_init(&box, "kitchen");
    write_foreign(box.dir, NULL);
    refuses(&box, ERR_FORMAT, "another program");
    box_done(&box);
}

Test(damage, a_file_cut_at_any_page_is_refused)
{
    struct box box;
    size_t len = 0;
    fill_box(&box);
    uint8_t *whole = box_slurp(box.dir, "data.mdb", &len);
    size_t used = len;
    for (size_t cut = PAGE_SIZE; cut < used; cut += PAGE_SIZE) {
        struct err_text why = {.s = ""};
        box_spill(box.dir, "data.mdb", whole, cut);
        enum err e = store_open(box.dir, &box.options, &box.store, &why);
        if (e == ERR_OK) { /* only pages that are free were cut off */
            uint64_t checked = 0;
            cr_assert_eq(store_verify(box.store, &checked, &why), ERR_OK, "%s", why.s);
            cr_assert(eq(u64, checked, 60));
        } else {
            cr_assert_eq(e, ERR_DAMAGED, "cut at %zu: %s", cut, why.s);
        }
        box_close(&box);
    }
    box_spill(box.dir, "data.mdb", whole, len);
    box_open(&box);
    cr_assert(eq(u64, box_count(&box), 60));
    free(whole);
    box_done(&box);
}

/* Finds `text` in `bytes` and returns where, from `from` on. */
static size_t
find(const uint8_t *bytes, size_t len, size_t from, const char *text)
{
    for (size_t i = from; i + strlen(text) <= len; i++)
        if (memcmp(bytes + i, text, strlen(text)) == 0)
            return i;
    cr_assert(false, "no %s", text);
    return 0;
}

Test(damage, a_flipped_bit_in_a_record_is_found_by_reading_it_and_by_verify)
{
    struct box box;
    struct err_text why = {.s = ""};
    uint64_t checked = 0;
    struct store_view *view = NULL;
    struct stored stored;
    size_t len = 0;
    unsigned bad = 0;
    fill_box(&box);
    uint8_t *bytes = box_slurp(box.dir, "data.mdb", &len);
    bytes[find(bytes, len, 0, "tub lid was loose")] ^= 1;
    box_spill(box.dir, "data.mdb", bytes, len);
    box_open(&box); /* the page is whole, only its content is not */
    cr_assert_eq(store_verify(box.store, &checked, &why), ERR_DAMAGED);
    cr_assert_not_null(strstr(why.s, "arrival number"), "%s", why.s);
    cr_assert_eq(store_look(box.store, &view, NULL), ERR_OK);
    for (uint64_t n = 1; n <= 60; n++)
        bad += store_get(view, n, &stored, &why) == ERR_DAMAGED;
    cr_assert_eq(bad, 1);
    store_done(&view);
    free(bytes);
    box_done(&box);
}

/* A row whose small check was made to fit again: only the chain can tell. */
Test(damage, a_changed_record_with_a_fitting_check_is_found_by_its_chain)
{
    struct box box;
    struct err_text why = {.s = ""};
    struct kv_txn *txn = NULL;
    MDB_dbi records = 0;
    MDB_val value;
    struct row row;
    uint8_t key[LSN_KEY], bytes[256];
    static uint8_t out[ROW_MOST];
    uint64_t checked = 0;
    fill_box(&box);
    box_open(&box);
    struct kv *kv = store_kv(box.store);
    cr_assert_eq(kv_table(kv, "records", &records, NULL), ERR_OK);
    cr_assert_eq(kv_write(kv, &txn, NULL), ERR_OK);
    put_number(key, 17, sizeof key);
    cr_assert_eq(kv_get(txn, records, key, sizeof key, &value, NULL), ERR_OK);
    cr_assert(row_unpack(17, value.mv_data, value.mv_size, false, &row));
    memcpy(bytes, row.bytes, row.len);
    bytes[find(bytes, row.len, 0, "tub")] = 'T';
    row.bytes = bytes;
    size_t len = row_pack(&row, out);
    cr_assert_eq(kv_put(txn, records, key, sizeof key, out, len, false, NULL), ERR_OK);
    cr_assert_eq(kv_commit(&txn, NULL), ERR_OK);
    cr_assert_eq(store_verify(box.store, &checked, &why), ERR_DAMAGED);
    cr_assert_not_null(strstr(why.s, "site kitchen, epoch 1, record 12 (arrival number 17): "
                                     "its bytes do not fit its hash"),
                       "%s", why.s);
    cr_assert(eq(u64, checked, 16));
    box_done(&box);
}

/* ---- many flips. A flip must be found (an error in words) or do no harm (all that was written
 * is read as it was). A child does it, so that a crash is seen. */

enum {
    FOUND = 10,
    HARMLESS = 11,
    WRONG = 12
};

static bool
reads_as_written(struct box *box, const uint8_t (*hashes)[HASH_SIZE], struct err_text *why)
{
    struct store_view *view = NULL;
    struct stored stored;
    char note[8];
    size_t len = 0;
    bool good = store_look(box->store, &view, why) == ERR_OK && store_last(view) == 60;
    for (uint64_t n = 1; good && n <= 60; n++)
        good = store_get(view, n, &stored, why) == ERR_OK &&
               memcmp(stored.hash, hashes[n], HASH_SIZE) == 0 && stored.held_ms == box->now_ms;
    good = good && store_noted(view, "acked", note, sizeof note, &len, why) == ERR_OK && len == 2 &&
           memcmp(note, "40", 2) == 0;
    store_done(&view);
    return good;
}

static int
judge(struct box *box, const uint8_t (*hashes)[HASH_SIZE])
{
    struct err_text why = {.s = ""};
    uint64_t checked = 0;
    if (store_open(box->dir, &box->options, &box->store, &why) != ERR_OK)
        return why.s[0] != '\0' ? FOUND : WRONG;
    if (store_verify(box->store, &checked, &why) != ERR_OK)
        return why.s[0] != '\0' ? FOUND : WRONG;
    if (store_mended(box->store) != NULL)
        return FOUND; /* whole, and said; test_mend.c looks closer */
    if (!reads_as_written(box, hashes, &why))
        return why.s[0] != '\0' ? FOUND : WRONG;
    box_write(box, "kitchen", 3); /* and can be written on */
    return store_verify(box->store, &checked, &why) == ERR_OK ? HARMLESS : WRONG;
}

static void
read_hashes(struct box *box, uint8_t (*hashes)[HASH_SIZE])
{
    struct store_view *view = NULL;
    struct stored stored;
    box_open(box);
    cr_assert_eq(store_look(box->store, &view, NULL), ERR_OK);
    for (uint64_t n = 1; n <= 60; n++) {
        cr_assert_eq(store_get(view, n, &stored, NULL), ERR_OK);
        memcpy(hashes[n], stored.hash, HASH_SIZE);
    }
    store_done(&view);
    box_close(box);
}

static int
try_flip(struct box *box, const uint8_t (*hashes)[HASH_SIZE], const uint8_t *whole, size_t len)
{
    int status = 0;
    box_spill(box->dir, "data.mdb", whole, len);
    pid_t child = fork();
    if (child == 0)
        _exit(judge(box, hashes));
    cr_assert_eq(waitpid(child, &status, 0), child);
    return WIFEXITED(status) ? WEXITSTATUS(status) : -WTERMSIG(status);
}

/* FLIPS=n tries more; TEST_SEED as everywhere. */
Test(damage, a_flipped_bit_anywhere_is_found_or_does_no_harm, .timeout = 600)
{
    static uint8_t hashes[61][HASH_SIZE];
    struct box box;
    size_t len = 0;
    const char *flips = getenv("FLIPS"), *text = getenv("TEST_SEED");
    unsigned n = flips != NULL ? (unsigned)atoi(flips) : 400, found = 0, harmless = 0;
    uint64_t seed = text != NULL ? strtoull(text, NULL, 10) : 20260303, x = seed;
    fill_box(&box);
    box.options.ballast_kib = 4; /* not what is tried here */
    read_hashes(&box, hashes);
    uint8_t *whole = box_slurp(box.dir, "data.mdb", &len);
    for (unsigned i = 0; i < n; i++) {
        x = x * 6364136223846793005u + 1442695040888963407u;
        size_t bit = (size_t)((x >> 20) % (len * 8));
        whole[bit / 8] ^= (uint8_t)(1 << bit % 8);
        int got = try_flip(&box, (const uint8_t(*)[HASH_SIZE])hashes, whole, len);
        whole[bit / 8] ^= (uint8_t)(1 << bit % 8);
        cr_assert(got == FOUND || got == HARMLESS, "seed %llu: bit %zu of byte %zx: %d",
                  (unsigned long long)seed, bit % 8, bit / 8, got);
        found += got == FOUND;
        harmless += got == HARMLESS;
    }
    printf("%u flips in %zu bytes: %u found, %u harmless\n", n, len, found, harmless);
    free(whole);
    box_done(&box);
}
