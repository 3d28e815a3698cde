/* kv_dir.h - the folder of an environment: its lock, its disk, its ballast. No LMDB here.
 */
#ifndef DAEMON_STORE_KV_DIR_H
#define DAEMON_STORE_KV_DIR_H

#include <stdbool.h>
#include <stdint.h>
#include "proto/err.h"

/* fds are -1 when not open. The lock is held as long as lock_fd is open. */
struct kv_dir {
    char *path; /* yours */
    int fd, lock_fd;
    uint64_t ballast; /* bytes; 0: none wanted */
};

/* Opens the folder (made when missing, mode 0700, unless `read_only`) and takes DIR/lock.
 * ERR_BUSY: somebody has it. ERR_IO: a network file system, or no permission. */
enum err kv_dir_open(const char *path, bool read_only, uint64_t ballast_kib, struct kv_dir *dir,
                     struct err_text *why);
/* The same without the lock; never makes anything. */
enum err kv_dir_look(const char *path, struct kv_dir *dir, struct err_text *why);
void kv_dir_close(struct kv_dir *dir);
/* Takes the lock of a folder that was only looked at, or gives it back. ERR_BUSY. */
enum err kv_dir_lock(struct kv_dir *dir, struct err_text *why);
void kv_dir_unlock(struct kv_dir *dir);
/* What root made here belongs to the folder's owner, who must open it later. */
void kv_dir_give(const struct kv_dir *dir, const char *name);

bool kv_dir_has(const struct kv_dir *dir, const char *name);
enum err kv_dir_sync(const struct kv_dir *dir,
                     struct err_text *why); /* names survive a power cut */
/* DIR/name of `size` bytes with room on the disk behind each. ERR_FULL. */
enum err kv_dir_reserve(const struct kv_dir *dir, const char *name, uint64_t size,
                        struct err_text *why);

uint64_t kv_dir_free(const struct kv_dir *dir); /* bytes that this user may still write */
bool kv_dir_ballast_there(const struct kv_dir *dir);
void kv_dir_ballast_make(const struct kv_dir *dir); /* when there is room for it twice */
void kv_dir_ballast_drop(const struct kv_dir *dir);

/* The word for a kind of file system that must not hold a store, or NULL (LMDB maps the
 * file and locks by it, which network file systems do not keep). `type` is statfs's f_type. */
const char *kv_dir_refused(long type);

#endif
