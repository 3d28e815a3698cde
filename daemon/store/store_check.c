/* store_check.c - is every record, chain and index what was written? In pieces. */
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/store/store_int.h"

enum {
    PIECE = 10000
};

struct store_check {
    struct store *store;
    struct chain_end *logs; /* how far each was followed, by number - 1 */
    uint32_t n_logs;
    struct last last;       /* the record checked last */
    uint64_t runs, repeats; /* runs begun; ids that stand twice */
    uint64_t indexed;       /* those above may be missing in the index of ids, in this piece */
    bool ended;
};

enum err
store_check_new(struct store *store, struct store_check **out_check, struct err_text *why)
{
    struct store_check *check = calloc(1, sizeof *check);
    if (check == NULL)
        return err_set(ERR_MEM, why, "out of memory");
    check->store = store;
    *out_check = check;
    return ERR_OK;
}

uint64_t
store_check_count(const struct store_check *check)
{
    return check->last.lsn;
}

void
store_check_free(struct store_check *check)
{
    if (check == NULL)
        return;
    free(check->logs);
    free(check);
}

/* Logs may have been added since the last piece. */
static enum err
make_room(struct store_check *check, struct err_text *why)
{
    uint32_t n = check->store->n_logs;
    if (n == check->n_logs)
        return ERR_OK;
    struct chain_end *logs = realloc(check->logs, n * sizeof *logs);
    if (logs == NULL)
        return err_set(ERR_MEM, why, "out of memory");
    memset(logs + check->n_logs, 0, (n - check->n_logs) * sizeof *logs);
    check->logs = logs;
    check->n_logs = n;
    return ERR_OK;
}

static enum err
broken(const struct store_check *check, const struct row *row, const char *what,
       struct err_text *why)
{
    const struct log_mark *log = &check->store->logs[row->log - 1]->now;
    return err_set(ERR_DAMAGED, why,
                   "%s: site %s, epoch %" PRIu32 ", record %" PRIu64 " (arrival number %" PRIu64
                   "): %s",
                   check->store->dir, log->site, log->epoch, row->seq, row->lsn, what);
}

/* An id that stands twice is filed under the record that came first. */
static enum err
check_repeat(struct store_check *check, struct store_view *view, const struct row *row,
             const uint8_t id[ID_SIZE], uint64_t lsn, struct err_text *why)
{
    struct stored first;
    check->repeats++;
    enum err e = lsn < row->lsn ? store_get(view, lsn, &first, why) : ERR_NOT_FOUND;
    if (e == ERR_NOT_FOUND || (e == ERR_OK && memcmp(first.id, id, ID_SIZE) != 0))
        return broken(check, row, "the index of ids leads to another record", why);
    return e;
}

/* The index of ids must lead here, or to an earlier record with the same id. */
static enum err
check_id(struct store_check *check, struct store_view *view, const struct row *row,
         struct err_text *why)
{
    uint8_t id[ID_SIZE] = {0};
    MDB_val value;
    (void)record_id_in(row->bytes, row->len, id); /* without one it is filed under zeros */
    enum err e = kv_get(view->txn, check->store->by_id, id, ID_SIZE, &value, why);
    if (e == ERR_NOT_FOUND && row->lsn > check->indexed)
        return ERR_OK;
    if (e == ERR_NOT_FOUND || (e == ERR_OK && value.mv_size != ID_LSN))
        return broken(check, row, "the index of ids does not lead to it", why);
    if (e != ERR_OK)
        return e;
    uint64_t lsn = get_number(value.mv_data, ID_LSN);
    return lsn == row->lsn ? ERR_OK : check_repeat(check, view, row, id, lsn, why);
}

/* Where a run begins, the index of runs must have it. */
static enum err
check_run(struct store_check *check, struct store_view *view, const struct row *row,
          struct err_text *why)
{
    uint8_t key[RUN_KEY];
    MDB_val value;
    if (check->last.log == row->log && check->last.seq + 1 == row->seq)
        return ERR_OK;
    check->runs++;
    run_key(row->log, row->seq, key);
    enum err e = kv_get(view->txn, check->store->runs, key, sizeof key, &value, why);
    if (e == ERR_NOT_FOUND || (e == ERR_OK && (value.mv_size != LSN_KEY ||
                                               get_number(value.mv_data, LSN_KEY) != row->lsn)))
        return broken(check, row, "the index of numbers does not lead to it", why);
    return e;
}

static enum err
check_row(struct store_check *check, struct store_view *view, const struct row *row,
          struct err_text *why)
{
    struct chain_end *end = &check->logs[row->log - 1];
    const char *fault = row->lsn != check->last.lsn + 1
                            ? "the one that arrived before it is missing"
                            : chain_fault(end, row);
    if (fault != NULL)
        return broken(check, row, fault, why);
    enum err e = check_id(check, view, row, why);
    if (e == ERR_OK)
        e = check_run(check, view, row, why);
    if (e != ERR_OK)
        return e;
    check->last = (struct last){.lsn = row->lsn, .seq = row->seq, .log = row->log};
    chain_follow(end, row);
    return ERR_OK;
}

/* ---- the end: heads and counts */

static enum err
check_marks(struct store_check *check, struct store_view *view, struct err_text *why)
{
    for (uint32_t i = 0; i < check->n_logs; i++) {
        struct log_mark mark;
        enum err e = mark_in(view, check->store->logs[i], &mark, why);
        const struct chain_end *end = &check->logs[i];
        if (e == ERR_OK && (mark.seq != end->seq || memcmp(mark.hash, end->hash, HASH_SIZE) != 0))
            return err_set(ERR_DAMAGED, why,
                           "%s: site %s, epoch %" PRIu32 ": its head names record %" PRIu64
                           ", the last one here is %" PRIu64,
                           check->store->dir, mark.site, mark.epoch, mark.seq, end->seq);
        if (e != ERR_OK)
            return e;
    }
    return ERR_OK;
}

static enum err
check_counts(const struct store_check *check, struct store_view *view, struct err_text *why)
{
    uint64_t runs = 0, ids = 0;
    enum err e = kv_count(view->txn, check->store->runs, &runs, why);
    if (e == ERR_OK)
        e = kv_count(view->txn, check->store->by_id, &ids, why);
    if (e == ERR_OK && (runs != check->runs || ids + check->repeats != check->indexed))
        e = err_set(ERR_DAMAGED, why, "%s: the indexes have rows that lead to no record",
                    check->store->dir);
    return e;
}

static enum err
find_indexed_end(struct store_check *check, struct store_view *view, struct err_text *why)
{
    uint32_t behind = 0;
    enum err e = ids_behind(view, &behind, why);
    check->indexed = store_last(view) - behind;
    return e;
}

/* Up to PIECE rows of `view`, and all that its index does not have: they are looked at in one view.
 * ERR_NOT_FOUND: that was the last. */
static enum err
check_piece(struct store_check *check, struct store_view *view, struct err_text *why)
{
    struct kv_walk *walk = NULL;
    uint8_t from[LSN_KEY];
    put_number(from, check->last.lsn + 1, sizeof from);
    enum err e = find_indexed_end(check, view, why);
    if (e == ERR_OK)
        e = kv_walk_open(view->txn, check->store->records, from, sizeof from, &walk, why);
    for (int i = 0; (i < PIECE || check->last.lsn >= check->indexed) && e == ERR_OK; i++) {
        MDB_val key, value;
        struct row row;
        e = kv_next(walk, &key, &value, why);
        if (e == ERR_OK && key.mv_size != LSN_KEY)
            e = err_set(ERR_DAMAGED, why, "%s: a key of the records is damaged", check->store->dir);
        if (e == ERR_OK)
            e = row_of(check->store, get_number(key.mv_data, LSN_KEY), &value, false, &row, why);
        if (e == ERR_OK)
            e = check_row(check, view, &row, why);
    }
    kv_walk_close(walk);
    return e;
}

enum err
store_check_step(struct store_check *check, bool *out_done, struct err_text *why)
{
    struct store_view *view = NULL;
    enum err e = check->ended ? ERR_OK : make_room(check, why);
    if (check->ended || e != ERR_OK) {
        *out_done = check->ended;
        return e;
    }
    e = store_look(check->store, &view, why);
    if (e != ERR_OK)
        return e;
    e = check_piece(check, view, why);
    bool end = e == ERR_NOT_FOUND;
    if (end)
        e = check_marks(check, view, why);
    if (end && e == ERR_OK)
        e = check_counts(check, view, why);
    if (end && e == ERR_OK)
        e = check_values(view, why);
    store_done(&view);
    *out_done = check->ended = end || e != ERR_OK;
    return e;
}

enum err
store_verify(struct store *store, uint64_t *out_checked, struct err_text *why)
{
    struct store_check *check = NULL;
    bool done = false;
    *out_checked = 0;
    enum err e = kv_check_pages(store->kv, why);
    if (e == ERR_OK)
        e = store_check_new(store, &check, why);
    while (e == ERR_OK && !done)
        e = store_check_step(check, &done, why);
    if (check != NULL)
        *out_checked = store_check_count(check);
    store_check_free(check);
    return e;
}
