/* store_values.c - small named values, with a check each. */
#include <string.h>
#include "daemon/store/store_int.h"

enum err
put_value(struct store *store, struct kv_txn *txn, MDB_dbi table, const char *name,
          const void *value, size_t len, struct err_text *why)
{
    if (len > VALUE_MOST)
        return err_set(ERR_INPUT, why, "%s: %zu bytes: expected at most %d", name, len, VALUE_MOST);
    memcpy(store->buffer, value, len);
    value_seal(name, strlen(name), store->buffer, len);
    return kv_put(txn, table, name, strlen(name), store->buffer, len + VALUE_CHECK, false, why);
}

enum err
get_value(const struct store *store, struct kv_txn *txn, MDB_dbi table, const char *name,
          MDB_val *out, struct err_text *why)
{
    MDB_val value = {0};
    size_t len = 0;
    enum err e = kv_get(txn, table, name, strlen(name), &value, why);
    if (e != ERR_OK)
        return e;
    if (!value_open(name, strlen(name), value.mv_data, value.mv_size, &len))
        return err_set(ERR_DAMAGED, why, "%s: the value %s is not what was written", store->dir,
                       name);
    *out = (MDB_val){.mv_size = len, .mv_data = value.mv_data};
    return ERR_OK;
}

static enum err
check_table(struct store_view *view, MDB_dbi table, struct err_text *why)
{
    struct kv_walk *walk = NULL;
    MDB_val key, value;
    size_t len = 0;
    enum err e = kv_walk_open(view->txn, table, NULL, 0, &walk, why);
    while (e == ERR_OK) {
        e = kv_next(walk, &key, &value, why);
        if (e == ERR_OK &&
            !value_open(key.mv_data, key.mv_size, value.mv_data, value.mv_size, &len))
            e = err_set(ERR_DAMAGED, why, "%s: the value %.*s is not what was written",
                        view->store->dir, (int)key.mv_size, (const char *)key.mv_data);
    }
    kv_walk_close(walk);
    return e == ERR_NOT_FOUND ? ERR_OK : e;
}

enum err
check_values(struct store_view *view, struct err_text *why)
{
    enum err e = check_table(view, view->store->meta, why);
    return e == ERR_OK ? check_table(view, view->store->notes, why) : e;
}

enum err
store_note(struct store_txn *txn, const char *name, const void *value, size_t len,
           struct err_text *why)
{
    MDB_dbi notes = txn->store->notes;
    if (value == NULL)
        return kv_del(txn->view.txn, notes, name, strlen(name), why);
    return put_value(txn->store, txn->view.txn, notes, name, value, len, why);
}

enum err
store_noted(struct store_view *view, const char *name, void *out, size_t size, size_t *out_len,
            struct err_text *why)
{
    MDB_val value = {0};
    enum err e = get_value(view->store, view->txn, view->store->notes, name, &value, why);
    if (e != ERR_OK)
        return e;
    if (value.mv_size > size)
        return err_set(ERR_INPUT, why, "note %s: %zu bytes: expected at most %zu", name,
                       value.mv_size, size);
    memcpy(out, value.mv_data, value.mv_size);
    *out_len = value.mv_size;
    return ERR_OK;
}
