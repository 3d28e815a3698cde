/* test_faults.c - the disk says no, or is full, or is one that must not be used.
 *
 * The functions below stand before libc's for LMDB too, which is a shared library.
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <errno.h>
#include <fcntl.h>
#include <sched.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mount.h>
#include <sys/statvfs.h>
#include <sys/syscall.h>
#include <sys/uio.h>
#include <sys/vfs.h>
#include <unistd.h>
#include "tests/store/box.h"

/* The next `fail_after` calls work, then `fail_times` fail with `fail_errno`; SHORT: they write
 * nothing or a part, as on a disk that is full in mid-write. */
enum {
    SHORT = 0
};
static long fail_after = -1, fail_times;
static int fail_errno;
static long fs_type; /* not 0: what fstatfs says */

static bool
strike(void)
{
    if (fail_after < 0 || fail_after-- > 0)
        return false;
    fail_after = --fail_times > 0 ? 0 : -1;
    errno = fail_errno;
    return true;
}

static void
fail(long after, long times, int error)
{
    fail_after = after;
    fail_times = times;
    fail_errno = error;
}

ssize_t
pwrite(int fd, const void *bytes, size_t n, off_t at)
{
    bool failed = strike();
    if (failed && fail_errno != SHORT)
        return -1;
    return syscall(SYS_pwrite64, fd, bytes, failed ? n / 2 : n, at);
}

ssize_t
writev(int fd, const struct iovec *parts, int n)
{
    bool failed = strike();
    if (failed && fail_errno != SHORT)
        return -1;
    return syscall(SYS_writev, fd, parts, failed ? n / 2 : n);
}

int
fdatasync(int fd)
{
    return strike() && fail_errno != SHORT ? -1 : (int)syscall(SYS_fdatasync, fd);
}

int
fsync(int fd)
{
    return strike() && fail_errno != SHORT ? -1 : (int)syscall(SYS_fsync, fd);
}

int
fstatfs(int fd, struct statfs *out)
{
    int rc = (int)syscall(SYS_fstatfs, fd, out);
    if (fs_type != 0)
        out->f_type = fs_type;
    return rc;
}

/* One record; the code that the commit, or what came before it, gave. */
static enum err
write_one(struct box *box, struct err_text *why)
{
    struct store_txn *txn = NULL;
    struct stored stored;
    enum err e = store_begin(box->store, &txn, why);
    if (e != ERR_OK)
        return e;
    e = store_append(txn, "quayside", box_note(box, "one"), &stored, why);
    if (e == ERR_OK)
        return store_commit(&txn, why);
    store_abort(&txn);
    return e;
}

static void
verifies(struct box *box, uint64_t least, uint64_t most)
{
    struct err_text why = {.s = ""};
    uint64_t checked = 0;
    cr_assert_eq(store_verify(box->store, &checked, &why), ERR_OK, "%s", why.s);
    cr_assert_geq(checked, least);
    cr_assert_leq(checked, most);
}

/* 0001-store.md, L11: each call of a commit fails once, for every n until none fails. */
static void
sweep(int error)
{
    struct box box;
    uint64_t acked = 3;
    box_init(&box, "quayside");
    box_open(&box);
    box_write(&box, "quayside", 3);
    for (long n = 0; n < 50; n++) {
        struct err_text why = {.s = ""};
        fail(n, 1, error);
        enum err e = write_one(&box, &why);
        bool failed = fail_after < 0;
        fail_after = -1;
        if (e == ERR_OK && failed && error == SHORT) { /* a flush cannot be short */
            acked++;
            continue;
        }
        if (e == ERR_OK) {
            acked++;
            cr_assert_not(failed, "a failed call was not reported");
            cr_assert_geq(n, 2); /* at least two flushes a commit */
            verifies(&box, acked, acked);
            box_done(&box);
            return;
        }
        cr_assert_eq(e, error == EIO ? ERR_IO : ERR_FULL, "%s", why.s);
        cr_assert_neq(why.s[0], '\0');
        if (kv_failed(store_kv(box.store))) {
            cr_assert_eq(write_one(&box, &why), ERR_IO); /* nothing more until opened again */
            box_reopen(&box);
        } else {
            cr_assert_neq(error, EIO); /* which is always final */
        }
        uint64_t count = box_count(&box);
        cr_assert(count == acked || count == acked + 1, "neither kept nor dropped");
        acked = count; /* what became of a failed commit is unknown until now */
        verifies(&box, acked, acked);
        cr_assert_eq(write_one(&box, &why), ERR_OK, "%s", why.s);
        acked++;
    }
    cr_assert(false, "a commit has no end of calls");
}

Test(faults, after_an_io_error_nothing_is_acknowledged_and_a_new_start_is_whole)
{
    sweep(EIO);
}

Test(faults, after_no_space_the_store_goes_on_or_starts_again_whole)
{
    sweep(ENOSPC);
}

Test(faults, after_a_write_that_fell_short_the_store_goes_on_or_starts_again_whole)
{
    sweep(SHORT);
}

Test(faults, making_a_store_fails_cleanly_at_each_call_and_works_at_the_next_start)
{
    for (long n = 0; n < 100; n++) {
        struct box box;
        struct err_text why = {.s = ""};
        box_init(&box, "quayside");
        fail(n, 1, EIO);
        enum err e = store_open(box.dir, &box.options, &box.store, &why);
        bool failed = fail_after < 0;
        fail_after = -1;
        if (e == ERR_OK && !failed) {
            cr_assert_geq(n, 5);
            box_done(&box);
            return;
        }
        if (e != ERR_OK) {
            cr_assert_neq(why.s[0], '\0');
            box_open(&box);
        }
        box_write(&box, "quayside", 1);
        verifies(&box, 1, 1);
        box_done(&box);
    }
    cr_assert(false, "making a store has no end of calls");
}

Test(faults, a_disk_that_stays_full_refuses_in_words_keeps_reading_and_heals)
{
    struct box box;
    struct err_text why = {.s = ""};
    box_init(&box, "quayside");
    box_open(&box);
    box_write(&box, "quayside", 3);
    for (int i = 0; i < 5; i++) {
        fail(0, 1000, ENOSPC); /* data pages are written first, so no head page is touched */
        cr_assert_eq(write_one(&box, &why), ERR_FULL);
        fail_after = -1;
        cr_assert_not_null(strstr(why.s, "disk is full"), "%s", why.s);
        cr_assert_not(kv_failed(store_kv(box.store)));
        cr_assert(eq(u64, box_count(&box), 3));
    }
    cr_assert_not(kv_sizes(store_kv(box.store)).ballast); /* given back for the next */
    cr_assert_eq(write_one(&box, &why), ERR_OK);
    cr_assert(eq(u64, box_mark(&box, "quayside").seq, 4));
    kv_upkeep(store_kv(box.store));
    cr_assert(kv_sizes(store_kv(box.store)).ballast);
    verifies(&box, 4, 4);
    box_done(&box);
}

/* 0001-store.md, L16. The words name what to do. */
Test(faults, a_network_disk_is_refused_before_anything_is_made)
{
    struct box box;
    struct err_text why = {.s = ""};
    char path[300];
    box_init(&box, "quayside");
    fs_type = 0x6969;
    cr_assert_eq(store_open(box.dir, &box.options, &box.store, &why), ERR_IO);
    fs_type = 0;
    cr_assert_not_null(strstr(why.s, "NFS"), "%s", why.s);
    cr_assert_not_null(strstr(why.s, "local disk"), "%s", why.s);
    (void)snprintf(path, sizeof path, "%s/lock", box.dir);
    cr_assert_neq(access(path, F_OK), 0);
    box_done(&box);
}

/* ---- a really full disk: a tmpfs of 4 MiB in a mount namespace of our own */

static bool
small_disk(const char *dir)
{
    return unshare(CLONE_NEWNS) == 0 && mount("none", "/", NULL, MS_REC | MS_PRIVATE, NULL) == 0 &&
           mount("none", dir, "tmpfs", 0, "size=4m") == 0;
}

/* Fills what is left but for `leave` bytes. */
static void
fill_disk(const char *dir, uint64_t leave)
{
    char path[300];
    struct statvfs fs;
    (void)snprintf(path, sizeof path, "%s/filler", dir);
    int fd = open(path, O_CREAT | O_WRONLY, 0600);
    cr_assert_geq(fd, 0);
    cr_assert_eq(statvfs(dir, &fs), 0);
    uint64_t room = fs.f_bavail * fs.f_frsize;
    cr_assert(room > leave);
    cr_assert_eq(posix_fallocate(fd, 0, (off_t)(room - leave)), 0);
    (void)close(fd);
}

static void
free_disk(const char *dir)
{
    char path[300];
    (void)snprintf(path, sizeof path, "%s/filler", dir);
    cr_assert_eq(unlink(path), 0);
}

static enum err
write_close(struct box *box, struct err_text *why)
{
    struct store_txn *txn = NULL;
    struct stored stored;
    Knockbox__Close body = KNOCKBOX__CLOSE__INIT;
    Knockbox__Record *record = box_note(box, "");
    record->body_case = KNOCKBOX__RECORD__BODY_CLOSE;
    record->close = &body;
    enum err e = store_begin(box->store, &txn, why);
    if (e != ERR_OK)
        return e;
    e = store_append(txn, "quayside", record, &stored, why);
    if (e == ERR_OK)
        return store_commit(&txn, why);
    store_abort(&txn);
    return e;
}

static enum err
write_note(struct box *box, size_t bytes, struct err_text *why)
{
    static char value[65536];
    struct store_txn *txn = NULL;
    enum err e = store_begin(box->store, &txn, why);
    if (e != ERR_OK)
        return e;
    e = store_note(txn, "acked", value, bytes, why);
    if (e == ERR_OK)
        return store_commit(&txn, why);
    store_abort(&txn);
    return e;
}

/* 0001-store.md, L4. */
Test(faults, on_a_nearly_full_disk_days_are_still_closed_and_acknowledgements_kept)
{
    struct box box;
    struct err_text why = {.s = ""};
    box_init(&box, "quayside");
    if (!small_disk(box.dir))
        cr_skip_test("needs root, to mount a tmpfs of 4 MiB");
    box_open(&box);
    box_write(&box, "quayside", 3);
    struct kv_sizes sizes = kv_sizes(store_kv(box.store));
    cr_assert(sizes.ballast);
    cr_assert(eq(u64, sizes.disk_keep, 64 * 1024));
    fill_disk(box.dir, 48 * 1024);
    cr_assert_eq(write_one(&box, &why), ERR_FULL);
    cr_assert_not_null(strstr(why.s, "KiB left"), "%s", why.s);
    cr_assert_eq(write_close(&box, &why), ERR_OK, "%s", why.s);
    cr_assert_eq(write_note(&box, 100, &why), ERR_OK, "%s", why.s);
    verifies(&box, 4, 4);
    free_disk(box.dir);
    cr_assert_eq(write_one(&box, &why), ERR_OK, "%s", why.s);
    box_done(&box);
}

Test(faults, on_a_full_disk_the_store_stays_whole_restarts_and_heals)
{
    struct box box;
    struct err_text why = {.s = ""};
    enum err e = ERR_OK;
    box_init(&box, "quayside");
    if (!small_disk(box.dir))
        cr_skip_test("needs root, to mount a tmpfs of 4 MiB");
    box_open(&box);
    box_write(&box, "quayside", 3);
    fill_disk(box.dir, 4096);
    uint64_t closed = 0;
    for (int i = 0; i < 1000 && e == ERR_OK; i++) {
        e = write_close(&box, &why);
        closed += e == ERR_OK;
    }
    cr_assert(closed > 0, "the ballast was not given back");
    while (e == ERR_OK || write_note(&box, 60000, &why) == ERR_OK)
        e = write_note(&box, 30000, &why);
    cr_assert_eq(e, ERR_FULL, "%s", why.s);
    cr_assert_not_null(strstr(why.s, "disk is full"), "%s", why.s);
    cr_assert_not(kv_failed(store_kv(box.store)));
    verifies(&box, 3 + closed, 3 + closed);
    box_reopen(&box); /* a restart on a full disk works */
    verifies(&box, 3 + closed, 3 + closed);
    free_disk(box.dir);
    cr_assert_eq(write_one(&box, &why), ERR_OK, "%s", why.s);
    kv_upkeep(store_kv(box.store));
    cr_assert(kv_sizes(store_kv(box.store)).ballast);
    verifies(&box, 4 + closed, 4 + closed);
    box_done(&box);
}

Test(faults, a_store_is_not_made_on_a_full_disk_and_is_once_there_is_room)
{
    struct box box;
    struct err_text why = {.s = ""};
    box_init(&box, "quayside");
    if (!small_disk(box.dir))
        cr_skip_test("needs root, to mount a tmpfs of 4 MiB");
    for (uint64_t leave = 0; leave < 64 * 1024; leave += 4096) {
        fill_disk(box.dir, leave);
        enum err e = store_open(box.dir, &box.options, &box.store, &why);
        cr_assert(e == ERR_FULL || e == ERR_OK, "%s: %s", err_word(e), why.s);
        box_close(&box);
        free_disk(box.dir);
    }
    box_open(&box);
    cr_assert_eq(write_one(&box, &why), ERR_OK, "%s", why.s);
    box_done(&box);
}
