/* store.h - durable logs of records, chained, in order of arrival.
 *
 * A store holds logs. A log is one epoch of one site: (site, epoch number, random mark), records
 * numbered 1, 2, 3 ... and chained: hash(n) = BLAKE2b-256(hash(n-1) || bytes(n)), hash(0) = zeros.
 * Bytes are kept as they came. A café's store has its own log and what the hub sent down; the hub's
 * has every site's. Each record also has an arrival number (`lsn`, 1, 2, 3 ... over all logs).
 * Bytes on disk: docs/store-format.md.
 */
#ifndef DAEMON_STORE_STORE_H
#define DAEMON_STORE_STORE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include "daemon/base/clock.h"
#include "daemon/record/record.h"
#include "daemon/store/kv.h"
#include "proto/err.h"

struct store; /* opaque; lives in store.c */

enum { MARK_SIZE = 8, SITE_SIZE = 65, STORE_FORMAT = 1 };

/* One epoch of one site and how far it goes. */
struct log_mark {
    char site[SITE_SIZE];
    uint32_t epoch;
    uint8_t mark[MARK_SIZE];
    uint64_t seq;                /* last record, 0 for none */
    uint8_t hash[HASH_SIZE];     /* chain head at seq */
    bool partial;                /* records with gaps: what a hub let this site see of its log */
    bool own;                    /* this process appends to it */
};

struct store_options {
    const char *site;   /* the site of this machine; fixed at creation */
    uint64_t map_mib, most_mib;
    struct clock clock; /* for marks, generation, held */
};

/* Opens the store in folder `dir`, making it when it is not there.
 * *out_store is yours: end it with store_close().
 * ERR_FORMAT: written by a newer release; nothing on disk was touched. ERR_BUSY: another process
 * has it. ERR_DAMAGED: not a store, or its head records do not fit; nothing was touched. */
enum err store_open(const char *dir, const struct store_options *options, struct store **out_store,
                    struct err_text *why);
void store_close(struct store *store); /* NULL is fine */

struct kv *store_kv(struct store *store); /* lent; the ledger keeps its tables in the same file */
const uint8_t *store_generation(const struct store *store); /* 8 bytes, lent */
const char *store_site(const struct store *store);

/* ---- writing: one transaction at a time, several calls each, all or nothing */

struct store_txn;
enum err store_begin(struct store *store, struct store_txn **out_txn, struct err_text *why);
/* Durable after ERR_OK; frees *txn, also on error. */
enum err store_commit(struct store_txn **txn, struct err_text *why);
void store_abort(struct store_txn **txn);

struct stored {
    uint64_t lsn;
    uint32_t epoch;
    uint64_t seq;
    int64_t held_ms;             /* hub's clock at its commit, or as an import said */
    uint8_t hash[HASH_SIZE];
    const uint8_t *bytes;        /* lent until the transaction ends */
    size_t len;
};

/* Appends to the current epoch of `site`'s own log here: fills site, epoch, mark and seq of the
 * record, packs, chains, stores. On a hub `site` may be a site without a machine of its own.
 * Held is record->held_ms when it has one that is not in the future, else now.
 * ERR_INPUT: over RECORD_MAX (RECORD_BIG_MAX for big kinds). ERR_FULL: nothing was written. */
enum err store_append(struct store_txn *txn, const char *site, Knockbox__Record *record,
                      struct stored *out_stored, struct err_text *why);

enum accept_result {
    ACCEPT_STORED,  /* new, or some of them new */
    ACCEPT_REPEAT,  /* all were there with the same bytes */
    ACCEPT_GAP,     /* does not follow what is here: nothing stored */
    ACCEPT_FORK,    /* the same numbers hold other bytes: nothing stored */
    ACCEPT_BROKEN,  /* the chain given does not fit the bytes: nothing stored */
};

/* Takes records seq first.. of another machine's epoch as they are (already decoded and checked by
 * the caller). `prev` is the chain hash before the first. Held is `now_ms`, or what the record
 * carries. *out_mark: how far that epoch goes now, in this transaction. */
enum err store_accept(struct store_txn *txn, const char *site, uint32_t epoch,
                      const uint8_t mark[MARK_SIZE], uint64_t first, const uint8_t prev[HASH_SIZE],
                      const struct stored *records, size_t n, int64_t now_ms,
                      enum accept_result *out_result, struct log_mark *out_mark,
                      struct err_text *why);

/* Takes one record of a log that is only seen in part; repeating is harmless. */
enum err store_accept_part(struct store_txn *txn, const char *site, uint32_t epoch,
                           const uint8_t mark[MARK_SIZE], uint64_t seq,
                           const uint8_t prev[HASH_SIZE], const uint8_t *bytes, size_t len,
                           int64_t now_ms, enum accept_result *out_result, struct err_text *why);

/* A new epoch of `site`'s own log (after a restore, a fork, a suspicion): the next number over
 * `at_least`, a new random mark. */
enum err store_new_epoch(struct store_txn *txn, const char *site, uint32_t at_least,
                         struct err_text *why);

/* Small named values beside the records ("sync.acked.1"); value NULL deletes. */
enum err store_note(struct store_txn *txn, const char *name, const void *value, size_t len,
                    struct err_text *why);

/* ---- reading: opens a short read transaction inside unless one is given */

struct store_view; /* a snapshot; the one reader of the process */
enum err store_look(struct store *store, struct store_view **out_view, struct err_text *why);
void store_done(struct store_view **view);
struct kv_txn *store_view_txn(struct store_view *view); /* lent: ledger tables of the same moment */

uint64_t store_last(struct store_view *view); /* newest lsn, 0 for none */
/* ERR_NOT_FOUND. Bytes lent until store_done(). */
enum err store_get(struct store_view *view, uint64_t lsn, struct stored *out, struct err_text *why);
enum err store_find_id(struct store_view *view, const uint8_t id[ID_SIZE], uint64_t *out_lsn,
                       struct err_text *why);
enum err store_find_seq(struct store_view *view, const char *site, uint32_t epoch,
                        const uint8_t mark[MARK_SIZE], uint64_t seq, uint64_t *out_lsn,
                        struct err_text *why);
/* All logs, by site, then epoch, then mark: fills at most `most`, *out_n is how many there are. */
enum err store_marks(struct store_view *view, const char *site_or_null, struct log_mark *out,
                     size_t most, size_t *out_n, struct err_text *why);
enum err store_noted(struct store_view *view, const char *name, void *out, size_t size,
                     size_t *out_len, struct err_text *why); /* ERR_NOT_FOUND */

/* The same look-ups inside a write, seeing what it has written. */
struct kv_txn *store_txn_kv(struct store_txn *txn);
struct store_view *store_txn_view(struct store_txn *txn); /* lent until commit or abort */

/* Walks every chain and compares with the stored hashes, in pieces of at most 10000 rows a
 * snapshot. *out_checked records. ERR_DAMAGED: `why` names site, epoch and seq of the first break. */
enum err store_verify(struct store *store, uint64_t *out_checked, struct err_text *why);

#endif
