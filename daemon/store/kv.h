/* kv.h - LMDB, seen by the rest: one environment a process, tables by name, its codes as ours.
 *
 * Only kv.c and kv_data.c know LMDB's functions, only kv_error.c its error numbers. Durable by
 * default (no flag that gives up a flush exists here). One thread; at most one write transaction
 * at a time, at most one read. No fork while it is open (posix_spawn is fine).
 */
#ifndef DAEMON_STORE_KV_H
#define DAEMON_STORE_KV_H

#include <lmdb.h> /* MDB_val, MDB_dbi only */
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include "proto/err.h"

struct kv;     /* an open environment */
struct kv_txn; /* a transaction on it */

struct kv_options {
    uint64_t map_mib;     /* first size of the map; 0: 64 */
    uint64_t most_mib;    /* it doubles by itself up to here; 0: 65536 */
    uint64_t ballast_kib; /* room kept for a full disk; 0: 16384. Never over 1/32 of the disk */
    bool read_only;       /* for check tools; never creates */
    bool beside;          /* read_only, while another process may have it open: takes no lock, and
                           * follows the pages only when nobody has; for reading one snapshot */
};

/* Opens DIR/data.mdb, guarded by a lock on DIR/lock; makes folder and file when they are not there
 * (the folder above must exist). *out_kv is yours: end it with kv_close().
 * ERR_BUSY: another process, or this one, has it. ERR_FORMAT: not such a file. ERR_DAMAGED: such a
 * file, but torn. ERR_NOT_FOUND: read_only or beside and none there. ERR_FULL, ERR_MEM: no room on the disk,
 * no address space for the map. ERR_IO: also when DIR is on a network file system. On each of
 * these an existing data.mdb is as it was, byte for byte. A rubbish head page is mended (not when
 * read_only or beside): kv_mended(); a wrong number of one is put right: kv_numbered(). */
enum err kv_open(const char *dir, const struct kv_options *options, struct kv **out_kv,
                 struct err_text *why);
void kv_close(struct kv *kv); /* ends open transactions; NULL is fine */

/* Was one of the file's two head pages rubbish, now or at an earlier open, and mended by its twin,
 * without kv_mend_told() since? Then the last commit may be missing: what is written next must not
 * use again what that may have used. */
bool kv_mended(const struct kv *kv);
/* Was the number of a head page put right at this open? Nothing is missing. */
bool kv_numbered(const struct kv *kv);
/* What kv_mended() asks for was done; the bad page stays, under the name *out_name in the folder. */
enum err kv_mend_told(struct kv *kv, char out_name[32], struct err_text *why);

/* A table by name, made when it is not there (unless read_only). Only while no transaction is
 * open. ERR_NOT_FOUND: read_only and none there. */
enum err kv_table(struct kv *kv, const char *name, MDB_dbi *out_table, struct err_text *why);
/* The same, never made: ERR_NOT_FOUND. */
enum err kv_table_there(struct kv *kv, const char *name, MDB_dbi *out_table, struct err_text *why);
enum err kv_is_empty(struct kv *kv, bool *out_empty, struct err_text *why); /* no table at all? */

/* Begins a write; grows the map first when it is three quarters full and nothing is being read.
 * ERR_FULL: the disk is full; the store is unchanged and stays readable. ERR_BUSY: one is open. */
enum err kv_write(struct kv *kv, struct kv_txn **out_txn, struct err_text *why);
enum err kv_read(struct kv *kv, struct kv_txn **out_txn, struct err_text *why);
/* Commits and frees *txn (sets it NULL), also when it fails. After ERR_OK it survives a power cut.
 * ERR_FULL: nothing of it is there, later ones work again once there is room. Any other error: the
 * environment must be closed and opened again (kv_failed()), what became of it is unknown. */
enum err kv_commit(struct kv_txn **txn, struct err_text *why);
void kv_abort(struct kv_txn **txn); /* frees, sets NULL; NULL inside is fine */
bool kv_failed(const struct kv *kv);

/* Keys are 1 to 511 bytes. Values are lent until the transaction ends or writes. kv_get gives
 * ERR_NOT_FOUND when there is none, and leaves `why` alone then. After another error inside a
 * write the transaction is of no more use: kv_commit gives that error again. */
enum err kv_get(struct kv_txn *txn, MDB_dbi table, const void *key, size_t key_len,
                MDB_val *out_value, struct err_text *why);
/* `append` says that the key probably comes after all others: pages are then filled to the end.
 * When it does not, it is put in its place all the same. */
enum err kv_put(struct kv_txn *txn, MDB_dbi table, const void *key, size_t key_len,
                const void *value, size_t value_len, bool append, struct err_text *why);
/* As kv_put with `append`, but a key that is there stays as it is. *out_added may be NULL. */
enum err kv_add(struct kv_txn *txn, MDB_dbi table, const void *key, size_t key_len,
                const void *value, size_t value_len, bool *out_added, struct err_text *why);
enum err kv_del(struct kv_txn *txn, MDB_dbi table, const void *key, size_t key_len,
                struct err_text *why); /* missing is fine */
enum err kv_clear(struct kv_txn *txn, MDB_dbi table, struct err_text *why);
enum err kv_count(struct kv_txn *txn, MDB_dbi table, uint64_t *out_rows, struct err_text *why);

/* A walk in key order from the first key >= `from` (NULL, 0: from the first). kv_next gives
 * ERR_NOT_FOUND at the end and leaves `why` alone then. Close it before its transaction ends. */
struct kv_walk;
enum err kv_walk_open(struct kv_txn *txn, MDB_dbi table, const void *from, size_t from_len,
                      struct kv_walk **out_walk, struct err_text *why);
enum err kv_next(struct kv_walk *walk, MDB_val *out_key, MDB_val *out_value, struct err_text *why);
void kv_walk_close(struct kv_walk *walk); /* NULL is fine */

/* A place in a table that stays where it was last: a row beside it is found without going down the
 * tree. For runs of rows in order. kv_spot_get and kv_spot_put as kv_get and kv_put; close it
 * before its transaction ends. */
struct kv_spot;
enum err kv_spot_open(struct kv_txn *txn, MDB_dbi table, struct kv_spot **out_spot,
                      struct err_text *why);
enum err kv_spot_get(struct kv_spot *spot, const void *key, size_t key_len, MDB_val *out_value,
                     struct err_text *why);
enum err kv_spot_put(struct kv_spot *spot, const void *key, size_t key_len, const void *value,
                     size_t value_len, bool append, struct err_text *why);
void kv_spot_close(struct kv_spot *spot); /* NULL is fine */

/* The last key of a table. ERR_NOT_FOUND when empty. */
enum err kv_last(struct kv_txn *txn, MDB_dbi table, MDB_val *out_key, MDB_val *out_value,
                 struct err_text *why);
/* The last key <= `key`. ERR_NOT_FOUND when all come after it. */
enum err kv_floor(struct kv_txn *txn, MDB_dbi table, const void *key, size_t key_len,
                  MDB_val *out_key, MDB_val *out_value, struct err_text *why);

struct kv_sizes {
    uint64_t map_bytes, used_bytes; /* used: (last page + 1) * page size */
    uint64_t most_bytes;            /* what map_bytes may grow to */
    uint64_t disk_free;             /* bytes that this user may still write */
    uint64_t disk_keep;             /* under this, only what closes a day should still be written */
    bool ballast;                   /* the reserve for a full disk is there */
};
struct kv_sizes kv_sizes(const struct kv *kv);

/* Follows every page of the file (about a second a GiB from memory). What LMDB trusts is looked at,
 * not what the rows say. Not inside a write. ERR_DAMAGED. */
enum err kv_check_pages(struct kv *kv, struct err_text *why);

/* Once a minute: frees the slots of readers that died, makes the ballast again when there is
 * room. Does nothing inside a transaction. */
void kv_upkeep(struct kv *kv);

/* A consistent copy while running (mdb_env_copyfd2), whole or not there at all: written beside,
 * flushed, then named `to_file`, which must not exist (ERR_INPUT). Not inside a write. */
enum err kv_copy(struct kv *kv, const char *to_file, struct err_text *why);

#endif
