/* kv_mend.c - puts a number right, or copies the good head page over the bad one. */
#include "daemon/store/kv_mend.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "daemon/store/kv_error.h"
#include "daemon/store/kv_number.h"
#include "daemon/store/kv_page.h"
#include "daemon/store/kv_tree.h"

#define ASIDE "head.bad"
enum {
    NAMES_MOST = 10000
};

static enum err
read_page(int fd, int page, uint8_t bytes[PAGE_SIZE])
{
    memset(bytes, 0, PAGE_SIZE); /* a file that is too short */
    return pread(fd, bytes, PAGE_SIZE, (off_t)page * PAGE_SIZE) >= 0 ? ERR_OK : ERR_IO;
}

static enum err
write_all(int fd, const uint8_t *bytes, size_t len, off_t at)
{
    while (len > 0) {
        ssize_t n = pwrite(fd, bytes, len, at);
        if (n < 0 && errno == EINTR)
            continue;
        if (n <= 0)
            return ERR_IO;
        bytes += n;
        at += n;
        len -= (size_t)n;
    }
    return fsync(fd) == 0 ? ERR_OK : ERR_IO;
}

/* Once: after a mend that was cut short the page may be half mended, the copy is not. */
static enum err
put_aside(const struct kv_dir *dir, const uint8_t page[PAGE_SIZE], struct err_text *why)
{
    if (kv_dir_has(dir, ASIDE))
        return ERR_OK;
    int fd = openat(dir->fd, ASIDE ".new", O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0600);
    bool fine = fd >= 0 && write_all(fd, page, PAGE_SIZE, 0) == ERR_OK;
    int code = errno;
    if (fd >= 0)
        (void)close(fd);
    if (fine && renameat(dir->fd, ASIDE ".new", dir->fd, ASIDE) != 0) {
        code = errno;
        fine = false;
    }
    return fine ? kv_dir_sync(dir, why)
                : kv_error_system(code, "put the bad head page aside in", dir->path, why);
}

/* Which page is bad, -1: none or both. `bytes`, `heads` are filled. */
static int
bad_page(uint8_t bytes[2][PAGE_SIZE], struct page_head heads[2])
{
    bool bad[2];
    for (int i = 0; i < 2; i++) {
        heads[i] = page_head_of(bytes[i]);
        bad[i] = page_head_fault(&heads[i], (unsigned)i) != NULL;
    }
    if (bad[0] == bad[1])
        return -1;
    return bad[0] ? 0 : 1;
}

static enum err
told(const struct kv_dir *dir, enum err e, struct err_text *why)
{
    return e == ERR_OK ? e : kv_error_system(errno, "mend data.mdb in", dir->path, why);
}

static enum err
mend_file(const struct kv_dir *dir, int fd, uint64_t size, bool *out_numbered, struct err_text *why)
{
    uint8_t bytes[2][PAGE_SIZE];
    struct page_head heads[2];
    struct kv_fault fault;
    uint64_t number = 0;
    if (read_page(fd, 0, bytes[0]) != ERR_OK || read_page(fd, 1, bytes[1]) != ERR_OK)
        return kv_error_system(errno, "read data.mdb in", dir->path, why);
    int bad = bad_page(bytes, heads);
    int numbered = kv_number_wrong(fd, heads, size, &number);
    *out_numbered = numbered >= 0;
    if (*out_numbered)
        return told(dir, kv_number_write(fd, numbered, number), why);
    if (bad < 0 || heads[1 - bad].txn == 0 ||
        kv_tree_check(fd, &heads[1 - bad], size, true, &fault) != ERR_OK)
        return ERR_NOT_FOUND;
    enum err e = put_aside(dir, bytes[bad], why);
    if (e != ERR_OK)
        return e;
    page_head_twin(bytes[1 - bad], (unsigned)bad, bytes[bad]);
    return told(dir, write_all(fd, bytes[bad], PAGE_SIZE, (off_t)bad * PAGE_SIZE), why);
}

enum err
kv_mend(const struct kv_dir *dir, bool *out_numbered, struct err_text *why)
{
    struct stat st;
    int fd = openat(dir->fd, "data.mdb", O_RDWR | O_CLOEXEC);
    if (fd < 0)
        return ERR_NOT_FOUND;
    enum err e = ERR_NOT_FOUND;
    if (fstat(fd, &st) == 0 && S_ISREG(st.st_mode) && st.st_size >= (off_t)2 * PAGE_SIZE)
        e = mend_file(dir, fd, (uint64_t)st.st_size, out_numbered, why);
    (void)close(fd);
    return e;
}

bool
kv_mend_pending(const struct kv_dir *dir)
{
    return kv_dir_has(dir, ASIDE);
}

enum err
kv_mend_settled(const struct kv_dir *dir, char out_name[32], struct err_text *why)
{
    int n = 1;
    do {
        (void)snprintf(out_name, 32, "%s.%d", ASIDE, n);
    } while (kv_dir_has(dir, out_name) && ++n < NAMES_MOST);
    if (renameat(dir->fd, ASIDE, dir->fd, out_name) != 0)
        return kv_error_system(errno, "rename " ASIDE " in", dir->path, why);
    return kv_dir_sync(dir, why);
}
