/* store_logs.c - the logs in memory: found by name, marked during a transaction, written once. */
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/store/store_int.h"

bool
site_name_fits(const char *site)
{
    return site != NULL && site[0] != '\0' && strlen(site) < SITE_SIZE;
}

static int
compare(const struct log *log, const char *site, uint32_t epoch, const uint8_t mark[MARK_SIZE])
{
    int c = strcmp(log->now.site, site);
    if (c == 0)
        c = (log->now.epoch > epoch) - (log->now.epoch < epoch);
    return c != 0 ? c : memcmp(log->now.mark, mark, MARK_SIZE);
}

/* The first place in `sorted` that does not come before the name. */
static uint32_t
place_of(const struct store *store, const char *site, uint32_t epoch, const uint8_t mark[MARK_SIZE])
{
    uint32_t low = 0, high = store->n_logs;
    while (low < high) {
        uint32_t middle = low + (high - low) / 2;
        if (compare(store->sorted[middle], site, epoch, mark) < 0)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

struct log *
logs_find(struct store *store, const char *site, uint32_t epoch, const uint8_t mark[MARK_SIZE])
{
    uint32_t at = place_of(store, site, epoch, mark);
    if (at < store->n_logs && compare(store->sorted[at], site, epoch, mark) == 0)
        return store->sorted[at];
    return NULL;
}

uint32_t
logs_first(const struct store *store, const char *site)
{
    static const uint8_t least[MARK_SIZE] = {0};
    return place_of(store, site, 0, least);
}

/* The last log of `site` in order, own ones only if asked. */
static struct log *
last_of(const struct store *store, const char *site, bool own)
{
    static const uint8_t most[MARK_SIZE] = {255, 255, 255, 255, 255, 255, 255, 255};
    uint32_t at = place_of(store, site, UINT32_MAX, most);
    for (; at > 0 && strcmp(store->sorted[at - 1]->now.site, site) == 0; at--)
        if (!own || store->sorted[at - 1]->now.own)
            return store->sorted[at - 1];
    return NULL;
}

struct log *
logs_own(struct store *store, const char *site)
{
    return last_of(store, site, true);
}

uint32_t
logs_last_epoch(const struct store *store, const char *site)
{
    const struct log *log = last_of(store, site, false);
    return log != NULL ? log->now.epoch : 0;
}

static enum err
make_room(struct store *store, struct err_text *why)
{
    if (store->n_logs < store->room)
        return ERR_OK;
    uint32_t room = store->room != 0 ? store->room * 2 : 16;
    struct log **logs = realloc(store->logs, room * sizeof *logs);
    if (logs != NULL)
        store->logs = logs;
    struct log **sorted = realloc(store->sorted, room * sizeof *sorted);
    if (sorted != NULL)
        store->sorted = sorted;
    if (logs == NULL || sorted == NULL)
        return err_set(ERR_MEM, why, "out of memory for %" PRIu32 " logs", room);
    store->room = room;
    return ERR_OK;
}

enum err
logs_add(struct store *store, const struct log_mark *mark, bool fresh, struct log **out_log,
         struct err_text *why)
{
    enum err e = make_room(store, why);
    if (e != ERR_OK)
        return e;
    struct log *log = calloc(1, sizeof *log);
    if (log == NULL)
        return err_set(ERR_MEM, why, "out of memory for a log");
    log->mark = log->now = *mark;
    log->fresh = fresh;
    uint32_t at = place_of(store, mark->site, mark->epoch, mark->mark);
    memmove(store->sorted + at + 1, store->sorted + at,
            (store->n_logs - at) * sizeof *store->sorted);
    store->sorted[at] = log;
    store->logs[store->n_logs++] = log;
    log->number = store->n_logs;
    if (fresh)
        logs_touch(store, log);
    if (out_log != NULL)
        *out_log = log;
    return ERR_OK;
}

void
logs_touch(struct store *store, struct log *log)
{
    if (log->dirty)
        return;
    log->dirty = true;
    log->next_dirty = store->dirty;
    store->dirty = log;
}

static enum err
write_row(struct store *store, const struct log *log, struct kv_txn *txn, struct err_text *why)
{
    uint8_t key[4], value[LOG_MOST];
    put_number(key, log->number, sizeof key);
    size_t len = log_pack(&log->now, value);
    return kv_put(txn, store->log_rows, key, sizeof key, value, len, false, why);
}

/* The newest record names its log, its number and its hash: all that moved in the row. */
static bool
may_lag(const struct store *store, const struct log *log)
{
    return log->number == store->last_now.log && !log->fresh && !log->now.partial;
}

void
logs_note_lag(struct store *store)
{
    uint32_t number = store->last_now.log;
    struct log *log = number != 0 ? store->logs[number - 1] : NULL;
    store->lags = log != NULL && !log->now.partial ? log : NULL;
}

enum err
logs_write(struct store *store, struct kv_txn *txn, struct err_text *why)
{
    enum err e = ERR_OK;
    for (struct log *log = store->dirty; log != NULL && e == ERR_OK; log = log->next_dirty)
        if (!may_lag(store, log))
            e = write_row(store, log, txn, why);
    if (e == ERR_OK && store->lags != NULL && !store->lags->dirty &&
        store->lags->number != store->last_now.log)
        e = write_row(store, store->lags, txn, why); /* no longer the log of the newest record */
    return e;
}

void
logs_lead(const struct row *newest, uint32_t number, struct log_mark *mark)
{
    if (newest->log != number || mark->partial || newest->seq <= mark->seq)
        return;
    mark->seq = newest->seq;
    memcpy(mark->hash, newest->hash, HASH_SIZE);
}

/* Takes logs out again that were made in a transaction that is gone. They are the last ones. */
static void
drop_fresh(struct store *store)
{
    uint32_t kept = 0;
    for (uint32_t i = 0; i < store->n_logs; i++)
        if (!store->sorted[i]->fresh)
            store->sorted[kept++] = store->sorted[i];
    for (uint32_t i = kept; i < store->n_logs; i++)
        free(store->logs[i]);
    store->n_logs = kept;
}

void
logs_settle(struct store *store, bool committed)
{
    bool fresh = false;
    for (struct log *log = store->dirty; log != NULL; log = log->next_dirty) {
        log->dirty = false;
        fresh = fresh || log->fresh;
        if (committed) {
            log->mark = log->now;
            log->fresh = false;
        } else {
            log->now = log->mark;
        }
    }
    if (committed && store->dirty != NULL)
        logs_note_lag(store);
    store->dirty = NULL;
    if (fresh && !committed)
        drop_fresh(store);
}

void
logs_free(struct store *store)
{
    for (uint32_t i = 0; i < store->n_logs; i++)
        free(store->logs[i]);
    free(store->logs);
    free(store->sorted);
    store->logs = store->sorted = NULL;
    store->n_logs = store->room = 0;
}

enum err
logs_load(struct store *store, struct kv_txn *txn, struct err_text *why)
{
    struct kv_walk *walk = NULL;
    enum err e = kv_walk_open(txn, store->log_rows, NULL, 0, &walk, why);
    while (e == ERR_OK) {
        MDB_val key, value;
        struct log_mark mark;
        e = kv_next(walk, &key, &value, why);
        if (e != ERR_OK)
            break;
        if (key.mv_size != 4 || get_number(key.mv_data, 4) != store->n_logs + 1 ||
            !log_unpack(value.mv_data, value.mv_size, &mark))
            e = err_set(ERR_DAMAGED, why, "%s: the head of log %" PRIu32 " is damaged", store->dir,
                        store->n_logs + 1);
        else
            e = logs_add(store, &mark, false, NULL, why);
    }
    kv_walk_close(walk);
    return e == ERR_NOT_FOUND ? ERR_OK : e;
}
