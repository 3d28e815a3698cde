/* fault_log.c - the log of changes, and which files belong in it. */
#include "tests/faults/fault.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/syscall.h>
#include <unistd.h>

static char dir[FAULT_PATH];
static size_t dir_len;
static const char *log_path;
static int log_fd = -1;
static pthread_mutex_t mutex = PTHREAD_MUTEX_INITIALIZER;

void
fault_lock(void)
{
    (void)pthread_mutex_lock(&mutex);
}

void
fault_unlock(void)
{
    (void)pthread_mutex_unlock(&mutex);
}

void
fault_log_init(void)
{
    const char *path = getenv("FAULT_DIR");
    if (path != NULL && realpath(path, dir) != NULL)
        dir_len = strlen(dir);
    log_path = getenv("FAULT_LOG");
    if (log_path == NULL)
        return;
    int fd = (int)syscall(SYS_openat, AT_FDCWD, log_path, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC,
                          0600);
    if (fd < 0)
        fault_bad("FAULT_LOG", log_path);
    log_fd = fcntl(fd, F_DUPFD_CLOEXEC, 500); /* out of the way of the program */
    if (log_fd < 0)
        log_fd = fd;
    else
        (void)close(fd);
}

bool
fault_is_log(int fd)
{
    return fd == log_fd;
}

static bool
below(const char *path)
{
    return dir_len > 0 && strncmp(path, dir, dir_len) == 0 &&
           (path[dir_len] == '/' || path[dir_len] == '\0');
}

static bool
path_of_fd(int fd, char out[FAULT_PATH])
{
    char link[40];
    (void)snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t n = readlink(link, out, FAULT_PATH - 1);
    if (n < 0)
        return false;
    out[n] = '\0';
    return true;
}

bool
fault_watched(int fd, struct stat *st)
{
    char path[FAULT_PATH];
    int kept = errno;
    bool is = fault_ready && dir_len > 0 && fd >= 0 && fd != log_fd && path_of_fd(fd, path) &&
              below(path) && fstat(fd, st) == 0;
    errno = kept;
    return is;
}

/* The folder resolved, the name as it is. */
static bool
resolve(char *path, char out[FAULT_PATH])
{
    char folder[PATH_MAX];
    size_t len = strlen(path);
    while (len > 1 && path[len - 1] == '/')
        path[--len] = '\0';
    char *slash = strrchr(path, '/');
    if (slash == NULL)
        return false;
    *slash = '\0';
    if (realpath(*path != '\0' ? path : "/", folder) == NULL)
        return false;
    (void)snprintf(out, FAULT_PATH, "%.2000s/%.2000s", folder, slash + 1);
    return below(out);
}

bool
fault_path(int at, const char *path, char out[FAULT_PATH])
{
    char whole[FAULT_PATH * 2], base[FAULT_PATH];
    int kept = errno;
    bool is = fault_ready && dir_len > 0 && path != NULL;
    if (is && *path == '/') {
        (void)snprintf(whole, sizeof whole, "%s", path);
    } else if (is) {
        is = at == AT_FDCWD ? getcwd(base, sizeof base) != NULL : path_of_fd(at, base);
        if (is)
            (void)snprintf(whole, sizeof whole, "%s/%s", base, path);
    }
    is = is && resolve(whole, out);
    errno = kept;
    return is;
}

uint64_t
fault_log_size(void)
{
    struct stat st;
    return log_fd >= 0 && fstat(log_fd, &st) == 0 ? (uint64_t)st.st_size : 0;
}

void
fault_log(char type, uint64_t ino, int64_t off, uint64_t start, const struct iovec *parts, int n,
          size_t most)
{
    struct change head = {.type = (uint8_t)type, .pid = (uint32_t)getpid(), .ino = ino};
    struct iovec out[FAULT_PARTS];
    int kept = errno, k = 1;
    if (log_fd < 0)
        return;
    head.off = off;
    head.start = start;
    for (int i = 0; i < n && k < FAULT_PARTS && most > 0; i++) {
        out[k] = parts[i];
        if (out[k].iov_len > most)
            out[k].iov_len = most;
        most -= out[k].iov_len;
        head.len += (uint32_t)out[k++].iov_len;
    }
    out[0] = (struct iovec){&head, sizeof head};
    if (syscall(SYS_writev, log_fd, out, k) != (long)(sizeof head + head.len))
        fault_bad("FAULT_LOG cannot be written", log_path);
    errno = kept;
}

void
fault_log_path(char type, uint64_t ino, const char *path, const char *to)
{
    char text[FAULT_PATH * 2];
    if (strlen(path) <= dir_len)
        return; /* the folder itself */
    size_t len = strlen(path + dir_len + 1);
    memcpy(text, path + dir_len + 1, len);
    if (to != NULL && strlen(to) > dir_len) {
        text[len++] = '\0';
        memcpy(text + len, to + dir_len + 1, strlen(to + dir_len + 1));
        len += strlen(to + dir_len + 1);
    }
    struct iovec part = {text, len};
    fault_log(type, ino, 0, 0, &part, 1, SIZE_MAX);
}
