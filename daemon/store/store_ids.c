/* store_ids.c - the index of ids, which may stay a few records behind.
 *
 * A commit of one record then leaves the index alone, nearly always: fewer pages to flush while a
 * person waits. The newest records that are not in it are known by their arrival numbers, so
 * nothing has to be written to say which they are.
 */
#include <inttypes.h>
#include <string.h>
#include "daemon/store/store_int.h"

static enum err
add(struct store_txn *txn, uint64_t lsn, const uint8_t id[ID_SIZE], struct err_text *why)
{
    uint8_t value[ID_LSN];
    put_number(value, lsn, sizeof value);
    return kv_add(txn->view.txn, txn->store->by_id, id, ID_SIZE, value, sizeof value, NULL, why);
}

/* Those that wait, the last of them with the arrival number `last`. */
static enum err
add_waiting(struct store_txn *txn, uint64_t last, struct err_text *why)
{
    struct ids *ids = &txn->store->ids_now;
    enum err e = ERR_OK;
    for (uint32_t i = 0; i < ids->n && e == ERR_OK; i++)
        e = add(txn, last - ids->n + 1 + i, ids->id[i], why);
    if (e == ERR_OK)
        ids->n = 0;
    return e;
}

/* ERR_NOT_FOUND: not among those that wait. */
static enum err
find_waiting(const struct ids *ids, uint64_t last, const uint8_t id[ID_SIZE], uint64_t *out_lsn)
{
    for (uint32_t i = 0; i < ids->n; i++) {
        if (memcmp(ids->id[i], id, ID_SIZE) == 0) {
            *out_lsn = last - ids->n + 1 + i;
            return ERR_OK;
        }
    }
    return ERR_NOT_FOUND;
}

static enum err
find_indexed(struct store_view *view, const uint8_t id[ID_SIZE], uint64_t *out_lsn,
             struct err_text *why)
{
    MDB_val value;
    enum err e = kv_get(view->txn, view->store->by_id, id, ID_SIZE, &value, why);
    if (e == ERR_OK)
        *out_lsn = value.mv_size == ID_LSN ? get_number(value.mv_data, ID_LSN) : 0;
    return e;
}

enum err
ids_put(struct store_txn *txn, uint64_t lsn, const uint8_t id[ID_SIZE], struct err_text *why)
{
    struct ids *ids = &txn->store->ids_now;
    uint64_t first = 0;
    enum err e = txn->ids_added ? ERR_OK : find_indexed(&txn->view, id, &first, why);
    if (e == ERR_NOT_FOUND)
        e = find_waiting(ids, lsn - 1, id, &first);
    if (e == ERR_NOT_FOUND && ids->n < IDS_BEHIND) {
        memcpy(ids->id[ids->n++], id, ID_SIZE);
        return ERR_OK;
    }
    if (e == ERR_OK || e == ERR_NOT_FOUND) /* no room, or one that stands twice: all go in */
        e = add_waiting(txn, lsn - 1, why);
    txn->ids_added = true;
    return e == ERR_OK ? add(txn, lsn, id, why) : e;
}

/* ---- in a view */

static bool
is_newest(const struct store_view *view, uint64_t last)
{
    return view->writes || last == view->store->last.lsn;
}

static const struct ids *
waiting(const struct store_view *view)
{
    return view->writes ? &view->store->ids_now : &view->store->ids;
}

/* Reads the ids that wait in a view, newest first. At a record that is damaged it ends: who reads
 * that record is told. */
static enum err
scan(struct store_view *view, uint64_t last, struct ids *out, struct err_text *why)
{
    enum err e = ERR_OK;
    out->n = 0;
    for (uint64_t lsn = last; lsn > 0 && out->n < IDS_BEHIND && e == ERR_OK; lsn--) {
        struct stored stored;
        uint64_t first = 0;
        e = store_get(view, lsn, &stored, why);
        if (e == ERR_OK)
            e = find_indexed(view, stored.id, &first, why);
        if (e != ERR_NOT_FOUND)
            return e == ERR_DAMAGED ? ERR_OK : e;
        memmove(out->id[1], out->id[0], out->n * sizeof out->id[0]);
        memcpy(out->id[0], stored.id, ID_SIZE);
        out->n++;
        e = ERR_OK;
    }
    return e;
}

enum err
ids_find(struct store_view *view, const uint8_t id[ID_SIZE], uint64_t *out_lsn,
         struct err_text *why)
{
    struct ids old;
    enum err e = find_indexed(view, id, out_lsn, why);
    if (e != ERR_NOT_FOUND)
        return e;
    uint64_t last = store_last(view);
    if (is_newest(view, last))
        return find_waiting(waiting(view), last, id, out_lsn);
    e = scan(view, last, &old, why);
    return e == ERR_OK ? find_waiting(&old, last, id, out_lsn) : e;
}

enum err
ids_behind(struct store_view *view, uint32_t *out_n, struct err_text *why)
{
    struct ids old;
    uint64_t last = store_last(view);
    if (is_newest(view, last)) {
        *out_n = waiting(view)->n;
        return ERR_OK;
    }
    enum err e = scan(view, last, &old, why);
    *out_n = old.n;
    return e;
}

enum err
ids_load(struct store_view *view, struct err_text *why)
{
    struct store *store = view->store;
    enum err e = scan(view, store->last.lsn, &store->ids, why);
    store->ids_now = store->ids;
    return e;
}
