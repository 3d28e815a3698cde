/* fault.h - the LD_PRELOAD shim that makes file calls fail, wait or kill, and records every change
 * under one folder, so that disk.py can build what a disk may hold after a power cut.
 *
 * It knows nothing of the program that it is loaded into. Settings, all by environment:
 *   FAULT_DIR    the folder that is watched, absolute; files elsewhere are left alone
 *   FAULT_RULES  call:when:action, several by commas
 *       call     write sync trunc open rename unlink mkdir mmap read: a class of calls;
 *                any: those but for read and mmap; or one call by its name (pwrite, fdatasync ...);
 *                alloc (malloc calloc realloc; in the library of that name only) and
 *                sock (socket accept): wherever the file
 *       when     n: the n-th, from 1 | n+: it and all later | n-m | *: each | %p: p percent
 *       action   EIO ENOSPC ... or a number | short=K: K bytes at most | delay=MS | kill
 *   FAULT_QUOTA  bytes by which files may grow in all, then ENOSPC: a full disk. A file that holds
 *                a number, when it begins with a slash: read at each growth, so it may be freed
 *   FAULT_SEED   for %p
 *   FAULT_LOG    the log of changes, see struct change
 *   FAULT_STATE  a file shared by all processes: how often each rule's call was met
 * Unseen: stdio writes, io_uring, stores to a map; disk.py's verify tells whether any was missed.
 */
#ifndef TESTS_FAULTS_FAULT_H
#define TESTS_FAULTS_FAULT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <sys/stat.h>
#include <sys/types.h>
#include <sys/uio.h>

enum call_class {
    CALL_WRITE,
    CALL_SYNC,
    CALL_TRUNC,
    CALL_OPEN,
    CALL_RENAME,
    CALL_UNLINK,
    CALL_MKDIR,
    CALL_MMAP,
    CALL_READ,
    CALL_ALLOC,
    CALL_SOCK
};

enum {
    FAULT_PATH = 4096,
    FAULT_PARTS = 1024
};

/* A change in the log: 40 bytes of host order, then `len` bytes. */
struct change {
    uint8_t
        type; /* W write, M written through (O_DSYNC), T size set, S synced, F sync failed, C created, R renamed (from\0to),
                     U unlinked, K folder made, D folder removed, N note of the driver */
    uint8_t pad[3];
    uint32_t pid;
    uint64_t ino;
    int64_t off;    /* offset, or the new size */
    uint64_t start; /* S F: how long the log was when the sync began */
    uint32_t len;
    uint32_t pad2;
};

/* ---- fault_rules.c */
extern bool fault_ready;
extern unsigned fault_classes; /* bits 1 << enum call_class that rules may mean */
/* What becomes of this call: 0 it goes on, -1 it fails with errno, else it may write one byte less
 * than this. May wait, may never return. */
long fault_strike(enum call_class class, const char *name);
/* May files grow by so much more? false: errno is ENOSPC. */
bool fault_may_grow(uint64_t more);
/* Ends the program with words and status 119: the shim itself is used wrongly. */
void fault_bad(const char *what, const char *arg) __attribute__((noreturn));
void fault_rules_init(void);

/* ---- fault_log.c */
void fault_log_init(void);
bool fault_is_log(int fd);
/* A file or folder below FAULT_DIR; errno stays. */
bool fault_watched(int fd, struct stat *st);
/* The absolute form of a path below FAULT_DIR; false: it is elsewhere. errno stays. */
bool fault_path(int at, const char *path, char out[FAULT_PATH]);
uint64_t fault_log_size(void);
void fault_log(char type, uint64_t ino, int64_t off, uint64_t start, const struct iovec *parts,
               int n, size_t most);
void fault_log_path(char type, uint64_t ino, const char *path, const char *to);
/* Held around a change and its line in the log, so that both come in one order. */
void fault_lock(void);
void fault_unlock(void);

#endif
