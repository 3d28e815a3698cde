/* folder.c - whole files and their permissions. */
#include "daemon/base/folder.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static enum err
said(const char *what, const char *path, struct err_text *why)
{
    int code = errno;
    enum err e = code == ENOENT                     ? ERR_NOT_FOUND
                 : code == ENOSPC || code == EDQUOT ? ERR_FULL
                 : code == EACCES || code == EPERM  ? ERR_DENIED
                                                    : ERR_IO;
    return err_set(e, why, "cannot %s %.300s: %s", what, path, strerror(code));
}

enum err
path_join(const char *dir, const char *name, char out[PATH_SIZE], struct err_text *why)
{
    int n = snprintf(out, PATH_SIZE, "%s/%s", dir, name);
    if (n < 0 || n >= PATH_SIZE)
        return err_set(ERR_INPUT, why, "%.200s/...: the path is too long", dir);
    return ERR_OK;
}

enum err
folder_sync(const char *path, struct err_text *why)
{
    int fd = open(path, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (fd < 0)
        return said("open folder", path, why);
    enum err e = fsync(fd) == 0 ? ERR_OK : said("sync folder", path, why);
    (void)close(fd);
    return e;
}

void
path_parent(const char *path, char out[PATH_SIZE])
{
    (void)snprintf(out, PATH_SIZE, "%s", path);
    size_t len = strlen(out);
    while (len > 1 && out[len - 1] == '/')
        out[--len] = '\0';
    char *slash = strrchr(out, '/');
    if (slash == NULL)
        (void)snprintf(out, PATH_SIZE, ".");
    else if (slash == out)
        out[1] = '\0';
    else
        *slash = '\0';
}

enum err
folder_make(const char *path, mode_t mode, struct err_text *why)
{
    char above[PATH_SIZE];
    struct stat st;
    if (mkdir(path, mode) != 0) {
        if (errno != EEXIST)
            return said("make folder", path, why);
        if (stat(path, &st) != 0)
            return said("look at", path, why);
        if (!S_ISDIR(st.st_mode))
            return err_set(ERR_IO, why, "%.300s is there and is not a folder", path);
        return ERR_OK;
    }
    if (chmod(path, mode) != 0) /* mkdir's mode went through the umask */
        return said("set the mode of", path, why);
    path_parent(path, above);
    return folder_sync(above, why);
}

enum err
folder_check_owner(const char *path, struct err_text *why)
{
    struct stat st;
    if (stat(path, &st) != 0)
        return errno == ENOENT ? ERR_OK : said("look at", path, why);
    if (st.st_uid == geteuid())
        return ERR_OK;
    return err_set(ERR_DENIED, why,
                   "%.300s belongs to uid %u, this runs as uid %u: say it as that user (setpriv "
                   "--reuid %u --regid %u --clear-groups ...)",
                   path, (unsigned)st.st_uid, (unsigned)geteuid(), (unsigned)st.st_uid,
                   (unsigned)st.st_gid);
}

static enum err
write_all(int fd, const char *path, const char *bytes, size_t len, struct err_text *why)
{
    while (len > 0) {
        ssize_t n = write(fd, bytes, len);
        if (n < 0 && errno == EINTR)
            continue;
        if (n < 0)
            return said("write", path, why);
        bytes += n;
        len -= (size_t)n;
    }
    return fsync(fd) == 0 ? ERR_OK : said("sync", path, why);
}

enum err
file_write(const char *dir, const char *name, const void *bytes, size_t len, mode_t mode,
           struct err_text *why)
{
    char path[PATH_SIZE];
    char fresh[PATH_SIZE + 8];
    enum err e = path_join(dir, name, path, why);
    if (e != ERR_OK)
        return e;
    (void)snprintf(fresh, sizeof fresh, "%s.new", path);
    (void)unlink(fresh); /* left by a power cut */
    int fd = open(fresh, O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, 0600);
    if (fd < 0)
        return said("create", fresh, why);
    if (fchmod(fd, mode) != 0)
        e = said("set the mode of", fresh, why);
    else
        e = write_all(fd, fresh, bytes, len, why);
    if (close(fd) != 0 && e == ERR_OK)
        e = said("close", fresh, why);
    if (e == ERR_OK && rename(fresh, path) != 0)
        e = said("rename", fresh, why);
    if (e != ERR_OK) {
        (void)unlink(fresh); /* the old file is still whole */
        return e;
    }
    return folder_sync(dir, why);
}

static enum err
read_all(int fd, const char *path, char *text, size_t size, size_t *out_len, struct err_text *why)
{
    size_t used = 0;
    while (used < size) {
        ssize_t n = read(fd, text + used, size - used);
        if (n < 0 && errno == EINTR)
            continue;
        if (n < 0)
            return said("read", path, why);
        if (n == 0)
            break;
        used += (size_t)n;
    }
    text[used] = '\0';
    *out_len = used;
    return ERR_OK;
}

enum err
file_read(const char *path, char **out_text, size_t *out_len, struct err_text *why)
{
    struct stat st;
    int fd = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK);
    if (fd < 0)
        return said("open", path, why);
    enum err e = ERR_OK;
    char *text = NULL;
    if (fstat(fd, &st) != 0)
        e = said("look at", path, why);
    else if (!S_ISREG(st.st_mode) || st.st_size > FILE_MOST)
        e = err_set(ERR_INPUT, why, "%.300s: expected a plain file of at most 1 MiB", path);
    else if ((text = malloc((size_t)st.st_size + 1)) == NULL)
        e = err_set(ERR_MEM, why, "out of memory");
    else
        e = read_all(fd, path, text, (size_t)st.st_size, out_len, why);
    (void)close(fd);
    if (e == ERR_OK)
        *out_text = text;
    else
        free(text);
    return e;
}

/* Is that what the file holds, and with that mode? */
static bool
holds(const char *dir, const char *name, const void *bytes, size_t len, mode_t mode)
{
    char path[PATH_SIZE], *text = NULL;
    struct stat st;
    size_t there = 0;
    bool same = path_join(dir, name, path, NULL) == ERR_OK && lstat(path, &st) == 0 &&
                S_ISREG(st.st_mode) && (st.st_mode & 07777) == mode &&
                file_read(path, &text, &there, NULL) == ERR_OK && there == len &&
                memcmp(text, bytes, len) == 0;
    free(text);
    return same;
}

enum err
file_keep(const char *dir, const char *name, const void *bytes, size_t len, mode_t mode,
          struct err_text *why)
{
    return holds(dir, name, bytes, len, mode) ? ERR_OK
                                              : file_write(dir, name, bytes, len, mode, why);
}

bool
file_there(const char *dir, const char *name)
{
    char path[PATH_SIZE];
    struct stat st;
    return path_join(dir, name, path, NULL) == ERR_OK && lstat(path, &st) == 0;
}

enum err
file_remove(const char *dir, const char *name, struct err_text *why)
{
    char path[PATH_SIZE];
    enum err e = path_join(dir, name, path, why);
    if (e != ERR_OK)
        return e;
    if (unlink(path) != 0)
        return errno == ENOENT ? ERR_OK : said("remove", path, why);
    return folder_sync(dir, why);
}

enum err
file_rename(const char *dir, const char *from, const char *to, struct err_text *why)
{
    char old[PATH_SIZE], fresh[PATH_SIZE];
    enum err e = path_join(dir, from, old, why);
    if (e == ERR_OK)
        e = path_join(dir, to, fresh, why);
    if (e != ERR_OK)
        return e;
    return rename(old, fresh) == 0 ? folder_sync(dir, why) : said("rename", old, why);
}

enum err
file_check_secret(const char *path, struct err_text *why)
{
    struct stat st;
    if (lstat(path, &st) != 0)
        return said("look at", path, why);
    if (!S_ISREG(st.st_mode))
        return err_set(ERR_DENIED, why, "%.300s: a key must be a plain file, not a link", path);
    if (st.st_uid != geteuid())
        return err_set(ERR_DENIED, why, "%.300s belongs to uid %u, this runs as uid %u: chown it",
                       path, (unsigned)st.st_uid, (unsigned)geteuid());
    if ((st.st_mode & 077) != 0)
        return err_set(ERR_DENIED, why,
                       "%.300s holds a secret and others may read it (mode %04o): chmod 600 it",
                       path, (unsigned)(st.st_mode & 07777));
    return ERR_OK;
}
