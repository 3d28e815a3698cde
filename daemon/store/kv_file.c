/* kv_file.c - is data.mdb whole? */
#include "daemon/store/kv_file.h"

#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <sys/stat.h>
#include <unistd.h>
#include "daemon/store/kv_error.h"
#include "daemon/store/kv_number.h"
#include "daemon/store/kv_tree.h"

static const uint64_t small_bytes = (uint64_t)64 << 20;

/* What to do is the same for each damage but that of one head page. */
static const char advice[] = "set the file aside, then put a backup in its place or take the "
                             "records back from the hub";
static const char mends[] = "the next start of the daemon mends it when all else is whole";

static enum err
read_heads(int fd, struct page_head heads[2])
{
    for (int i = 0; i < 2; i++) {
        uint8_t page[PAGE_HEAD_BYTES] = {0};
        if (pread(fd, page, sizeof page, (off_t)i * PAGE_SIZE) < 0)
            return ERR_IO;
        heads[i] = page_head_of(page);
    }
    return ERR_OK;
}

/* Exactly one of the two? */
static bool
one_is_bad(const struct page_head heads[2])
{
    return (page_head_fault(&heads[0], 0) != NULL) != (page_head_fault(&heads[1], 1) != NULL);
}

/* Without its two heads: has it other pages of a store? Not so is a file of something else. */
static bool
has_pages(int fd)
{
    enum {
        LOOK = 64
    };
    uint8_t page[PAGE_SIZE];
    struct page open;
    for (unsigned i = 2; i < LOOK; i++) {
        if (pread(fd, page, sizeof page, (off_t)i * PAGE_SIZE) != PAGE_SIZE)
            return false;
        if (page_open(page, i, true, &open) == NULL || page_open(page, i, false, &open) == NULL)
            return true;
    }
    return false;
}

static enum err
check_heads(const char *dir, int fd, const struct page_head heads[2], uint64_t bytes,
            struct err_text *why)
{
    uint64_t number = 0;
    if (bytes == 0)
        return err_set(ERR_DAMAGED, why, "%s/data.mdb is empty: %s", dir, advice);
    if (!heads[0].is_one && !heads[1].is_one && has_pages(fd))
        return err_set(ERR_DAMAGED, why,
                       "%s/data.mdb is damaged: both its head pages are rubbish: %s", dir, advice);
    if (!heads[0].is_one && !heads[1].is_one)
        return err_set(ERR_FORMAT, why, "%s/data.mdb is not a store", dir);
    if (kv_number_wrong(fd, heads, bytes, &number) >= 0)
        return err_set(
            ERR_DAMAGED, why,
            "%s/data.mdb is damaged: one of its two head pages has not the number of its "
            "commit: %s",
            dir, mends);
    const char *what = page_heads_fault(heads);
    if (what != NULL && one_is_bad(heads))
        return err_set(ERR_DAMAGED, why, "%s/data.mdb is damaged: %s: %s", dir, what, mends);
    if (what != NULL)
        return err_set(ERR_DAMAGED, why, "%s/data.mdb is damaged: %s: %s", dir, what, advice);
    for (int i = 0; i < 2; i++)
        if (heads[i].version != 1 || heads[i].page_size != PAGE_SIZE)
            return err_set(ERR_FORMAT, why,
                           "%s/data.mdb: file version %" PRIu32 " with pages of %" PRIu32
                           " bytes: expected 1 and %d",
                           dir, heads[i].version, heads[i].page_size, PAGE_SIZE);
    return ERR_OK;
}

static enum err
check_open(const char *dir, int fd, uint64_t bytes, bool whole, struct err_text *why)
{
    struct page_head heads[2];
    struct kv_fault fault = {NULL, 0};
    enum err e = read_heads(fd, heads);
    if (e == ERR_OK)
        e = check_heads(dir, fd, heads, bytes, why);
    else
        return kv_error_system(errno, "read data.mdb in", dir, why);
    if (e != ERR_OK)
        return e;
    const struct page_head *newer = &heads[heads[1].txn > heads[0].txn];
    e = kv_tree_check(fd, newer, bytes, whole || bytes <= small_bytes, &fault);
    if (e == ERR_DAMAGED)
        return err_set(e, why, "%s/data.mdb is damaged at page %" PRIu64 " of %" PRIu64 ": %s: %s",
                       dir, fault.page, bytes / PAGE_SIZE, fault.what, advice);
    return e == ERR_OK
               ? e
               : kv_error_system(e == ERR_MEM ? ENOMEM : errno, "read data.mdb in", dir, why);
}

enum err
kv_file_check(const struct kv_dir *dir, bool whole, struct err_text *why)
{
    struct stat st;
    int fd = openat(dir->fd, "data.mdb", O_RDONLY | O_CLOEXEC);
    if (fd < 0)
        return kv_error_system(errno, "open data.mdb in", dir->path, why);
    enum err e = ERR_OK;
    if (fstat(fd, &st) != 0)
        e = kv_error_system(errno, "read data.mdb in", dir->path, why);
    else if (!S_ISREG(st.st_mode))
        e = err_set(ERR_FORMAT, why, "%s/data.mdb is not a file", dir->path);
    else
        e = check_open(dir->path, fd, (uint64_t)st.st_size, whole, why);
    (void)close(fd);
    return e;
}
