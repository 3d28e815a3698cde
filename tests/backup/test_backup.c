/* test_backup.c - a hub's folder into a file and back, and what happens when that is disturbed.
 *
 * Source: docs/decisions/0014-backup.md; what is tried beyond it is common practice, no source. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include "daemon/backup/backup.h"
#include "daemon/base/folder.h"
#include "tests/store/box.h"

/* A hub's folder with a store of two sites' records in it; files of the test beside it. */
struct place {
    struct box box;
    char top[256], hub[300], file[300], back[300];
};

static const char conf[] = "site.name kitchen\nlisten tcp://127.0.0.1:0\n";

static void
place_init(struct place *p)
{
    box_init(&p->box, "kitchen");
    snprintf(p->top, sizeof p->top, "%s", p->box.dir);
    snprintf(p->hub, sizeof p->hub, "%s/hub", p->top);
    snprintf(p->file, sizeof p->file, "%s/one.backup", p->top);
    snprintf(p->back, sizeof p->back, "%s/back", p->top);
    cr_assert(mkdir(p->hub, 0700) == 0);
    snprintf(p->box.dir, sizeof p->box.dir, "%.230s/hub/store", p->top);
    box_spill(p->hub, "hub.conf", conf, sizeof conf - 1);
    box_spill(p->hub, "revoked", "", 0);
    box_spill(p->hub, "hub.key", "secret 00112233445566778899\n", 28);
    box_spill(p->hub, "endpoint", "tcp://127.0.0.1:1\n", 18);
    box_open(&p->box);
    box_write(&p->box, "kitchen", 5);
    box_write(&p->box, "paper-cafe", 3);
    box_write(&p->box, "kitchen", 2);
    box_write(&p->box, "kitchen", 1); /* alone: the row of its log stays behind */
    box_close(&p->box);
}

static void
place_done(struct place *p)
{
    box_close(&p->box);
    snprintf(p->box.dir, sizeof p->box.dir, "%s", p->top);
    box_done(&p->box);
}

static enum err
write_one(struct place *p, struct err_text *why)
{
    struct backup backup;
    enum err e = backup_write(p->hub, p->file, &p->box.options.clock, &backup, why);
    backup_done(&backup);
    return e;
}

static enum err
read_one(const char *file, struct err_text *why)
{
    struct backup backup;
    enum err e = backup_read(file, &backup, why);
    backup_done(&backup);
    return e;
}

static enum err
restore_one(struct place *p, struct err_text *why)
{
    struct backup backup;
    enum err e = backup_restore(p->file, p->back, &p->box.options.clock, NULL, NULL, &backup, why);
    backup_done(&backup);
    return e;
}

static bool
there(const char *dir, const char *name)
{
    return file_there(dir, name);
}

static bool
missing(const char *dir, const char *name)
{
    return !file_there(dir, name);
}

Test(backup, says_what_is_in_it)
{
    struct place p;
    struct backup backup;
    place_init(&p);
    cr_assert(backup_write(p.hub, p.file, &p.box.options.clock, &backup, NULL) == ERR_OK);
    backup_done(&backup);
    cr_assert(backup_read(p.file, &backup, NULL) == ERR_OK);
    cr_expect(eq(u64, backup.content.records, 11));
    cr_expect(eq(i64, backup.content.made_ms, p.box.now_ms));
    cr_expect(eq(str, backup.content.site, "kitchen"));
    cr_expect(eq(str, backup.files, "hub.conf revoked"));
    cr_assert(eq(u32, backup.content.n_logs, 2));
    cr_expect(eq(u64, backup.content.logs[0].end.seq, 8));
    cr_expect(eq(u64, backup.content.logs[1].end.seq, 3));
    cr_expect(eq(str, backup.content.logs[1].head.site, "paper-cafe"));
    backup_done(&backup);
    cr_expect(missing(p.top, "one.backup.part"));
    place_done(&p);
}

Test(backup, holds_no_secret_and_is_read_by_nobody_else)
{
    struct place p;
    struct stat st;
    size_t len = 0;
    place_init(&p);
    cr_assert(write_one(&p, NULL) == ERR_OK);
    cr_assert(stat(p.file, &st) == 0);
    cr_expect(eq(u32, st.st_mode & 07777, 0600));
    uint8_t *bytes = box_slurp(p.top, "one.backup", &len);
    cr_expect(memmem(bytes, len, "00112233", 8) == NULL);
    free(bytes);
    cr_assert(restore_one(&p, NULL) == ERR_OK);
    cr_expect(missing(p.back, "hub.key"));
    place_done(&p);
}

Test(backup, flipped_bits_and_cuts_are_found, .timeout = 60)
{
    struct place p;
    size_t len = 0;
    place_init(&p);
    cr_assert(write_one(&p, NULL) == ERR_OK);
    uint8_t *bytes = box_slurp(p.top, "one.backup", &len);
    for (size_t bit = 0; bit < len * 8; bit += 17) { /* all of them: test_part.c */
        bytes[bit / 8] ^= (uint8_t)(1u << (bit % 8));
        box_spill(p.top, "one.backup", bytes, len);
        enum err e = read_one(p.file, NULL);
        cr_expect(e == ERR_DAMAGED || e == ERR_FORMAT, "bit %zu of %zu: %d", bit, len * 8, (int)e);
        bytes[bit / 8] ^= (uint8_t)(1u << (bit % 8));
    }
    for (size_t n = 0; n < len; n += 7) {
        box_spill(p.top, "one.backup", bytes, n);
        enum err e = read_one(p.file, NULL);
        cr_expect(e == ERR_DAMAGED || e == ERR_FORMAT, "cut to %zu of %zu: %d", n, len, (int)e);
    }
    box_spill(p.top, "one.backup", bytes, len);
    cr_expect(eq(int, read_one(p.file, NULL), ERR_OK));
    free(bytes);
    place_done(&p);
}

/* ---- restore */

static void
expect_same_records(struct box *a, struct box *b)
{
    struct store_view *one = NULL, *two = NULL;
    cr_assert(store_look(a->store, &one, NULL) == ERR_OK);
    cr_assert(store_look(b->store, &two, NULL) == ERR_OK);
    cr_assert(eq(u64, store_last(one), store_last(two)));
    for (uint64_t lsn = 1; lsn <= store_last(one); lsn++) {
        struct stored x, y;
        cr_assert(store_get(one, lsn, &x, NULL) == ERR_OK);
        cr_assert(store_get(two, lsn, &y, NULL) == ERR_OK);
        cr_expect(x.len == y.len && memcmp(x.bytes, y.bytes, x.len) == 0);
        cr_expect(eq(i64, x.held_ms, y.held_ms));
        cr_expect(memcmp(x.hash, y.hash, HASH_SIZE) == 0);
    }
    store_done(&one);
    store_done(&two);
}

Test(restore, gives_the_same_records_in_another_generation_and_new_epochs)
{
    struct place p;
    uint64_t checked = 0;
    place_init(&p);
    cr_assert(write_one(&p, NULL) == ERR_OK);
    cr_assert(restore_one(&p, NULL) == ERR_OK);
    struct box back = p.box;
    snprintf(back.dir, sizeof back.dir, "%.230s/back/store", p.top);
    box_open(&p.box);
    box_open(&back);
    expect_same_records(&p.box, &back);
    cr_expect(memcmp(store_generation(p.box.store), store_generation(back.store), 8) != 0);
    cr_expect(eq(u32, box_mark(&back, "kitchen").epoch, 2));
    cr_expect(eq(u64, box_mark(&back, "kitchen").seq, 0));
    cr_expect(eq(u32, box_mark(&back, "paper-cafe").epoch, 2));
    box_write(&back, "kitchen", 1);
    cr_expect(eq(u64, box_mark(&back, "kitchen").seq, 1));
    cr_expect(eq(int, store_verify(back.store, &checked, NULL), ERR_OK));
    cr_expect(eq(u64, checked, 12));
    box_close(&back);
    cr_expect(there(p.back, "hub.conf"));
    cr_expect(there(p.back, "revoked"));
    cr_expect(missing(p.back, "endpoint"));
    cr_expect(missing(p.back, "restoring"));
    place_done(&p);
}

Test(restore, of_a_damaged_file_leaves_nothing)
{
    struct place p;
    size_t len = 0;
    place_init(&p);
    cr_assert(write_one(&p, NULL) == ERR_OK);
    uint8_t *bytes = box_slurp(p.top, "one.backup", &len);
    for (size_t at = 0; at < len; at += 97) {
        bytes[at] ^= 0x10;
        box_spill(p.top, "one.backup", bytes, len);
        bytes[at] ^= 0x10;
        cr_expect(restore_one(&p, NULL) != ERR_OK);
        cr_expect(missing(p.top, "back"));
    }
    box_spill(p.top, "one.backup", bytes, len / 2);
    cr_assert(mkdir(p.back, 0700) == 0);
    cr_expect(restore_one(&p, NULL) != ERR_OK);
    cr_expect(rmdir(p.back) == 0, "the folder that was there is empty as it was");
    free(bytes);
    place_done(&p);
}

Test(restore, goes_into_a_new_or_empty_folder_only)
{
    struct place p;
    struct err_text why = {.s = ""};
    place_init(&p);
    cr_assert(write_one(&p, NULL) == ERR_OK);
    cr_assert(mkdir(p.back, 0700) == 0);
    box_spill(p.back, "notes.txt", "mine", 4);
    cr_expect(eq(int, restore_one(&p, &why), ERR_BUSY));
    cr_expect(strstr(why.s, "is not empty") != NULL, "%s", why.s);
    cr_expect(there(p.back, "notes.txt"));
    cr_assert(file_remove(p.back, "notes.txt", NULL) == ERR_OK);
    cr_expect(eq(int, restore_one(&p, NULL), ERR_OK));
    cr_expect(eq(int, restore_one(&p, NULL), ERR_BUSY)); /* a hub is there now */
    place_done(&p);
}

Test(restore, begins_anew_where_one_was_cut_short)
{
    struct place p;
    char store[320];
    place_init(&p);
    cr_assert(write_one(&p, NULL) == ERR_OK);
    snprintf(store, sizeof store, "%s/store", p.back);
    cr_assert(mkdir(p.back, 0700) == 0 && mkdir(store, 0700) == 0);
    box_spill(p.back, "restoring", "", 0);
    box_spill(store, "data.mdb", "half", 4);
    cr_expect(eq(int, restore_one(&p, NULL), ERR_OK));
    cr_expect(missing(p.back, "restoring"));
    place_done(&p);
}

static enum err
say_no(void *owner, const char *dir, struct err_text *why)
{
    (void)owner;
    cr_expect(missing(dir, "hub.conf")); /* not a hub yet */
    return err_set(ERR_DENIED, why, "no");
}

Test(restore, without_its_keys_is_undone)
{
    struct place p;
    struct backup backup;
    place_init(&p);
    cr_assert(write_one(&p, NULL) == ERR_OK);
    cr_expect(eq(int,
                 backup_restore(p.file, p.back, &p.box.options.clock, say_no, NULL, &backup, NULL),
                 ERR_DENIED));
    backup_done(&backup);
    cr_expect(missing(p.top, "back"));
    place_done(&p);
}

/* ---- writing */

Test(backup, of_a_damaged_store_is_refused_and_the_old_one_stays)
{
    struct place p;
    struct err_text why = {.s = ""};
    size_t len = 0, old_len = 0, now_len = 0;
    place_init(&p);
    cr_assert(write_one(&p, NULL) == ERR_OK);
    uint8_t *old = box_slurp(p.top, "one.backup", &old_len);
    uint8_t *bytes = box_slurp(p.box.dir, "data.mdb", &len);
    uint8_t *text = bytes;
    while ((text = memmem(text, len - (size_t)(text - bytes), "tub lid", 7)) != NULL)
        text[0] = 'T'; /* also in pages that are free now */
    box_spill(p.box.dir, "data.mdb", bytes, len);
    cr_expect(eq(int, write_one(&p, &why), ERR_DAMAGED));
    cr_expect(strstr(why.s, "not what was written") != NULL, "%s", why.s);
    uint8_t *now = box_slurp(p.top, "one.backup", &now_len);
    cr_expect(now_len == old_len && memcmp(now, old, old_len) == 0);
    cr_expect(missing(p.top, "one.backup.part"));
    free(bytes);
    free(old);
    free(now);
    place_done(&p);
}

Test(backup, takes_over_what_a_killed_one_left_and_waits_for_nobody)
{
    struct place p;
    place_init(&p);
    box_spill(p.top, "one.backup.part", "half of one", 11);
    cr_expect(eq(int, write_one(&p, NULL), ERR_OK));
    box_spill(p.top, "one.backup.part", "another one at work", 19);
    char part[320];
    snprintf(part, sizeof part, "%s.part", p.file);
    int fd = open(part, O_RDWR | O_CLOEXEC);
    cr_assert(fd >= 0 && flock(fd, LOCK_EX) == 0);
    cr_expect(eq(int, write_one(&p, NULL), ERR_BUSY));
    cr_expect(eq(int, read_one(p.file, NULL), ERR_OK));
    close(fd);
    place_done(&p);
}

Test(backup, to_where_nothing_can_be_written_says_so)
{
    struct place p;
    struct backup backup;
    struct err_text why = {.s = ""};
    place_init(&p);
    enum err e = backup_write(p.hub, "/nowhere/x", &p.box.options.clock, &backup, &why);
    backup_done(&backup);
    cr_expect(e != ERR_OK && strstr(why.s, "/nowhere/x") != NULL, "%s", why.s);
    e = backup_write(p.top, p.file, &p.box.options.clock, &backup, &why); /* no hub there */
    backup_done(&backup);
    cr_expect(e != ERR_OK);
    cr_expect(missing(p.top, "one.backup") && missing(p.top, "one.backup.part"));
    place_done(&p);
}

/* ---- secrets */

Test(secrets, come_back_in_files_that_nobody_else_reads)
{
    static const char *const names[] = {"hub.key", "office.secret", "not-there", "/etc/hostname"};
    struct place p;
    struct stat st;
    char file[320];
    size_t n = 0, len = 0;
    place_init(&p);
    box_spill(p.hub, "office.secret", "user x\npassword y\n", 18);
    snprintf(file, sizeof file, "%s/keys", p.top);
    cr_assert(secrets_write(p.hub, names, 4, file, &n, NULL) == ERR_OK);
    cr_expect(eq(sz, n, 2));
    cr_assert(stat(file, &st) == 0);
    cr_expect(eq(u32, st.st_mode & 07777, 0600));
    cr_assert(mkdir(p.back, 0700) == 0);
    cr_assert(secrets_restore(file, p.back, NULL) == ERR_OK);
    cr_assert(stat(p.back, &st) == 0);
    uint8_t *key = box_slurp(p.back, "hub.key", &len);
    cr_expect(len == 28 && memcmp(key, "secret 00112233445566778899\n", 28) == 0);
    free(key);
    chmod(file, 0640);
    cr_expect(eq(int, secrets_restore(file, NULL, NULL), ERR_DENIED));
    chmod(file, 0600);
    uint8_t *bytes = box_slurp(p.top, "keys", &len);
    for (size_t i = 0; i < len; i++) {
        bytes[i] ^= 1;
        box_spill(p.top, "keys", bytes, len);
        cr_expect(secrets_restore(file, NULL, NULL) != ERR_OK, "byte %zu", i);
        bytes[i] ^= 1;
    }
    free(bytes);
    place_done(&p);
}

/* ---- bytes of released versions. tests/golden/v1/hub.backup was made by
 *     GOLDEN_OUT=FOLDER test_backup_backup --filter 'golden/a_backup_is_made_when_asked'
 */

Test(golden, a_backup_is_made_when_asked)
{
    struct place p;
    size_t len = 0;
    const char *out = getenv("GOLDEN_OUT");
    if (out == NULL)
        return;
    place_init(&p);
    cr_assert(write_one(&p, NULL) == ERR_OK);
    uint8_t *bytes = box_slurp(p.top, "one.backup", &len);
    box_spill(out, "hub.backup", bytes, len);
    free(bytes);
    place_done(&p);
}

Test(golden, a_backup_of_each_release_is_read_and_restored)
{
    struct place p;
    struct backup backup;
    uint64_t checked = 0;
    place_init(&p);
    snprintf(p.file, sizeof p.file, "%s/tests/golden/v1/hub.backup", TEST_SOURCE);
    cr_assert(backup_read(p.file, &backup, NULL) == ERR_OK);
    cr_expect(eq(u64, backup.content.records, 11));
    backup_done(&backup);
    cr_assert(restore_one(&p, NULL) == ERR_OK);
    struct box back = p.box;
    snprintf(back.dir, sizeof back.dir, "%.230s/back/store", p.top);
    box_open(&p.box);
    box_open(&back);
    expect_same_records(&p.box, &back);
    cr_expect(eq(int, store_verify(back.store, &checked, NULL), ERR_OK));
    box_close(&back);
    place_done(&p);
}

/* More rows than one transaction takes, in ids that come in no order. */
Test(restore, of_many_records_with_ids_in_no_order, .timeout = 60)
{
    struct place p;
    place_init(&p);
    box_open(&p.box);
    for (unsigned i = 0; i < 12; i++) {
        p.box.now_ms += (int64_t)(i * 7919 % 13) * 1000003; /* times that jump about */
        p.box.next_id = i * 2654435761u % 1000000;
        box_write(&p.box, i % 2 == 0 ? "kitchen" : "paper-cafe", 1000);
        p.box.now_ms -= (int64_t)(i * 7919 % 13) * 1000003;
    }
    box_close(&p.box);
    cr_assert(write_one(&p, NULL) == ERR_OK);
    cr_assert(restore_one(&p, NULL) == ERR_OK);
    struct box back = p.box;
    snprintf(back.dir, sizeof back.dir, "%.230s/back/store", p.top);
    box_open(&p.box);
    box_open(&back);
    expect_same_records(&p.box, &back);
    box_close(&back);
    place_done(&p);
}
