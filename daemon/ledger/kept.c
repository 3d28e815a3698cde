/* kept.c - see kept.h. */
#include "daemon/ledger/kept.h"

#include <stdlib.h>
#include <string.h>

enum {
    MOMENT = 8,
    BATCH = 512
};

struct key
line_key(const struct posting *line)
{
    struct key key = {.n = 0, .over = false};
    key_byte(&key, (uint8_t)line->measure);
    key_month(&key, line->month);
    key_text_end(&key, line->site);
    key_text(&key, line->key);
    return key;
}

enum err
line_read(const uint8_t *key, size_t key_len, const uint8_t *value, size_t value_len,
          char text[TABLE_KEY_MAX + 1], struct posting *out_line, struct err_text *why)
{
    if (key_len < 6 || key_len > TABLE_KEY_MAX || value_len != 8)
        return err_set(ERR_DAMAGED, why, "ledger: a line of the books is damaged");
    size_t n = key_len - 5;
    memcpy(text, key + 5, n);
    text[n] = '\0';
    size_t site = strlen(text) + 1;
    uint32_t month =
        (uint32_t)key[1] << 24 | (uint32_t)key[2] << 16 | (uint32_t)key[3] << 8 | (uint32_t)key[4];
    *out_line = (struct posting){(enum measure)key[0], (int32_t)(month ^ 0x80000000U), text,
                                 site <= n ? text + site : "", get_i64(value)};
    return ERR_OK;
}

static struct key
key_moment(int64_t held_ms)
{
    struct key key = {.n = 0, .over = false};
    key_number(&key, held_ms);
    return key;
}

enum err
kept_last(struct kv_txn *txn, const struct tables *tables, int64_t *out_held_ms,
          struct err_text *why)
{
    MDB_val key, value;
    *out_held_ms = INT64_MIN;
    enum err e = kv_last(txn, tables->kept, &key, &value, why);
    if (e == ERR_OK && key.mv_size >= MOMENT)
        *out_held_ms = get_i64(key.mv_data);
    return e == ERR_NOT_FOUND ? ERR_OK : e;
}

/* ---- reading */

static enum err
read_kept(void *owner, const uint8_t *key, size_t key_len, const uint8_t *value, size_t value_len,
          struct err_text *why)
{
    char text[TABLE_KEY_MAX + 1];
    struct posting line;
    if (key_len == MOMENT)
        return ERR_OK;
    enum err e = line_read(key + MOMENT, key_len - MOMENT, value, value_len, text, &line, why);
    return e == ERR_OK ? books_append(owner, &line, why) : e;
}

enum err
kept_read(const struct view *view, int64_t held_ms, struct books **out_books, struct err_text *why)
{
    MDB_val value;
    struct books *books = NULL;
    struct key moment = key_moment(held_ms);
    enum err e = kv_get(view->kv, view->tables->kept, moment.bytes, moment.n, &value, why);
    if (e == ERR_OK)
        e = books_new(&books, why);
    if (e == ERR_OK)
        e = table_walk(view->kv, view->tables->kept, &moment, read_kept, books, why);
    if (e == ERR_OK)
        *out_books = books;
    else
        books_free(books);
    return e;
}

/* ---- dropping */

struct batch {
    struct key *keys;
    size_t n;
};

static enum err
gather_key(void *owner, const uint8_t *key, size_t key_len, const uint8_t *value, size_t value_len,
           struct err_text *why)
{
    struct batch *batch = owner;
    (void)value;
    (void)value_len;
    (void)why;
    struct key *to = &batch->keys[batch->n++];
    to->n = 0;
    to->over = false;
    key_bytes(to, key, key_len);
    return batch->n < BATCH ? ERR_OK : ERR_NOT_FOUND; /* enough for once */
}

static enum err
drop_moment(struct kv_txn *txn, const struct tables *tables, int64_t held_ms, struct err_text *why)
{
    struct key moment = key_moment(held_ms);
    struct batch batch = {malloc(BATCH * sizeof *batch.keys), 0};
    enum err e = batch.keys != NULL ? ERR_OK : err_set(ERR_MEM, why, "ledger: out of memory");
    do {
        batch.n = 0;
        if (e == ERR_OK)
            e = table_walk(txn, tables->kept, &moment, gather_key, &batch, why);
        for (size_t i = 0; i < batch.n && e == ERR_OK; i++)
            e = kv_del(txn, tables->kept, batch.keys[i].bytes, batch.keys[i].n, why);
    } while (e == ERR_OK && batch.n > 0);
    free(batch.keys);
    return e;
}

/* The first moment that is not before `held_ms`. ERR_NOT_FOUND. */
static enum err
next_moment(struct kv_txn *txn, const struct tables *tables, int64_t held_ms, int64_t *out_held_ms,
            struct err_text *why)
{
    struct kv_walk *walk = NULL;
    MDB_val key, value;
    struct key from = key_moment(held_ms);
    enum err e = kv_walk_open(txn, tables->kept, from.bytes, from.n, &walk, why);
    if (e != ERR_OK)
        return e;
    e = kv_next(walk, &key, &value, why);
    if (e == ERR_OK && key.mv_size < MOMENT)
        e = err_set(ERR_DAMAGED, why, "ledger: a row of kept books is damaged");
    if (e == ERR_OK)
        *out_held_ms = get_i64(key.mv_data);
    kv_walk_close(walk);
    return e;
}

enum err
kept_drop(struct kv_txn *txn, const struct tables *tables, int64_t held_ms, struct err_text *why)
{
    int64_t moment = 0;
    enum err e = ERR_OK;
    while (e == ERR_OK && (e = next_moment(txn, tables, held_ms, &moment, why)) == ERR_OK)
        e = drop_moment(txn, tables, moment, why);
    return e == ERR_NOT_FOUND ? ERR_OK : e;
}

static enum err
drop_oldest(struct kv_txn *txn, const struct tables *tables, struct err_text *why)
{
    int64_t first = 0, moment = INT64_MIN;
    int n = 0;
    enum err e = ERR_OK;
    while (e == ERR_OK && (e = next_moment(txn, tables, moment, &moment, why)) == ERR_OK) {
        if (n++ == 0)
            first = moment;
        if (moment == INT64_MAX)
            break;
        moment++;
    }
    if (e != ERR_OK && e != ERR_NOT_FOUND)
        return e;
    return n > KEPT_MOMENTS ? drop_moment(txn, tables, first, why) : ERR_OK;
}

/* ---- writing */

struct writing {
    struct kv_txn *txn;
    const struct tables *tables;
    int64_t held_ms;
    enum err e;
    struct err_text *why;
};

static enum err
put_moment(struct writing *w)
{
    struct key moment = key_moment(w->held_ms);
    return kv_put(w->txn, w->tables->kept, moment.bytes, moment.n, "", 0, false, w->why);
}

static enum err
put_line(struct writing *w, const uint8_t *line, size_t n, const uint8_t value[8])
{
    struct key key = key_moment(w->held_ms);
    key_bytes(&key, line, n);
    if (key.over)
        return ERR_OK;
    return kv_put(w->txn, w->tables->kept, key.bytes, key.n, value, 8, true, w->why);
}

static enum err
copy_line(void *owner, const uint8_t *key, size_t key_len, const uint8_t *value, size_t value_len,
          struct err_text *why)
{
    uint8_t line[TABLE_KEY_MAX], amount[8];
    if (key_len > sizeof line || value_len != sizeof amount)
        return err_set(ERR_DAMAGED, why, "ledger: a line of the books is damaged");
    memcpy(line, key, key_len); /* what LMDB lends may move with the put */
    memcpy(amount, value, sizeof amount);
    return put_line(owner, line, key_len, amount);
}

enum err
kept_copy(struct kv_txn *txn, const struct tables *tables, int64_t held_ms, struct err_text *why)
{
    struct writing w = {txn, tables, held_ms, ERR_OK, why};
    struct key all = {.n = 0, .over = false};
    enum err e = put_moment(&w);
    if (e == ERR_OK)
        e = table_walk(txn, tables->lines, &all, copy_line, &w, why);
    return e == ERR_OK ? drop_oldest(txn, tables, why) : e;
}

static bool
write_line(void *owner, const struct posting *line)
{
    struct writing *w = owner;
    uint8_t amount[8];
    struct key key = line_key(line);
    put_i64(amount, line->amount);
    if (!key.over)
        w->e = put_line(w, key.bytes, key.n, amount);
    return w->e == ERR_OK;
}

enum err
kept_write(struct ledger *ledger, int64_t held_ms, const struct books *books, struct err_text *why)
{
    struct store_txn *txn = NULL;
    enum err e = store_begin(ledger->store, &txn, why);
    if (e != ERR_OK)
        return e;
    struct writing w = {store_txn_kv(txn), &ledger->tables, held_ms, ERR_OK, why};
    e = put_moment(&w);
    if (e == ERR_OK) {
        books_walk_all(books, write_line, &w);
        e = w.e;
    }
    if (e == ERR_OK)
        e = drop_oldest(w.txn, w.tables, why);
    if (e == ERR_OK)
        return store_commit(&txn, why);
    store_abort(&txn);
    return e;
}
