/* kv.h - LMDB, seen by the rest: one environment a process, tables by name, its codes as ours.
 *
 * Only kv.c knows LMDB's functions and error numbers. Durable by default (no flag that gives up a
 * flush exists here). One thread; at most one write transaction at a time, at most one read.
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
    uint64_t map_mib;  /* first size of the map */
    uint64_t most_mib; /* it doubles by itself up to here */
    bool read_only;    /* for check tools; never creates */
};

/* Opens (creating folder content as needed) DIR/data.mdb, guarded by a lock on DIR/lock.
 * ERR_BUSY: another process has it. ERR_FORMAT: not such a file, or from a newer release.
 * ERR_IO: also when DIR is on a network file system. */
enum err kv_open(const char *dir, const struct kv_options *options, struct kv **out_kv,
                 struct err_text *why);
void kv_close(struct kv *kv); /* NULL is fine */

/* A table by name, made when it is not there (unless read_only). */
enum err kv_table(struct kv *kv, const char *name, MDB_dbi *out_table, struct err_text *why);

/* Begins a write; grows the map first when it is three quarters full. ERR_FULL: the map is at its
 * most, or the disk is full; the store is unchanged and stays readable. */
enum err kv_write(struct kv *kv, struct kv_txn **out_txn, struct err_text *why);
enum err kv_read(struct kv *kv, struct kv_txn **out_txn, struct err_text *why);
/* Commits and frees *txn (sets it NULL), also when it fails. After ERR_OK it survives a power cut.
 * After ERR_IO the environment must be closed and opened again (kv_failed()). */
enum err kv_commit(struct kv_txn **txn, struct err_text *why);
void kv_abort(struct kv_txn **txn); /* frees, sets NULL; NULL inside is fine */
bool kv_failed(const struct kv *kv);

/* Values are lent until the transaction ends or writes. ERR_NOT_FOUND when there is none. */
enum err kv_get(struct kv_txn *txn, MDB_dbi table, const void *key, size_t key_len,
                MDB_val *out_value, struct err_text *why);
enum err kv_put(struct kv_txn *txn, MDB_dbi table, const void *key, size_t key_len,
                const void *value, size_t value_len, bool append, struct err_text *why);
enum err kv_del(struct kv_txn *txn, MDB_dbi table, const void *key, size_t key_len,
                struct err_text *why); /* missing is fine */
enum err kv_clear(struct kv_txn *txn, MDB_dbi table, struct err_text *why);

/* A walk in key order from the first key >= `from`. kv_next gives ERR_NOT_FOUND at the end. */
struct kv_walk;
enum err kv_walk_open(struct kv_txn *txn, MDB_dbi table, const void *from, size_t from_len,
                      struct kv_walk **out_walk, struct err_text *why);
enum err kv_next(struct kv_walk *walk, MDB_val *out_key, MDB_val *out_value, struct err_text *why);
void kv_walk_close(struct kv_walk *walk);

/* The last key of a table. ERR_NOT_FOUND when empty. */
enum err kv_last(struct kv_txn *txn, MDB_dbi table, MDB_val *out_key, MDB_val *out_value,
                 struct err_text *why);

struct kv_sizes {
    uint64_t map_bytes, used_bytes; /* used: (last page + 1) * page size */
};
struct kv_sizes kv_sizes(const struct kv *kv);

/* A consistent copy while running (mdb_env_copy2). */
enum err kv_copy(struct kv *kv, const char *to_file, struct err_text *why);

#endif
