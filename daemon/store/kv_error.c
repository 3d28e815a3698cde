/* kv_error.c - LMDB's and the system's error numbers as ours, in words. */
#include "daemon/store/kv_error.h"

#include <errno.h>
#include <inttypes.h>
#include <lmdb.h>
#include <stddef.h>
#include <string.h>

/* One row a code that somebody can act on; others are ERR_IO with the library's own words. */
static const struct code {
    int rc;
    enum err e;
    const char *words;
} codes[] = {
    {MDB_NOTFOUND, ERR_NOT_FOUND, "not there"},
    {ENOSPC, ERR_FULL, "the disk is full: make room; nothing was changed"},
    {EDQUOT, ERR_FULL, "the disk quota of this user is used up; nothing was changed"},
    {EFBIG, ERR_FULL, "the file may not grow over this user's limit; nothing was changed"},
    {MDB_TXN_FULL, ERR_FULL, "too much in one transaction; nothing was changed"},
    {MDB_READERS_FULL, ERR_BUSY, "no slot for another reader is free"},
    {MDB_BAD_RSLOT, ERR_BUSY, "a second reader in one thread"},
    {MDB_INVALID, ERR_FORMAT, "data.mdb is not a store, or its head is torn"},
    {MDB_VERSION_MISMATCH, ERR_FORMAT, "data.mdb was written by another version of LMDB"},
    {MDB_CORRUPTED, ERR_DAMAGED, "data.mdb is damaged"},
    {MDB_PAGE_NOTFOUND, ERR_DAMAGED, "data.mdb is damaged: a page is missing"},
    {MDB_PANIC, ERR_IO, "the store must be opened again after a failed write"},
    {MDB_BAD_VALSIZE, ERR_INPUT, "a key must have 1 to 511 bytes"},
    {ENOMEM, ERR_MEM, "out of memory, or of address space for the map"},
    {EIO, ERR_IO, "the disk reports an error"},
    {EROFS, ERR_IO, "the disk is read-only"},
    {EACCES, ERR_IO, "no permission"},
    {EPERM, ERR_IO, "no permission"},
    {ENOENT, ERR_NOT_FOUND, "not there"},
};

static const struct code *
find_code(int rc)
{
    for (size_t i = 0; i < sizeof codes / sizeof codes[0]; i++)
        if (codes[i].rc == rc)
            return &codes[i];
    return NULL;
}

static enum err
map_full(const char *what, const struct kv_where *where, struct err_text *why)
{
    if (where->map_mib < where->most_mib)
        return err_set(ERR_FULL, why,
                       "%s: %s: more than the map of %" PRIu64 " MiB had room for; it grows at the "
                       "next write, nothing was changed",
                       where->dir, what, where->map_mib);
    return err_set(ERR_FULL, why,
                   "%s: %s: the store is full at %" PRIu64 " MiB: raise store.most_mib (now "
                   "%" PRIu64 "; first size: store.map_mib); nothing was changed",
                   where->dir, what, where->map_mib, where->most_mib);
}

enum err
kv_error(int rc, const char *what, const struct kv_where *where, struct err_text *why)
{
    if (rc == 0)
        return ERR_OK;
    if (rc == MDB_MAP_FULL)
        return map_full(what, where, why);
    const struct code *code = find_code(rc);
    return err_set(code != NULL ? code->e : ERR_IO, why, "%s: %s: %s", where->dir, what,
                   code != NULL ? code->words : mdb_strerror(rc));
}

bool
kv_error_is_final(int rc)
{
    const struct code *code = find_code(rc);
    return rc != 0 && rc != MDB_MAP_FULL && (code == NULL || code->e == ERR_IO);
}

bool
kv_error_is_no_room(int rc)
{
    return rc == ENOSPC || rc == EDQUOT;
}

enum err
kv_error_system(int error_number, const char *verb, const char *path, struct err_text *why)
{
    const struct code *code = find_code(error_number);
    return err_set(code != NULL ? code->e : ERR_IO, why, "cannot %s %s: %s", verb, path,
                   code != NULL ? code->words : strerror(error_number));
}
