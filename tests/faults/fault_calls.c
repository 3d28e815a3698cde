/* fault_calls.c - the calls that stand before libc's. */
#define _FILE_OFFSET_BITS 64
#include "tests/faults/fault.h"

#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <stdarg.h>
#include <stdlib.h>
#include <sys/mman.h>
#include <sys/socket.h>
#include <unistd.h>

#undef open
#undef open64

/* libc's own, looked up once. */
#define REAL(ret, name, ...)         \
    static ret (*real)(__VA_ARGS__); \
    if (real == NULL)                \
    *(void **)&real = dlsym(RTLD_NEXT, #name)

__attribute__((constructor)) static void
init(void)
{
    if (fault_ready)
        return;
    fault_rules_init();
    fault_log_init();
    fault_ready = true;
}

/* ---------------------------------------------------------------- writing */

static size_t
total(const struct iovec *parts, int n)
{
    size_t sum = 0;
    for (int i = 0; i < n; i++)
        sum += parts[i].iov_len;
    return sum;
}

/* The first `most` bytes of `parts`; the number of parts. */
static int
cut_parts(const struct iovec *parts, int n, size_t most, struct iovec out[FAULT_PARTS])
{
    int k = 0;
    for (; k < n && k < FAULT_PARTS && most > 0; k++) {
        out[k] = parts[k];
        if (out[k].iov_len > most)
            out[k].iov_len = most;
        most -= out[k].iov_len;
    }
    return k;
}

static ssize_t
really_write(int fd, const struct iovec *parts, int n, off_t off, bool positioned)
{
    static ssize_t (*at)(int, const struct iovec *, int, off_t);
    static ssize_t (*next)(int, const struct iovec *, int);
    static ssize_t (*one_at)(int, const void *, size_t, off_t);
    static ssize_t (*one_next)(int, const void *, size_t);
    if (at == NULL) {
        *(void **)&next = dlsym(RTLD_NEXT, "writev");
        *(void **)&one_at = dlsym(RTLD_NEXT, "pwrite64");
        *(void **)&one_next = dlsym(RTLD_NEXT, "write");
        *(void **)&at = dlsym(RTLD_NEXT, "pwritev64");
    }
    if (n == 1 && positioned)
        return one_at(fd, parts[0].iov_base, parts[0].iov_len, off);
    if (n == 1)
        return one_next(fd, parts[0].iov_base, parts[0].iov_len);
    return positioned ? at(fd, parts, n, off) : next(fd, parts, n);
}

/* A write below the folder, struck by the rules and the full disk. The line in the log comes before
 * the call: the power may go in the midst of it. */
static ssize_t
watched_write(int fd, const struct stat *st, const struct iovec *parts, int n, off_t off,
              bool positioned, size_t most)
{
    struct iovec cut[FAULT_PARTS];
    int flags = fcntl(fd, F_GETFL);
    if (!positioned || (flags & O_APPEND) != 0)
        off = (flags & O_APPEND) != 0 ? st->st_size : lseek(fd, 0, SEEK_CUR);
    if (off + (off_t)most > st->st_size &&
        !fault_may_grow((uint64_t)(off + (off_t)most - st->st_size)))
        return -1;
    fault_log('W', st->st_ino, off, 0, parts, n, most);
    if (most < total(parts, n)) {
        n = cut_parts(parts, n, most, cut);
        parts = cut;
    }
    ssize_t r = n == 0 ? 0 : really_write(fd, parts, n, off, positioned);
    if ((flags & (O_DSYNC | O_SYNC)) != 0 && r > 0)
        fault_log('M', st->st_ino, off, 0, parts, n, (size_t)r);
    return r;
}

static ssize_t
write_parts(const char *name, int fd, const struct iovec *parts, int n, off_t off, bool positioned)
{
    struct stat st;
    if (!fault_watched(fd, &st) || !S_ISREG(st.st_mode))
        return really_write(fd, parts, n, off, positioned);
    long most = fault_strike(CALL_WRITE, name);
    if (most < 0)
        return -1;
    size_t len = total(parts, n);
    if (most > 0 && (size_t)most - 1 < len)
        len = (size_t)most - 1;
    fault_lock();
    ssize_t r = watched_write(fd, &st, parts, n, off, positioned, len);
    fault_unlock();
    return r;
}

ssize_t
write(int fd, const void *bytes, size_t n)
{
    struct iovec part = {(void *)(uintptr_t)bytes, n};
    return write_parts("write", fd, &part, 1, 0, false);
}

ssize_t
writev(int fd, const struct iovec *parts, int n)
{
    return write_parts("writev", fd, parts, n, 0, false);
}

ssize_t
pwrite64(int fd, const void *bytes, size_t n, off64_t off)
{
    struct iovec part = {(void *)(uintptr_t)bytes, n};
    return write_parts("pwrite", fd, &part, 1, off, true);
}

ssize_t
pwritev64(int fd, const struct iovec *parts, int n, off64_t off)
{
    return write_parts("pwritev", fd, parts, n, off, true);
}

/* ---------------------------------------------------------------- syncing and size */

static int
sync_fd(const char *name, int fd, int (*real)(int))
{
    struct stat st;
    if (!fault_watched(fd, &st))
        return real(fd);
    uint64_t start = fault_log_size();
    if (fault_strike(CALL_SYNC, name) < 0) {
        fault_log('F', st.st_ino, 0, start, NULL, 0, 0);
        return -1;
    }
    int r = real(fd);
    fault_log(r != 0 ? 'F' : 'S', st.st_ino, 0, start, NULL, 0, 0);
    return r;
}

int
fsync(int fd)
{
    REAL(int, fsync, int);
    return sync_fd("fsync", fd, real);
}

int
fdatasync(int fd)
{
    REAL(int, fdatasync, int);
    return sync_fd("fdatasync", fd, real);
}

/* false: the call fails. */
static bool
size_changes(const char *name, int fd, off_t size, bool takes_room, bool shrinks)
{
    struct stat st;
    if (!fault_watched(fd, &st))
        return true;
    if (fault_strike(CALL_TRUNC, name) < 0)
        return false;
    if (takes_room && size > st.st_size && !fault_may_grow((uint64_t)(size - st.st_size)))
        return false;
    if (shrinks || size > st.st_size)
        fault_log('T', st.st_ino, size, 0, NULL, 0, 0);
    return true;
}

int
ftruncate64(int fd, off64_t size)
{
    REAL(int, ftruncate64, int, off64_t);
    return size_changes("ftruncate", fd, size, false, true) ? real(fd, size) : -1;
}

int
fallocate64(int fd, int mode, off64_t off, off64_t len)
{
    REAL(int, fallocate64, int, int, off64_t, off64_t);
    return size_changes("fallocate", fd, off + len, true, false) ? real(fd, mode, off, len) : -1;
}

int
posix_fallocate64(int fd, off64_t off, off64_t len)
{
    return fallocate64(fd, 0, off, len) != 0 ? errno : 0;
}

void *
mmap64(void *at, size_t len, int protection, int flags, int fd, off64_t off)
{
    REAL(void *, mmap64, void *, size_t, int, int, int, off64_t);
    struct stat st;
    if ((fault_classes & 1U << CALL_MMAP) != 0 && fd >= 0 && fault_watched(fd, &st) &&
        fault_strike(CALL_MMAP, "mmap") < 0)
        return MAP_FAILED;
    return real(at, len, protection, flags, fd, off);
}

/* ---------------------------------------------------------------- names */

static int
open_at(int at, const char *name, int flags, mode_t mode)
{
    REAL(int, openat64, int, const char *, int, ...);
    char path[FAULT_PATH];
    struct stat st;
    if (!fault_path(at, name, path))
        return real(at, name, flags, mode);
    if (fault_strike(CALL_OPEN, "open") < 0)
        return -1;
    int kept = errno;
    bool there = lstat(path, &st) == 0;
    errno = kept;
    if (there && S_ISREG(st.st_mode) && (flags & O_TRUNC) != 0 && (flags & O_ACCMODE) != O_RDONLY)
        fault_log('T', st.st_ino, 0, 0, NULL, 0, 0);
    fault_lock();
    int fd = real(at, name, flags, mode);
    if (fd >= 0 && !there && (flags & O_CREAT) != 0 && fstat(fd, &st) == 0)
        fault_log_path('C', st.st_ino, path, NULL);
    fault_unlock();
    return fd;
}

#define TAKE_MODE(flags, mode)                    \
    mode_t mode = 0;                              \
    if (((flags) & (O_CREAT | O_TMPFILE)) != 0) { \
        va_list rest;                             \
        va_start(rest, flags);                    \
        mode = va_arg(rest, mode_t);              \
        va_end(rest);                             \
    }

int
open64(const char *path, int flags, ...)
{
    TAKE_MODE(flags, mode);
    return open_at(AT_FDCWD, path, flags, mode);
}

int
openat64(int at, const char *path, int flags, ...)
{
    TAKE_MODE(flags, mode);
    return open_at(at, path, flags, mode);
}

int
__open64_2(const char *path, int flags)
{
    return open_at(AT_FDCWD, path, flags, 0);
}

int
__openat64_2(int at, const char *path, int flags)
{
    return open_at(at, path, flags, 0);
}

int
renameat(int from_at, const char *from, int to_at, const char *to)
{
    REAL(int, renameat, int, const char *, int, const char *);
    char a[FAULT_PATH], b[FAULT_PATH];
    bool from_below = fault_path(from_at, from, a), to_below = fault_path(to_at, to, b);
    if ((from_below || to_below) && fault_strike(CALL_RENAME, "rename") < 0)
        return -1;
    fault_lock();
    int r = real(from_at, from, to_at, to);
    if (r == 0 && from_below && to_below)
        fault_log_path('R', 0, a, b);
    fault_unlock();
    return r;
}

int
rename(const char *from, const char *to)
{
    return renameat(AT_FDCWD, from, AT_FDCWD, to);
}

int
unlinkat(int at, const char *name, int flags)
{
    REAL(int, unlinkat, int, const char *, int);
    char path[FAULT_PATH];
    bool is_below = fault_path(at, name, path);
    if (is_below && fault_strike(CALL_UNLINK, "unlink") < 0)
        return -1;
    fault_lock();
    int r = real(at, name, flags);
    if (r == 0 && is_below)
        fault_log_path((flags & AT_REMOVEDIR) != 0 ? 'D' : 'U', 0, path, NULL);
    fault_unlock();
    return r;
}

int
unlink(const char *name)
{
    return unlinkat(AT_FDCWD, name, 0);
}

int
rmdir(const char *name)
{
    return unlinkat(AT_FDCWD, name, AT_REMOVEDIR);
}

int
mkdirat(int at, const char *name, mode_t mode)
{
    REAL(int, mkdirat, int, const char *, mode_t);
    char path[FAULT_PATH];
    struct stat st;
    bool is_below = fault_path(at, name, path);
    if (is_below && fault_strike(CALL_MKDIR, "mkdir") < 0)
        return -1;
    int r = real(at, name, mode);
    if (r == 0 && is_below && lstat(path, &st) == 0)
        fault_log_path('K', st.st_ino, path, NULL);
    return r;
}

int
mkdir(const char *name, mode_t mode)
{
    return mkdirat(AT_FDCWD, name, mode);
}

/* ---------------------------------------------------------------- reading */

/* How many of `n` bytes may be read; -1: the call fails. */
static ssize_t
may_read(const char *name, int fd, size_t n)
{
    struct stat st;
    if ((fault_classes & 1U << CALL_READ) == 0 || !fault_watched(fd, &st) || !S_ISREG(st.st_mode))
        return (ssize_t)n;
    long most = fault_strike(CALL_READ, name);
    if (most < 0)
        return -1;
    return most > 0 && (size_t)most - 1 < n ? most - 1 : (ssize_t)n;
}

ssize_t
read(int fd, void *bytes, size_t n)
{
    REAL(ssize_t, read, int, void *, size_t);
    ssize_t most = may_read("read", fd, n);
    return most < 0 ? -1 : real(fd, bytes, (size_t)most);
}

ssize_t
pread64(int fd, void *bytes, size_t n, off64_t off)
{
    REAL(ssize_t, pread64, int, void *, size_t, off64_t);
    ssize_t most = may_read("pread", fd, n);
    return most < 0 ? -1 : real(fd, bytes, (size_t)most, off);
}

/* ---------------------------------------------------------------- sockets, memory */

static bool
sock_fails(const char *name)
{
    return (fault_classes & 1U << CALL_SOCK) != 0 && fault_strike(CALL_SOCK, name) < 0;
}

int
socket(int domain, int type, int protocol)
{
    REAL(int, socket, int, int, int);
    return sock_fails("socket") ? -1 : real(domain, type, protocol);
}

int
accept4(int fd, struct sockaddr *from, socklen_t *len, int flags)
{
    REAL(int, accept4, int, struct sockaddr *, socklen_t *, int);
    return sock_fails("accept") ? -1 : real(fd, from, len, flags);
}

#ifdef FAULT_ALLOC /* a library of its own: it would get in the way of sanitizers */
void *__libc_malloc(size_t n);
void *__libc_calloc(size_t n, size_t size);
void *__libc_realloc(void *old, size_t n);

static bool
no_memory(void)
{
    static _Thread_local bool inside;
    if (!fault_ready || inside || (fault_classes & 1U << CALL_ALLOC) == 0)
        return false;
    inside = true;
    bool fails = fault_strike(CALL_ALLOC, "malloc") < 0;
    inside = false;
    return fails;
}

void *
malloc(size_t n)
{
    return no_memory() ? NULL : __libc_malloc(n);
}

void *
calloc(size_t n, size_t size)
{
    return no_memory() ? NULL : __libc_calloc(n, size);
}

void *
realloc(void *old, size_t n)
{
    return no_memory() ? NULL : __libc_realloc(old, n);
}
#endif

/* off_t has 64 bits here: the plain names are the same calls. */
__asm__(".globl mmap\n.set mmap, mmap64\n"
        ".globl pwrite\n.set pwrite, pwrite64\n"
        ".globl pwritev\n.set pwritev, pwritev64\n"
        ".globl pread\n.set pread, pread64\n"
        ".globl open\n.set open, open64\n"
        ".globl openat\n.set openat, openat64\n"
        ".globl ftruncate\n.set ftruncate, ftruncate64\n"
        ".globl fallocate\n.set fallocate, fallocate64\n"
        ".globl posix_fallocate\n.set posix_fallocate, posix_fallocate64\n");
