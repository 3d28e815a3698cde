/* kv_data.c - rows: get, put, walk. */
#include <assert.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/store/kv_int.h"

static MDB_val
val(const void *data, size_t len)
{
    return (MDB_val){.mv_size = len, .mv_data = (void *)(uintptr_t)data};
}

enum err
kv_get(struct kv_txn *txn, MDB_dbi table, const void *key, size_t key_len, MDB_val *out_value,
       struct err_text *why)
{
    MDB_val k = val(key, key_len);
    int rc = mdb_get(txn->txn, table, &k, out_value);
    return rc == MDB_NOTFOUND ? ERR_NOT_FOUND : kv_told(txn->kv, txn, rc, "read a row", why);
}

static int
put(struct kv_txn *txn, MDB_dbi table, MDB_val *key, MDB_val *value, bool append, unsigned flags)
{
    if (append) {
        int rc = mdb_put(txn->txn, table, key, value, MDB_APPEND);
        if (rc != MDB_KEYEXIST)
            return rc;
    } /* it is not the last key after all; nothing was changed */
    return mdb_put(txn->txn, table, key, value, flags);
}

enum err
kv_put(struct kv_txn *txn, MDB_dbi table, const void *key, size_t key_len, const void *value,
       size_t value_len, bool append, struct err_text *why)
{
    assert(txn->writes);
    MDB_val k = val(key, key_len), v = val(value, value_len);
    return kv_told(txn->kv, txn, put(txn, table, &k, &v, append, 0), "write a row", why);
}

enum err
kv_add(struct kv_txn *txn, MDB_dbi table, const void *key, size_t key_len, const void *value,
       size_t value_len, bool *out_added, struct err_text *why)
{
    assert(txn->writes);
    MDB_val k = val(key, key_len), v = val(value, value_len);
    int rc = put(txn, table, &k, &v, true, MDB_NOOVERWRITE);
    if (out_added != NULL && (rc == 0 || rc == MDB_KEYEXIST))
        *out_added = rc == 0;
    return kv_told(txn->kv, txn, rc == MDB_KEYEXIST ? 0 : rc, "write a row", why);
}

enum err
kv_del(struct kv_txn *txn, MDB_dbi table, const void *key, size_t key_len, struct err_text *why)
{
    assert(txn->writes);
    MDB_val k = val(key, key_len);
    int rc = mdb_del(txn->txn, table, &k, NULL);
    return kv_told(txn->kv, txn, rc == MDB_NOTFOUND ? 0 : rc, "delete a row", why);
}

enum err
kv_clear(struct kv_txn *txn, MDB_dbi table, struct err_text *why)
{
    assert(txn->writes);
    return kv_told(txn->kv, txn, mdb_drop(txn->txn, table, 0), "empty a table", why);
}

enum err
kv_count(struct kv_txn *txn, MDB_dbi table, uint64_t *out_rows, struct err_text *why)
{
    MDB_stat stat;
    int rc = mdb_stat(txn->txn, table, &stat);
    if (rc == 0)
        *out_rows = stat.ms_entries;
    return kv_told(txn->kv, txn, rc, "count rows", why);
}

struct kv_walk {
    struct kv_txn *txn;
    MDB_cursor *cursor;
    MDB_val from;
    bool begun;
    uint8_t from_bytes[]; /* a copy: the caller's key may be gone at the first kv_next */
};

enum err
kv_walk_open(struct kv_txn *txn, MDB_dbi table, const void *from, size_t from_len,
             struct kv_walk **out_walk, struct err_text *why)
{
    struct kv_walk *walk = malloc(sizeof *walk + from_len);
    if (walk == NULL)
        return err_set(ERR_MEM, why, "out of memory");
    walk->txn = txn;
    walk->begun = false;
    if (from_len > 0)
        memcpy(walk->from_bytes, from, from_len);
    walk->from = val(walk->from_bytes, from_len);
    int rc = mdb_cursor_open(txn->txn, table, &walk->cursor);
    if (rc != 0) {
        free(walk);
        return kv_told(txn->kv, txn, rc, "walk over a table", why);
    }
    *out_walk = walk;
    return ERR_OK;
}

enum err
kv_next(struct kv_walk *walk, MDB_val *out_key, MDB_val *out_value, struct err_text *why)
{
    MDB_cursor_op op = MDB_NEXT;
    if (!walk->begun) {
        *out_key = walk->from;
        op = walk->from.mv_size > 0 ? MDB_SET_RANGE : MDB_FIRST;
        walk->begun = true;
    }
    int rc = mdb_cursor_get(walk->cursor, out_key, out_value, op);
    if (rc == MDB_NOTFOUND)
        return ERR_NOT_FOUND;
    return kv_told(walk->txn->kv, walk->txn, rc, "walk over a table", why);
}

void
kv_walk_close(struct kv_walk *walk)
{
    if (walk == NULL)
        return;
    mdb_cursor_close(walk->cursor);
    free(walk);
}

struct kv_spot {
    struct kv_txn *txn;
    MDB_cursor *cursor;
};

enum err
kv_spot_open(struct kv_txn *txn, MDB_dbi table, struct kv_spot **out_spot, struct err_text *why)
{
    struct kv_spot *spot = malloc(sizeof *spot);
    if (spot == NULL)
        return err_set(ERR_MEM, why, "out of memory");
    spot->txn = txn;
    int rc = mdb_cursor_open(txn->txn, table, &spot->cursor);
    if (rc != 0) {
        free(spot);
        return kv_told(txn->kv, txn, rc, "look into a table", why);
    }
    *out_spot = spot;
    return ERR_OK;
}

enum err
kv_spot_get(struct kv_spot *spot, const void *key, size_t key_len, MDB_val *out_value,
            struct err_text *why)
{
    MDB_val k = val(key, key_len);
    int rc = mdb_cursor_get(spot->cursor, &k, out_value, MDB_SET_KEY);
    return rc == MDB_NOTFOUND ? ERR_NOT_FOUND
                              : kv_told(spot->txn->kv, spot->txn, rc, "read a row", why);
}

enum err
kv_spot_put(struct kv_spot *spot, const void *key, size_t key_len, const void *value,
            size_t value_len, bool append, struct err_text *why)
{
    assert(spot->txn->writes);
    MDB_val k = val(key, key_len), v = val(value, value_len);
    int rc = append ? mdb_cursor_put(spot->cursor, &k, &v, MDB_APPEND) : MDB_KEYEXIST;
    if (rc == MDB_KEYEXIST)
        rc = mdb_cursor_put(spot->cursor, &k, &v, 0);
    return kv_told(spot->txn->kv, spot->txn, rc, "write a row", why);
}

void
kv_spot_close(struct kv_spot *spot)
{
    if (spot == NULL)
        return;
    mdb_cursor_close(spot->cursor);
    free(spot);
}

enum err
kv_last(struct kv_txn *txn, MDB_dbi table, MDB_val *out_key, MDB_val *out_value,
        struct err_text *why)
{
    MDB_cursor *cursor = NULL;
    int rc = mdb_cursor_open(txn->txn, table, &cursor);
    if (rc == 0) {
        rc = mdb_cursor_get(cursor, out_key, out_value, MDB_LAST);
        mdb_cursor_close(cursor);
    }
    return rc == MDB_NOTFOUND ? ERR_NOT_FOUND : kv_told(txn->kv, txn, rc, "read a row", why);
}

/* The first key >= `key`, and when that is another one, the one before it. */
static int
floor_row(MDB_txn *txn, MDB_cursor *cursor, MDB_dbi table, MDB_val key, MDB_val *out_key,
          MDB_val *out_value)
{
    *out_key = key;
    int rc = mdb_cursor_get(cursor, out_key, out_value, MDB_SET_RANGE);
    if (rc == MDB_NOTFOUND)
        return mdb_cursor_get(cursor, out_key, out_value, MDB_LAST);
    if (rc == 0 && mdb_cmp(txn, table, &key, out_key) != 0)
        return mdb_cursor_get(cursor, out_key, out_value, MDB_PREV);
    return rc;
}

enum err
kv_floor(struct kv_txn *txn, MDB_dbi table, const void *key, size_t key_len, MDB_val *out_key,
         MDB_val *out_value, struct err_text *why)
{
    MDB_cursor *cursor = NULL;
    int rc = mdb_cursor_open(txn->txn, table, &cursor);
    if (rc == 0) {
        rc = floor_row(txn->txn, cursor, table, val(key, key_len), out_key, out_value);
        mdb_cursor_close(cursor);
    }
    return rc == MDB_NOTFOUND ? ERR_NOT_FOUND : kv_told(txn->kv, txn, rc, "read a row", why);
}
