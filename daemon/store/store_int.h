/* store_int.h - what the files of the store share; nobody else includes it.
 */
#ifndef DAEMON_STORE_STORE_INT_H
#define DAEMON_STORE_STORE_INT_H

#include "daemon/store/row.h"
#include "daemon/store/store.h"

/* One log. `mark` is as committed, `now` as the open transaction left it; equal when `dirty` is
 * false. Its number is its place in store.logs plus one and never changes. */
struct log {
    uint32_t number;
    struct log_mark mark, now;
    bool dirty, fresh; /* fresh: made in the open transaction */
    struct log *next_dirty;
};

/* The newest record over all logs; all 0 for none. */
struct last {
    uint64_t lsn, seq;
    uint32_t log;
};

struct store_view {
    struct store *store;
    struct kv_txn *txn; /* NULL: not open */
    bool writes;        /* the view of the write: sees `now` */
    struct kv_spot
        *spot; /* store_reread(): rows are read from here, without their checks; or NULL */
};

struct store_txn {
    struct store *store;
    struct store_view view;
    bool low;       /* the disk has little room left */
    bool ids_added; /* the index of ids was written to */
};

enum {
    IDS_BEHIND = 32 /* newest records that may not be in the index of ids yet, at most */
};

/* The ids of the newest n records, which the index does not have yet; each stands nowhere else. */
struct ids {
    uint8_t id[IDS_BEHIND][ID_SIZE];
    uint32_t n;
};

/* logs[0..n_logs) by number, sorted[0..n_logs) by site, epoch, mark. */
struct store {
    struct kv *kv;
    struct clock clock;
    char *dir;
    char site[SITE_SIZE];
    uint8_t generation[8];
    MDB_dbi records, runs, by_id, log_rows, meta, notes;
    struct log **logs, **sorted;
    uint32_t n_logs, room;
    struct log *dirty;
    struct log *lags;           /* its row may be older than its head, the newest record */
    struct last last, last_now; /* committed; in the open transaction */
    struct ids ids, ids_now;    /* likewise */
    struct store_txn write;
    struct store_view read;
    char mended[448];
    uint8_t *buffer; /* ROW_MOST bytes: the row being written */
};

/* ---- store_values.c: rows of `notes` and `meta` by name */

/* ERR_INPUT: over VALUE_MOST bytes. Uses the buffer. */
enum err put_value(struct store *store, struct kv_txn *txn, MDB_dbi table, const char *name,
                   const void *value, size_t len, struct err_text *why);
/* *out is lent, without its check. ERR_NOT_FOUND, ERR_DAMAGED. */
enum err get_value(const struct store *store, struct kv_txn *txn, MDB_dbi table, const char *name,
                   MDB_val *out, struct err_text *why);

/* All of both tables: a name that rotted would else only look missing. ERR_DAMAGED. */
enum err check_values(struct store_view *view, struct err_text *why);

/* ---- store_logs.c: the logs in memory */

bool site_name_fits(const char *site); /* 1 to 64 bytes */
/* NULL: no such log. */
struct log *logs_find(struct store *store, const char *site, uint32_t epoch,
                      const uint8_t mark[MARK_SIZE]);
/* The first place in `sorted` that is not before the logs of `site`. */
uint32_t logs_first(const struct store *store, const char *site);
/* The own log of `site` that is appended to: the one with the highest epoch. NULL: none. */
struct log *logs_own(struct store *store, const char *site);
uint32_t logs_last_epoch(const struct store *store, const char *site); /* 0 for none */
/* A new log in the open transaction (or, with `fresh` false, one read from disk). */
enum err logs_add(struct store *store, const struct log_mark *mark, bool fresh,
                  struct log **out_log, struct err_text *why);
void logs_touch(struct store *store, struct log *log); /* `now` has changed */
/* The rows of the dirty ones; that of the newest record's log may wait (store-format.md). */
enum err logs_write(struct store *store, struct kv_txn *txn, struct err_text *why);
void logs_note_lag(struct store *store); /* that of the newest record, from now on */
/* Moves a head on to the newest record of all, when its log is whole and the row lags. */
void logs_lead(const struct row *newest, uint32_t number, struct log_mark *mark);
void logs_settle(struct store *store, bool committed); /* takes over `now`, or goes back */
void logs_free(struct store *store);
enum err logs_load(struct store *store, struct kv_txn *txn, struct err_text *why);

/* ---- store_ids.c: the index of ids, a few records behind */

/* Files the record that arrived last in the open transaction. */
enum err ids_put(struct store_txn *txn, uint64_t lsn, const uint8_t id[ID_SIZE],
                 struct err_text *why);
/* The record that came first with this id. ERR_NOT_FOUND, ERR_DAMAGED. */
enum err ids_find(struct store_view *view, const uint8_t id[ID_SIZE], uint64_t *out_lsn,
                  struct err_text *why);
/* How many of the newest records of the view the index does not have. */
enum err ids_behind(struct store_view *view, uint32_t *out_n, struct err_text *why);
enum err ids_load(struct store_view *view, struct err_text *why);

/* ---- store_read.c */

void
end_reread(struct store_view *view); /* before its transaction ends; when there is none, fine */

/* The row of `lsn`, checked. ERR_NOT_FOUND, ERR_DAMAGED. */
enum err read_row(struct store_view *view, uint64_t lsn, struct row *out_row, struct err_text *why);
/* The row of a number of a log. ERR_NOT_FOUND; ERR_DAMAGED when the log's head says it is there. */
enum err read_seq(struct store_view *view, uint32_t log, uint64_t seq, struct row *out_row,
                  struct err_text *why);
/* A value of the records table as a row; `checked`: it was, before. ERR_DAMAGED. */
enum err row_of(const struct store *store, uint64_t lsn, const MDB_val *value, bool checked,
                struct row *out_row, struct err_text *why);
/* The mark of a log as the view sees it. ERR_NOT_FOUND: made later. */
enum err mark_in(struct store_view *view, const struct log *log, struct log_mark *out_mark,
                 struct err_text *why);
void stored_of(const struct store *store, const struct row *row, struct stored *out);

#endif
