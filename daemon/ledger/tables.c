/* tables.c - see tables.h. */
#include "daemon/ledger/tables.h"

#include <string.h>

enum {
    TABLES = 11
};

static const char *const names[TABLES] = {
    "ledger.meta",  "ledger.facts",  "ledger.fixes", "ledger.rows", "ledger.lines", "ledger.deps",
    "ledger.stays", "ledger.wastes", "ledger.lags",  "ledger.acts", "ledger.kept"};

enum err
tables_open(struct kv *kv, struct tables *t, struct err_text *why)
{
    MDB_dbi *const all[TABLES] = {&t->meta,  &t->facts,  &t->fixes, &t->rows, &t->lines, &t->deps,
                                  &t->stays, &t->wastes, &t->lags,  &t->acts, &t->kept};
    for (size_t i = 0; i < TABLES; i++) {
        enum err e = kv_table(kv, names[i], all[i], why);
        if (e != ERR_OK)
            return e;
    }
    return ERR_OK;
}

enum err
tables_clear(struct kv_txn *txn, const struct tables *t, struct err_text *why)
{
    const MDB_dbi all[TABLES] = {t->meta,  t->facts,  t->fixes, t->rows, t->lines, t->deps,
                                 t->stays, t->wastes, t->lags,  t->acts, t->kept};
    enum err e = ERR_OK;
    for (size_t i = 0; i < TABLES && e == ERR_OK; i++)
        e = kv_clear(txn, all[i], why);
    return e;
}

void
key_bytes(struct key *key, const void *bytes, size_t n)
{
    if (n > sizeof key->bytes - key->n) {
        key->over = true;
        return;
    }
    if (n > 0)
        memcpy(key->bytes + key->n, bytes, n);
    key->n += n;
}

void
key_byte(struct key *key, uint8_t byte)
{
    key_bytes(key, &byte, 1);
}

void
put_i64(uint8_t out[8], int64_t number)
{
    uint64_t bits = (uint64_t)number ^ (uint64_t)1 << 63;
    for (int i = 7; i >= 0; i--, bits >>= 8)
        out[i] = (uint8_t)bits;
}

int64_t
get_i64(const uint8_t *from)
{
    uint64_t bits = 0;
    for (int i = 0; i < 8; i++)
        bits = bits << 8 | from[i];
    return (int64_t)(bits ^ (uint64_t)1 << 63);
}

void
key_number(struct key *key, int64_t number)
{
    uint8_t bytes[8];
    put_i64(bytes, number);
    key_bytes(key, bytes, sizeof bytes);
}

static void
key_unsigned(struct key *key, uint64_t number, size_t width)
{
    uint8_t bytes[8];
    for (size_t i = 0; i < width; i++)
        bytes[width - 1 - i] = (uint8_t)(number >> 8 * i);
    key_bytes(key, bytes, width);
}

static uint64_t
get_unsigned(const uint8_t *from, size_t width)
{
    uint64_t number = 0;
    for (size_t i = 0; i < width; i++)
        number = number << 8 | from[i];
    return number;
}

static const int64_t instant_most = ((int64_t)1 << 48) - 1;

void
key_instant(struct key *key, int64_t ms)
{
    int64_t cut = ms < 0 ? 0 : ms > instant_most ? instant_most : ms;
    key_unsigned(key, (uint64_t)cut, INSTANT_KEY);
}

int64_t
get_instant(const uint8_t *from)
{
    int64_t ms = (int64_t)get_unsigned(from, INSTANT_KEY);
    return ms == instant_most ? INT64_MAX : ms;
}

void
key_lsn(struct key *key, uint64_t lsn)
{
    key_unsigned(key, lsn, LSN_KEY);
}

uint64_t
get_lsn(const uint8_t *from)
{
    return get_unsigned(from, LSN_KEY);
}

uint8_t *
put_signed(uint8_t *to, int64_t number)
{
    uint64_t bits = (uint64_t)number << 1 ^ (uint64_t)(number >> 63);
    for (; bits >= 0x80; bits >>= 7)
        *to++ = (uint8_t)(bits | 0x80);
    *to++ = (uint8_t)bits;
    return to;
}

bool
get_signed(const uint8_t **from, const uint8_t *end, int64_t *out_number)
{
    uint64_t bits = 0;
    for (unsigned shift = 0; *from < end && shift < 64; shift += 7) {
        uint8_t byte = *(*from)++;
        bits |= (uint64_t)(byte & 0x7F) << shift;
        if (byte < 0x80) {
            *out_number = (int64_t)(bits >> 1) ^ -(int64_t)(bits & 1);
            return true;
        }
    }
    return false;
}

void
key_month(struct key *key, int32_t month)
{
    uint32_t bits = (uint32_t)month ^ 0x80000000U;
    const uint8_t bytes[4] = {(uint8_t)(bits >> 24), (uint8_t)(bits >> 16), (uint8_t)(bits >> 8),
                              (uint8_t)bits};
    key_bytes(key, bytes, sizeof bytes);
}

void
key_text(struct key *key, const char *text)
{
    key_bytes(key, text, strlen(text));
}

void
key_text_end(struct key *key, const char *text)
{
    key_bytes(key, text, strlen(text) + 1);
}

struct key
key_row(enum subject_class class, const char *code)
{
    struct key key;
    key.n = 0;
    key.over = false;
    key_byte(&key, (uint8_t) class);
    key_text(&key, code);
    return key;
}

struct key
key_subject(enum subject_class class, const char *code)
{
    struct key key = key_row(class, code);
    key_byte(&key, 0);
    return key;
}

enum err
table_put(struct kv_txn *txn, struct kv_spot *spot, MDB_dbi table, const struct key *key,
          const void *value, size_t value_len, struct err_text *why)
{
    if (spot != NULL)
        return kv_spot_put(spot, key->bytes, key->n, value, value_len, false, why);
    return kv_put(txn, table, key->bytes, key->n, value, value_len, false, why);
}

enum err
meta_get(struct kv_txn *txn, const struct tables *t, const char *name, int64_t *out_number,
         struct err_text *why)
{
    MDB_val value;
    *out_number = 0;
    enum err e = kv_get(txn, t->meta, name, strlen(name), &value, why);
    if (e == ERR_OK && value.mv_size == 8)
        *out_number = get_i64(value.mv_data);
    return e == ERR_NOT_FOUND ? ERR_OK : e;
}

enum err
meta_put(struct kv_txn *txn, const struct tables *t, const char *name, int64_t number,
         struct err_text *why)
{
    uint8_t bytes[8];
    put_i64(bytes, number);
    return kv_put(txn, t->meta, name, strlen(name), bytes, sizeof bytes, false, why);
}

enum err
table_walk(struct kv_txn *txn, MDB_dbi table, const struct key *prefix, table_visit *visit,
           void *owner, struct err_text *why)
{
    struct kv_walk *walk = NULL;
    MDB_val key, value;
    enum err e = kv_walk_open(txn, table, prefix->bytes, prefix->n, &walk, why);
    if (e != ERR_OK)
        return e;
    while ((e = kv_next(walk, &key, &value, why)) == ERR_OK) {
        if (key.mv_size < prefix->n || memcmp(key.mv_data, prefix->bytes, prefix->n) != 0)
            break;
        e = visit(owner, key.mv_data, key.mv_size, value.mv_data, value.mv_size, why);
        if (e != ERR_OK)
            break;
    }
    kv_walk_close(walk);
    return e == ERR_NOT_FOUND ? ERR_OK : e;
}
