/* kv_file.c - is data.mdb whole? */
#include "daemon/store/kv_file.h"

#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <stddef.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>
#include "daemon/store/kv_error.h"

/* The first two pages, as LMDB 0.9 writes them on a 64-bit machine. */
enum {
    META_MAGIC = 0x10,
    META_VERSION = 0x14,
    META_PAGE_SIZE = 0x28,
    META_FREE_ROOT = 0x50,
    META_MAIN_ROOT = 0x80,
    META_LAST = 0x88,
    META_TXN = 0x90,
    META_SIZE = 0x98
};
enum {
    PAGE_FLAGS = 0x0A,
    PAGE_IS_META = 0x08,
    PAGE_SIZE = 4096
};
#define META_MAGIC_NUMBER 0xBEEFC0DEu
#define NO_PAGE UINT64_MAX

struct meta {
    bool is_one;
    uint32_t version, page_size;
    uint64_t free_root, main_root, last, txn;
};

static uint64_t
number(const uint8_t *at, size_t size)
{
    uint64_t n = 0;
    for (size_t i = size; i > 0; i--)
        n = n << 8 | at[i - 1];
    return n;
}

static struct meta
meta_of(const uint8_t page[META_SIZE])
{
    return (struct meta){
        .is_one = number(page + META_MAGIC, 4) == META_MAGIC_NUMBER &&
                  (number(page + PAGE_FLAGS, 2) & PAGE_IS_META) != 0,
        .version = (uint32_t)number(page + META_VERSION, 4),
        .page_size = (uint32_t)number(page + META_PAGE_SIZE, 4),
        .free_root = number(page + META_FREE_ROOT, 8),
        .main_root = number(page + META_MAIN_ROOT, 8),
        .last = number(page + META_LAST, 8),
        .txn = number(page + META_TXN, 8),
    };
}

static enum err
read_metas(int fd, struct meta metas[2])
{
    for (int i = 0; i < 2; i++) {
        uint8_t page[META_SIZE] = {0};
        if (pread(fd, page, sizeof page, (off_t)i * PAGE_SIZE) < 0)
            return ERR_IO;
        metas[i] = meta_of(page);
    }
    return ERR_OK;
}

/* Does the file hold the page that a tree begins with? */
static bool
has_root(uint64_t root, uint64_t pages)
{
    return root == NO_PAGE || (root >= 2 && root < pages);
}

static enum err
judge(const char *dir, const struct meta metas[2], uint64_t bytes, struct err_text *why)
{
    if (!metas[0].is_one && !metas[1].is_one)
        return err_set(bytes == 0 ? ERR_DAMAGED : ERR_FORMAT, why,
                       bytes == 0 ? "%s/data.mdb: is empty: put a backup in its place"
                                  : "%s/data.mdb: is not a store",
                       dir);
    const struct meta *meta = &metas[metas[1].is_one && metas[1].txn > metas[0].txn];
    if (!metas[0].is_one || !metas[1].is_one)
        return err_set(ERR_DAMAGED, why,
                       "%s/data.mdb: one of its two head pages is not readable: set the file aside "
                       "and restore it from a backup or from the hub",
                       dir);
    if (meta->version != 1 || meta->page_size != PAGE_SIZE)
        return err_set(ERR_FORMAT, why,
                       "%s/data.mdb: file version %" PRIu32 " with pages of %" PRIu32
                       " bytes: expected 1 and %d",
                       dir, meta->version, meta->page_size, PAGE_SIZE);
    uint64_t pages = bytes / PAGE_SIZE;
    if (!has_root(meta->main_root, pages) || !has_root(meta->free_root, pages))
        return err_set(ERR_DAMAGED, why,
                       "%s/data.mdb: is cut short: %" PRIu64 " of about %" PRIu64
                       " bytes are there: restore it from a backup or from the hub",
                       dir, bytes, (meta->last + 1) * PAGE_SIZE);
    return ERR_OK;
}

enum err
kv_file_check_head(const struct kv_dir *dir, struct err_text *why)
{
    int fd = openat(dir->fd, "data.mdb", O_RDONLY | O_CLOEXEC);
    if (fd < 0)
        return kv_error_system(errno, "open data.mdb in", dir->path, why);
    struct stat st;
    struct meta metas[2];
    enum err e = ERR_OK;
    if (fstat(fd, &st) != 0 || read_metas(fd, metas) != ERR_OK)
        e = kv_error_system(errno, "read data.mdb in", dir->path, why);
    else
        e = judge(dir->path, metas, (uint64_t)st.st_size, why);
    (void)close(fd);
    return e;
}
