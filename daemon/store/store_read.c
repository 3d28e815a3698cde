/* store_read.c - views and what is looked up in them. */
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/store/store_int.h"

enum err
store_look(struct store *store, struct store_view **out_view, struct err_text *why)
{
    struct store_view *view = &store->read;
    enum err e = kv_read(store->kv, &view->txn, why); /* ERR_BUSY while it is open */
    if (e != ERR_OK)
        return e;
    *out_view = view;
    return e;
}

enum err
store_reread(struct store_view *view, struct err_text *why)
{
    return kv_spot_open(view->txn, view->store->records, &view->spot, why);
}

void
end_reread(struct store_view *view)
{
    kv_spot_close(view->spot);
    view->spot = NULL;
}

void
store_done(struct store_view **view)
{
    if (*view != NULL)
        end_reread(*view);
    if (*view != NULL && !(*view)->writes)
        kv_abort(&(*view)->txn);
    *view = NULL;
}

struct kv_txn *
store_view_txn(struct store_view *view)
{
    return view->txn;
}

uint64_t
store_last(struct store_view *view)
{
    MDB_val key, value;
    if (view->writes)
        return view->store->last_now.lsn;
    if (kv_last(view->txn, view->store->records, &key, &value, NULL) != ERR_OK)
        return 0;
    return get_number(key.mv_data, LSN_KEY);
}

static enum err
damaged(const struct store *store, uint64_t lsn, struct err_text *why)
{
    return err_set(ERR_DAMAGED, why,
                   "%s: record with arrival number %" PRIu64 " is not what was written", store->dir,
                   lsn);
}

enum err
row_of(const struct store *store, uint64_t lsn, const MDB_val *value, bool checked,
       struct row *out_row, struct err_text *why)
{
    uint32_t log = 0;
    if (!row_log(value->mv_data, value->mv_size, &log) || log == 0 || log > store->n_logs)
        return damaged(store, lsn, why);
    bool partial = store->logs[log - 1]->now.partial;
    bool whole = checked ? row_parts(lsn, value->mv_data, value->mv_size, partial, out_row)
                         : row_unpack(lsn, value->mv_data, value->mv_size, partial, out_row);
    return whole ? ERR_OK : damaged(store, lsn, why);
}

enum err
read_row(struct store_view *view, uint64_t lsn, struct row *out_row, struct err_text *why)
{
    uint8_t key[LSN_KEY];
    MDB_val value;
    put_number(key, lsn, sizeof key);
    enum err e = view->spot != NULL
                     ? kv_spot_get(view->spot, key, sizeof key, &value, why)
                     : kv_get(view->txn, view->store->records, key, sizeof key, &value, why);
    return e == ERR_OK ? row_of(view->store, lsn, &value, view->spot != NULL, out_row, why) : e;
}

/* Arrival number where `seq` must be if it is here: counted on from the run before it. */
static enum err
guess_lsn(struct store_view *view, uint32_t log, uint64_t seq, uint64_t *out_lsn,
          struct err_text *why)
{
    uint8_t want[RUN_KEY];
    MDB_val key, value;
    run_key(log, seq, want);
    enum err e = kv_floor(view->txn, view->store->runs, want, sizeof want, &key, &value, why);
    if (e != ERR_OK)
        return e;
    if (key.mv_size != RUN_KEY || value.mv_size != LSN_KEY)
        return err_set(ERR_DAMAGED, why, "%s: the index of runs is damaged", view->store->dir);
    const uint8_t *found = key.mv_data;
    if (get_number(found, 4) != log)
        return ERR_NOT_FOUND;
    *out_lsn = get_number(value.mv_data, LSN_KEY) + (seq - get_number(found + 4, 8));
    return ERR_OK;
}

static enum err
find_seq(struct store_view *view, uint32_t log, uint64_t seq, struct row *out_row,
         struct err_text *why)
{
    uint64_t lsn = 0;
    struct row row;
    enum err e = guess_lsn(view, log, seq, &lsn, why);
    if (e == ERR_OK)
        e = read_row(view, lsn, &row, why);
    if (e != ERR_OK)
        return e;
    if (row.log != log || row.seq != seq) /* the run ended before it */
        return ERR_NOT_FOUND;
    *out_row = row;
    return ERR_OK;
}

enum err
read_seq(struct store_view *view, uint32_t log, uint64_t seq, struct row *out_row,
         struct err_text *why)
{
    struct log_mark mark;
    enum err e = find_seq(view, log, seq, out_row, why);
    if (e != ERR_NOT_FOUND)
        return e;
    e = mark_in(view, view->store->logs[log - 1], &mark, why);
    if (e != ERR_OK || mark.partial || seq == 0 || seq > mark.seq)
        return e != ERR_OK ? e : ERR_NOT_FOUND;
    return err_set(ERR_DAMAGED, why,
                   "%s: site %s, epoch %" PRIu32 ": record %" PRIu64 " of %" PRIu64 " is missing",
                   view->store->dir, mark.site, mark.epoch, seq, mark.seq);
}

void
stored_of(const struct store *store, const struct row *row, struct stored *out)
{
    const struct log *log = store->logs[row->log - 1];
    *out = (struct stored){
        .lsn = row->lsn,
        .site = log->now.site,
        .epoch = log->now.epoch,
        .mark = log->now.mark,
        .seq = row->seq,
        .held_ms = row->held_ms,
        .bytes = row->bytes,
        .len = row->len,
    };
    memcpy(out->hash, row->hash, HASH_SIZE);
    (void)record_id_in(row->bytes, row->len, out->id); /* zeros when there is none */
}

enum err
store_get(struct store_view *view, uint64_t lsn, struct stored *out, struct err_text *why)
{
    struct row row;
    enum err e = read_row(view, lsn, &row, why);
    if (e == ERR_OK)
        stored_of(view->store, &row, out);
    return e;
}

enum err
store_find_id(struct store_view *view, const uint8_t id[ID_SIZE], uint64_t *out_lsn,
              struct err_text *why)
{
    struct stored stored;
    uint64_t lsn = 0;
    enum err e = ids_find(view, id, &lsn, why);
    if (e != ERR_OK)
        return e;
    e = store_get(view, lsn, &stored, why);
    if (e == ERR_NOT_FOUND || (e == ERR_OK && memcmp(stored.id, id, ID_SIZE) != 0))
        return err_set(ERR_DAMAGED, why, "%s: the index of ids is damaged at %" PRIu64,
                       view->store->dir, lsn);
    if (e == ERR_OK)
        *out_lsn = lsn;
    return e;
}

enum err
store_ids_unique(struct store_view *view, bool *out_unique, struct err_text *why)
{
    uint64_t records = 0, ids = 0;
    uint32_t behind = 0;
    enum err e = kv_count(view->txn, view->store->records, &records, why);
    if (e == ERR_OK)
        e = kv_count(view->txn, view->store->by_id, &ids, why);
    if (e == ERR_OK)
        e = ids_behind(view, &behind, why);
    if (e == ERR_OK)
        *out_unique = records == ids + behind;
    return e;
}

enum err
store_find_seq(struct store_view *view, const char *site, uint32_t epoch,
               const uint8_t mark[MARK_SIZE], uint64_t seq, uint64_t *out_lsn, struct err_text *why)
{
    const struct log *log = logs_find(view->store, site, epoch, mark);
    struct row row;
    if (log == NULL)
        return ERR_NOT_FOUND;
    enum err e = read_seq(view, log->number, seq, &row, why);
    if (e == ERR_OK)
        *out_lsn = row.lsn;
    return e;
}

/* The newest record of the view may be further than the row of its log. */
static enum err
lead_in(struct store_view *view, uint32_t number, struct log_mark *mark, struct err_text *why)
{
    MDB_val key, value;
    uint32_t log = 0;
    struct row row;
    enum err e = kv_last(view->txn, view->store->records, &key, &value, why);
    if (e != ERR_OK)
        return e == ERR_NOT_FOUND ? ERR_OK : e;
    if (!row_log(value.mv_data, value.mv_size, &log) || log != number)
        return ERR_OK;
    e = row_of(view->store, get_number(key.mv_data, LSN_KEY), &value, view->spot != NULL, &row,
               why);
    if (e == ERR_OK)
        logs_lead(&row, number, mark);
    return e;
}

enum err
mark_in(struct store_view *view, const struct log *log, struct log_mark *out_mark,
        struct err_text *why)
{
    uint8_t key[4];
    MDB_val value;
    if (view->writes) {
        *out_mark = log->now;
        return ERR_OK;
    }
    put_number(key, log->number, sizeof key);
    enum err e = kv_get(view->txn, view->store->log_rows, key, sizeof key, &value, why);
    if (e == ERR_OK && !log_unpack(value.mv_data, value.mv_size, out_mark))
        e = err_set(ERR_DAMAGED, why, "%s: the head of log %" PRIu32 " is damaged",
                    view->store->dir, log->number);
    return e == ERR_OK ? lead_in(view, log->number, out_mark, why) : e;
}

enum err
store_marks(struct store_view *view, const char *site, struct log_mark *out, size_t most,
            size_t *out_n, struct err_text *why)
{
    const struct store *store = view->store;
    size_t n = 0;
    for (uint32_t i = site != NULL ? logs_first(store, site) : 0; i < store->n_logs; i++) {
        struct log_mark mark;
        if (site != NULL && strcmp(store->sorted[i]->now.site, site) != 0)
            break;
        enum err e = mark_in(view, store->sorted[i], &mark, why);
        if (e == ERR_NOT_FOUND) /* made after this snapshot */
            continue;
        if (e != ERR_OK)
            return e;
        if (n < most)
            out[n] = mark;
        n++;
    }
    *out_n = n;
    return ERR_OK;
}

/* ---- many records in order */

struct store_walk {
    struct store_view *view;
    struct kv_walk *rows;
};

enum err
store_walk_open(struct store_view *view, uint64_t from_lsn, struct store_walk **out_walk,
                struct err_text *why)
{
    struct store_walk *walk = calloc(1, sizeof *walk);
    if (walk == NULL)
        return err_set(ERR_MEM, why, "out of memory");
    uint8_t key[LSN_KEY];
    put_number(key, from_lsn, sizeof key);
    walk->view = view;
    enum err e = kv_walk_open(view->txn, view->store->records, key, sizeof key, &walk->rows, why);
    if (e == ERR_OK)
        *out_walk = walk;
    else
        free(walk);
    return e;
}

static enum err
next_row(struct store_walk *walk, struct row *out_row, struct err_text *why)
{
    MDB_val key, value;
    enum err e = kv_next(walk->rows, &key, &value, why);
    if (e != ERR_OK)
        return e;
    if (key.mv_size != LSN_KEY)
        return err_set(ERR_DAMAGED, why, "%s: a key of the records is damaged",
                       walk->view->store->dir);
    return row_of(walk->view->store, get_number(key.mv_data, LSN_KEY), &value,
                  walk->view->spot != NULL, out_row, why);
}

enum err
store_next(struct store_walk *walk, struct stored *out, struct err_text *why)
{
    struct row row;
    enum err e = next_row(walk, &row, why);
    if (e == ERR_OK)
        stored_of(walk->view->store, &row, out);
    return e;
}

void
store_walk_close(struct store_walk *walk)
{
    if (walk == NULL)
        return;
    kv_walk_close(walk->rows);
    free(walk);
}

/* What store_read_log() has left to give. */
struct taking {
    struct stored *out;
    size_t n, most, bytes, most_bytes;
};

static bool
take(struct taking *t, const struct store *store, const struct row *row)
{
    if (t->n == t->most || (t->n > 0 && row->len > t->most_bytes - t->bytes))
        return false;
    t->bytes = row->len < t->most_bytes - t->bytes ? t->bytes + row->len : t->most_bytes;
    stored_of(store, row, &t->out[t->n++]);
    return true;
}

/* Takes the run that goes on at `seq`. ERR_NOT_FOUND: `seq` is not here, or no more is wanted. */
static enum err
take_run(struct store_view *view, uint32_t log, uint64_t seq, struct taking *t,
         struct err_text *why)
{
    struct row row;
    struct store_walk *walk = NULL;
    enum err e = read_seq(view, log, seq, &row, why);
    if (e == ERR_OK)
        e = store_walk_open(view, row.lsn, &walk, why);
    while (e == ERR_OK) {
        e = next_row(walk, &row, why);
        if (e != ERR_OK || row.log != log || row.seq != seq)
            break;
        if (!take(t, view->store, &row))
            e = ERR_NOT_FOUND;
        seq++;
    }
    store_walk_close(walk);
    return e;
}

enum err
store_read_log(struct store_view *view, const char *site, uint32_t epoch,
               const uint8_t mark[MARK_SIZE], uint64_t first, size_t most, size_t most_bytes,
               struct stored *out, size_t *out_n, struct err_text *why)
{
    const struct log *log = logs_find(view->store, site, epoch, mark);
    struct taking t = {.out = out, .most = most, .most_bytes = most_bytes};
    enum err e = log != NULL ? ERR_OK : ERR_NOT_FOUND;
    while (e == ERR_OK)
        e = take_run(view, log->number, first + t.n, &t, why);
    if (e == ERR_NOT_FOUND) {
        *out_n = t.n;
        e = ERR_OK;
    }
    return e;
}
