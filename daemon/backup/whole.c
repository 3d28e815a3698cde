/* whole.c - a large file, whole or not at all. */
#include "daemon/backup/whole.h"

#include <errno.h>
#include <fcntl.h>
#include <stdbool.h>
#include <stdio.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include "daemon/store/kv_error.h"

/* A writer that has just finished may have renamed what was opened here: then it is its file. */
static bool
still_there(const struct whole *whole)
{
    struct stat open_one, named;
    return fstat(whole->fd, &open_one) == 0 && lstat(whole->part, &named) == 0 &&
           open_one.st_dev == named.st_dev && open_one.st_ino == named.st_ino;
}

static enum err
open_locked(struct whole *whole, struct err_text *why)
{
    for (;;) {
        whole->fd = open(whole->part, O_RDWR | O_CREAT | O_NOFOLLOW | O_CLOEXEC, 0600);
        if (whole->fd < 0)
            return kv_error_system(errno, "write", whole->part, why);
        if (flock(whole->fd, LOCK_EX | LOCK_NB) != 0) {
            enum err e =
                errno == EWOULDBLOCK
                    ? err_set(ERR_BUSY, why, "another process writes %.300s now", whole->path)
                    : kv_error_system(errno, "lock", whole->part, why);
            (void)close(whole->fd);
            whole->fd = -1;
            return e;
        }
        if (still_there(whole))
            return ERR_OK;
        (void)close(whole->fd);
    }
}

enum err
whole_open(const char *path, struct whole *out, struct err_text *why)
{
    out->fd = -1;
    if ((size_t)snprintf(out->path, sizeof out->path, "%s", path) >= sizeof out->path)
        return err_set(ERR_INPUT, why, "%.200s...: the path is too long", path);
    (void)snprintf(out->part, sizeof out->part, "%s.part", out->path);
    enum err e = open_locked(out, why);
    if (e == ERR_OK && (fchmod(out->fd, 0600) != 0 || ftruncate(out->fd, 0) != 0)) {
        e = kv_error_system(errno, "write", out->part, why);
        whole_drop(out);
    }
    return e;
}

enum err
whole_commit(struct whole *whole, struct err_text *why)
{
    char above[PATH_SIZE];
    enum err e = ERR_OK;
    if (fsync(whole->fd) != 0)
        e = kv_error_system(errno, "flush", whole->part, why);
    if (e == ERR_OK && rename(whole->part, whole->path) != 0) /* still locked */
        e = kv_error_system(errno, "rename", whole->part, why);
    if (e != ERR_OK) {
        whole_drop(whole);
        return e;
    }
    (void)close(whole->fd);
    whole->fd = -1;
    path_parent(whole->path, above);
    return folder_sync(above, why);
}

void
whole_drop(struct whole *whole)
{
    if (whole->fd < 0)
        return;
    (void)unlink(whole->part);
    (void)close(whole->fd);
    whole->fd = -1;
}
