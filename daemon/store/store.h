/* store.h - durable logs of records, chained, in order of arrival.
 *
 * A store holds logs. A log is one epoch of one site: (site, epoch number, random mark), records
 * numbered 1, 2, 3 ... and chained: hash(n) = BLAKE2b-256(hash(n-1) || bytes(n)), hash(0) = zeros.
 * Bytes are kept as they came. A café's store has its own log and what the hub sent down; the hub's
 * has every site's. Each record also has an arrival number (`lsn`, 1, 2, 3 ... over all logs).
 * One thread. What is read is checked: a row that rotted gives ERR_DAMAGED, never wrong data.
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
#include "proto/release.h"

struct store; /* opaque; lives in store.c */

enum {
    MARK_SIZE = 8,
    SITE_SIZE = 65,
    STORE_FORMAT = 1 + KNOCKBOX_AHEAD
};

/* One epoch of one site and how far it goes. */
struct log_mark {
    char site[SITE_SIZE];
    uint32_t epoch;
    uint8_t mark[MARK_SIZE];
    uint64_t seq;            /* last record, 0 for none */
    uint8_t hash[HASH_SIZE]; /* chain head at seq */
    bool partial;            /* records with gaps: what a hub let this site see of its log */
    bool own;                /* this process appends to it */
};

struct store_options {
    const char *site;           /* the site of this machine; fixed at creation. NULL: as it is */
    uint64_t map_mib, most_mib; /* settings store.map_mib, store.most_mib; 0: 64, 65536 */
    uint64_t ballast_kib;       /* kept for a full disk; 0: 16384 */
    bool read_only;             /* for check tools; never creates */
    struct clock clock;         /* for marks, generation, held */
};

/* Opens the store in folder `dir`, making it when it is not there.
 * *out_store is yours: end it with store_close().
 * ERR_FORMAT: written by a newer release, or another program's file. ERR_BUSY: another process, or
 * this one, has it. ERR_DAMAGED: a store, but torn, or its heads do not fit its records.
 * ERR_INPUT: it belongs to another site, or `site` is not a name of 1 to 64 bytes. After each of
 * these nothing in data.mdb was touched. A file with one rubbish head page is mended and said so:
 * store_mended(); the last commit may be missing then, so each own log begins a new epoch, and the
 * store has a new generation, before anything else is written. */
enum err store_open(const char *dir, const struct store_options *options, struct store **out_store,
                    struct err_text *why);
void store_close(struct store *store); /* NULL is fine */

struct kv *store_kv(struct store *store); /* lent; the ledger keeps its tables in the same file */
const uint8_t *store_generation(const struct store *store); /* 8 bytes, lent */
const char *store_site(const struct store *store);
/* What was done to open it, for a line of the log; NULL: nothing. */
const char *store_mended(const struct store *store);

/* ---- writing: one transaction at a time, several calls each, all or nothing */

struct store_txn;
enum err store_begin(struct store *store, struct store_txn **out_txn, struct err_text *why);
/* Durable after ERR_OK; frees *txn, also on error. */
enum err store_commit(struct store_txn **txn, struct err_text *why);
void store_abort(struct store_txn **txn);

/* A record with what stands beside it. All pointers are lent: from a view until it is done, from
 * a write until its next call that writes, `site` and `mark` as long as the store is open. */
struct stored {
    uint64_t lsn;
    const char *site;
    uint32_t epoch;
    const uint8_t *mark; /* MARK_SIZE */
    uint64_t seq;
    int64_t held_ms; /* hub's clock at its commit, or as an import said */
    uint8_t hash[HASH_SIZE];
    uint8_t id[ID_SIZE];
    const uint8_t *bytes;
    size_t len;
};

/* Appends to the current epoch of `site`'s own log here: fills site, epoch, mark and seq of the
 * record (site and mark lent by the store, as above), packs, chains, stores. On a hub `site` may be
 * a site without a machine of its own. The first record of a site opens epoch 1, or the one after
 * the highest that is known of it. The caller has checked the record and given it an id.
 * Held is record->held_ms when it has one that is not in the future, else now.
 * ERR_INPUT: over RECORD_MAX (RECORD_BIG_MAX for big kinds), or no id. ERR_FULL: nothing was
 * written; while the disk is low only the kind that closes a day is taken. */
enum err store_append(struct store_txn *txn, const char *site, Knockbox__Record *record,
                      struct stored *out_stored, struct err_text *why);

enum accept_result {
    ACCEPT_STORED, /* new, or some of them new */
    ACCEPT_REPEAT, /* all were there with the same bytes */
    ACCEPT_GAP,    /* does not follow what is here: nothing stored */
    ACCEPT_FORK,   /* the same numbers hold other bytes: nothing stored */
    ACCEPT_BROKEN, /* the chain given does not fit the bytes: nothing stored */
};

/* Takes records seq first.. of another machine's epoch as they are (already decoded and checked by
 * the caller). `prev` is the chain hash before the first. Of each of `records` this reads bytes,
 * len, id; held_ms when over 0 and not after now_ms, else held is now_ms; seq and hash, when not
 * zero, must be right (ACCEPT_BROKEN). *out_mark: how far that epoch goes now, in this
 * transaction. ERR_OK with any result; a record that is there is never replaced.
 * ERR_INPUT: this log is held in part here, or the site's name is not one. */
enum err store_accept(struct store_txn *txn, const char *site, uint32_t epoch,
                      const uint8_t mark[MARK_SIZE], uint64_t first, const uint8_t prev[HASH_SIZE],
                      const struct stored *records, size_t n, int64_t now_ms,
                      enum accept_result *out_result, struct log_mark *out_mark,
                      struct err_text *why);

/* Takes one record of a log that is only seen in part; repeating is harmless. Of `record` this
 * reads what store_accept() reads, and seq, which must be there. Never gives ACCEPT_GAP.
 * ERR_INPUT: the whole of this log is held here. */
enum err store_accept_part(struct store_txn *txn, const char *site, uint32_t epoch,
                           const uint8_t mark[MARK_SIZE], const uint8_t prev[HASH_SIZE],
                           const struct stored *record, int64_t now_ms,
                           enum accept_result *out_result, struct err_text *why);

/* A new epoch of `site`'s own log (after a restore, a fork, a suspicion): the next number over
 * `at_least` and over all that are known of the site, with a new random mark. */
enum err store_new_epoch(struct store_txn *txn, const char *site, uint32_t at_least,
                         struct err_text *why);

/* Small named values beside the records ("sync.acked.1"); value NULL deletes. */
enum err store_note(struct store_txn *txn, const char *name, const void *value, size_t len,
                    struct err_text *why);

/* ---- reading: a view first, then look-ups in it */

struct store_view; /* a snapshot; the one reader of the process: keep it short, or the file grows */
enum err store_look(struct store *store, struct store_view **out_view, struct err_text *why);
void store_done(struct store_view **view);
struct kv_txn *store_view_txn(struct store_view *view); /* lent: ledger tables of the same moment */

/* From now on until this view is done rows are read that store_next() has just given, many and
 * mostly neighbours: without the check that each has against what rots, and without going down the
 * tree for each. Nothing is appended meanwhile. */
enum err store_reread(struct store_view *view, struct err_text *why);

uint64_t store_last(struct store_view *view); /* newest lsn, 0 for none */
/* ERR_NOT_FOUND. ERR_DAMAGED: the row is not what was written. */
enum err store_get(struct store_view *view, uint64_t lsn, struct stored *out, struct err_text *why);
/* The first record to arrive with this id (the same id may stand in two logs after a fork). */
enum err store_find_id(struct store_view *view, const uint8_t id[ID_SIZE], uint64_t *out_lsn,
                       struct err_text *why);
/* true: no id stands in two records, so none needs a look. */
enum err store_ids_unique(struct store_view *view, bool *out_unique, struct err_text *why);
enum err store_find_seq(struct store_view *view, const char *site, uint32_t epoch,
                        const uint8_t mark[MARK_SIZE], uint64_t seq, uint64_t *out_lsn,
                        struct err_text *why);
/* Records of one log from `first` on, in order: stops at a number that is not here, after `most`,
 * or before their bytes in all pass `most_bytes` (one is always given). *out_n 0: none there. */
enum err store_read_log(struct store_view *view, const char *site, uint32_t epoch,
                        const uint8_t mark[MARK_SIZE], uint64_t first, size_t most,
                        size_t most_bytes, struct stored *out, size_t *out_n, struct err_text *why);

/* All records in order of arrival from `from_lsn` on. ERR_NOT_FOUND at the end. Close it before
 * the view is done; to go on in a new view, open it again at the next lsn. */
struct store_walk;
enum err store_walk_open(struct store_view *view, uint64_t from_lsn, struct store_walk **out_walk,
                         struct err_text *why);
enum err store_next(struct store_walk *walk, struct stored *out, struct err_text *why);
void store_walk_close(struct store_walk *walk); /* NULL is fine */

/* All logs, by site, then epoch, then mark: fills at most `most`, *out_n is how many there are. */
enum err store_marks(struct store_view *view, const char *site_or_null, struct log_mark *out,
                     size_t most, size_t *out_n, struct err_text *why);
enum err store_noted(struct store_view *view, const char *name, void *out, size_t size,
                     size_t *out_len, struct err_text *why); /* ERR_NOT_FOUND */

/* The same look-ups inside a write, seeing what it has written. */
struct kv_txn *store_txn_kv(struct store_txn *txn);
struct store_view *store_txn_view(struct store_txn *txn); /* lent until commit or abort */

/* ---- checking */

/* Walks every chain and index and compares with the stored hashes and heads, in pieces of at most
 * 10000 rows a snapshot. Records may be added between the pieces. */
struct store_check;
enum err store_check_new(struct store *store, struct store_check **out_check, struct err_text *why);
/* One piece. *out_done when the end was reached and all fits. ERR_DAMAGED: `why` names site, epoch
 * and seq of the first break; the check is at its end then. */
enum err store_check_step(struct store_check *check, bool *out_done, struct err_text *why);
uint64_t store_check_count(const struct store_check *check); /* records that fit so far */
void store_check_free(struct store_check *check);            /* NULL is fine */

/* The pages of the file, then all pieces at once. *out_checked is set also on error: how many records fit before. */
enum err store_verify(struct store *store, uint64_t *out_checked, struct err_text *why);

#endif
