/* kv_dir.c - the folder of an environment: its lock, its disk, its ballast. */
#include "daemon/store/kv_dir.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <sys/statvfs.h>
#include <sys/vfs.h>
#include <unistd.h>
#include "daemon/store/kv_error.h"

/* statfs(2) and linux/magic.h. */
static const struct {
    uint32_t type;
    const char *word;
} refused[] = {
    {0x6969, "NFS"},      {0x517B, "SMB"},        {0xFF534D42, "CIFS"},
    {0xFE534D42, "SMB"},  {0x65735546, "FUSE"},   {0x01021997, "9P"},
    {0x00C36400, "Ceph"}, {0x5346414F, "AFS"},    {0x6B414653, "AFS"},
    {0x73757245, "Coda"}, {0x564C, "NCP"},        {0x7461636F, "OCFS2"},
    {0x01161970, "GFS2"}, {0x0BD00BD0, "Lustre"}, {0x786F4256, "VirtualBox share"},
};

const char *
kv_dir_refused(long type)
{
    for (size_t i = 0; i < sizeof refused / sizeof refused[0]; i++)
        if (refused[i].type == (uint32_t)type)
            return refused[i].word;
    return NULL;
}

/* Makes the folder, and its name durable in the folder above. */
static enum err
make_folder(const char *path, struct err_text *why)
{
    if (mkdir(path, 0700) != 0)
        return errno == EEXIST ? ERR_OK : kv_error_system(errno, "make", path, why);
    char above[4096];
    if ((size_t)snprintf(above, sizeof above, "%s/..", path) >= sizeof above)
        return kv_error_system(ENAMETOOLONG, "make", path, why);
    int fd = open(above, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (fd < 0)
        return kv_error_system(errno, "open", above, why);
    int rc = fsync(fd) == 0 ? 0 : errno;
    (void)close(fd);
    return rc == 0 ? ERR_OK : kv_error_system(rc, "flush", above, why);
}

static enum err
check_disk(const struct kv_dir *dir, struct err_text *why)
{
    struct statfs fs;
    if (fstatfs(dir->fd, &fs) != 0)
        return kv_error_system(errno, "ask the disk of", dir->path, why);
    const char *word = kv_dir_refused((long)fs.f_type);
    if (word == NULL)
        return ERR_OK;
    return err_set(ERR_IO, why,
                   "%s: is on a file system of kind %s, which cannot keep a store safe: "
                   "choose a folder on a local disk",
                   dir->path, word);
}

static enum err
lock_taken(const struct kv_dir *dir, struct err_text *why)
{
    char pid[24] = "";
    ssize_t n = pread(dir->lock_fd, pid, sizeof pid - 1, 0);
    pid[n > 0 ? n : 0] = '\0';
    pid[strcspn(pid, "\n")] = '\0';
    return err_set(ERR_BUSY, why, "%s: another process%s%s has this store open", dir->path,
                   pid[0] != '\0' ? " with the number " : "", pid);
}

/* flock is tied to the open file, so a second open in this process is refused too. */
enum err
kv_dir_lock(struct kv_dir *dir, struct err_text *why)
{
    dir->lock_fd = openat(dir->fd, "lock", O_RDWR | O_CREAT | O_CLOEXEC, 0600);
    if (dir->lock_fd < 0)
        return kv_error_system(errno, "open the lock in", dir->path, why);
    if (flock(dir->lock_fd, LOCK_EX | LOCK_NB) != 0)
        return errno == EWOULDBLOCK ? lock_taken(dir, why)
                                    : kv_error_system(errno, "lock", dir->path, why);
    char pid[24]; /* for people only: whether it can be written does not matter */
    int n = snprintf(pid, sizeof pid, "%ld\n", (long)getpid());
    (void)(ftruncate(dir->lock_fd, 0) == 0 && pwrite(dir->lock_fd, pid, (size_t)n, 0) > 0);
    return ERR_OK;
}

static uint64_t
ballast_size(const struct kv_dir *dir, uint64_t kib)
{
    struct statvfs fs;
    if (fstatvfs(dir->fd, &fs) != 0)
        return 0;
    uint64_t part = (uint64_t)fs.f_blocks * fs.f_frsize / 32;
    uint64_t size = (kib != 0 ? kib : 16384) * 1024;
    return (size < part ? size : part) & ~(uint64_t)4095;
}

/* Opens the folder; the lock is left alone. */
static enum err
open_folder(struct kv_dir *dir, const char *path, bool make, struct err_text *why)
{
    *dir = (struct kv_dir){.path = strdup(path), .fd = -1, .lock_fd = -1};
    enum err e = dir->path != NULL ? ERR_OK : kv_error_system(ENOMEM, "open", path, why);
    if (e == ERR_OK && make)
        e = make_folder(path, why);
    if (e == ERR_OK) {
        dir->fd = open(path, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
        if (dir->fd < 0)
            e = kv_error_system(errno, "open", path, why);
    }
    return e == ERR_OK ? check_disk(dir, why) : e;
}

enum err
kv_dir_open(const char *path, bool read_only, uint64_t ballast_kib, struct kv_dir *dir,
            struct err_text *why)
{
    enum err e = open_folder(dir, path, !read_only, why);
    if (e == ERR_OK)
        e = kv_dir_lock(dir, why);
    if (e == ERR_OK)
        dir->ballast = ballast_size(dir, ballast_kib);
    else
        kv_dir_close(dir);
    return e;
}

enum err
kv_dir_look(const char *path, struct kv_dir *dir, struct err_text *why)
{
    enum err e = open_folder(dir, path, false, why);
    if (e != ERR_OK)
        kv_dir_close(dir);
    return e;
}

void
kv_dir_unlock(struct kv_dir *dir)
{
    if (dir->lock_fd >= 0)
        (void)close(dir->lock_fd);
    dir->lock_fd = -1;
}

void
kv_dir_give(const struct kv_dir *dir, const char *name)
{
    struct stat st;
    if (geteuid() == 0 && fstat(dir->fd, &st) == 0 && st.st_uid != 0)
        (void)!fchownat(dir->fd, name, st.st_uid, st.st_gid, AT_SYMLINK_NOFOLLOW); /* a courtesy */
}

void
kv_dir_close(struct kv_dir *dir)
{
    kv_dir_unlock(dir);
    if (dir->fd >= 0)
        (void)close(dir->fd);
    free(dir->path);
    *dir = (struct kv_dir){.fd = -1, .lock_fd = -1};
}

bool
kv_dir_has(const struct kv_dir *dir, const char *name)
{
    struct stat st;
    return fstatat(dir->fd, name, &st, 0) == 0;
}

enum err
kv_dir_sync(const struct kv_dir *dir, struct err_text *why)
{
    return fsync(dir->fd) == 0 ? ERR_OK : kv_error_system(errno, "flush", dir->path, why);
}

enum err
kv_dir_reserve(const struct kv_dir *dir, const char *name, uint64_t size, struct err_text *why)
{
    int fd = openat(dir->fd, name, O_RDWR | O_CREAT | O_CLOEXEC, 0600);
    if (fd < 0)
        return kv_error_system(errno, "make", name, why);
    int rc = posix_fallocate(fd, 0, (off_t)size);
    (void)close(fd);
    return rc == 0 ? ERR_OK : kv_error_system(rc, "reserve room in", dir->path, why);
}

uint64_t
kv_dir_free(const struct kv_dir *dir)
{
    struct statvfs fs;
    if (fstatvfs(dir->fd, &fs) != 0)
        return UINT64_MAX; /* not known: a write will tell */
    return (uint64_t)fs.f_bavail * fs.f_frsize;
}

bool
kv_dir_ballast_there(const struct kv_dir *dir)
{
    return kv_dir_has(dir, "ballast");
}

void
kv_dir_ballast_make(const struct kv_dir *dir)
{
    if (dir->ballast == 0 || kv_dir_ballast_there(dir) || kv_dir_free(dir) / 2 < dir->ballast)
        return;
    if (kv_dir_reserve(dir, "ballast", dir->ballast, NULL) != ERR_OK)
        kv_dir_ballast_drop(dir); /* part of it is worse than none: it would look whole */
}

void
kv_dir_ballast_drop(const struct kv_dir *dir)
{
    (void)unlinkat(dir->fd, "ballast", 0); /* may be gone */
}
