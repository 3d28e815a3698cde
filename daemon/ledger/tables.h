/* tables.h - the ledger's tables in the store's file, and how their keys are spelled.
 *
 * Numbers in keys are big-endian with the sign turned, so that bytes sort as numbers do.
 *
 *   facts   class code 0 at rank lsn         -> kind, held less at, lsn of the correction
 *   fixes   id of the target, id             -> lsn                     corrections by target
 *   rows    class code                       -> packed outcome          what a subject gave
 *   lines   measure month site 0 key         -> amount
 *   deps    class code 0 class code          -> nothing                 looked at, by whom
 *   stays   class site 0 until since code    -> nothing                 open to a stocktake
 *   wastes  id                               -> grams                   outcome_waste()
 *   lags    month held id                    -> lsn                     held after the month
 *   acts    id                               -> lsn                     catalogue and acts
 *   kept    moment [line]                    -> amount                  books of a closed month
 *   meta    name                             -> number
 */
#ifndef DAEMON_LEDGER_TABLES_H
#define DAEMON_LEDGER_TABLES_H

#include "daemon/ledger/fold.h"
#include "daemon/store/kv.h"

enum {
    LEDGER_FORMAT = 5,
    TABLE_KEY_MAX = 511
};

struct tables {
    MDB_dbi meta, facts, fixes, rows, lines, deps, stays, wastes, lags, acts, kept;
};

enum err tables_open(struct kv *kv, struct tables *t, struct err_text *why);
enum err tables_clear(struct kv_txn *txn, const struct tables *tables, struct err_text *why);

/* A key under construction; `over` when it did not fit. */
struct key {
    uint8_t bytes[TABLE_KEY_MAX];
    size_t n;
    bool over;
};

void key_byte(struct key *key, uint8_t byte);
void key_number(struct key *key, int64_t number);     /* 8 bytes */
void key_month(struct key *key, int32_t month);       /* 4 bytes */
void key_text(struct key *key, const char *text);     /* without its NUL */
void key_text_end(struct key *key, const char *text); /* with it */
void key_bytes(struct key *key, const void *bytes, size_t n);

/* Six bytes of ms since 1970 (LMDB's own rows hold no later instants either), five of an lsn. */
enum {
    INSTANT_KEY = 6,
    LSN_KEY = 5
};
void key_instant(struct key *key, int64_t ms);
int64_t get_instant(const uint8_t *from); /* the last one there is: INT64_MAX */
void key_lsn(struct key *key, uint64_t lsn);
uint64_t get_lsn(const uint8_t *from);

/* Numbers of as many bytes as they need, at most 10. */
uint8_t *put_signed(uint8_t *to, int64_t number);
bool get_signed(const uint8_t **from, const uint8_t *end, int64_t *out_number);

/* Numbers in values: 8 bytes, big-endian, sign turned as well. */
void put_i64(uint8_t out[8], int64_t number);
int64_t get_i64(const uint8_t *from);

/* "class code 0": the facts of a subject lie behind it. */
struct key key_subject(enum subject_class class, const char *code);
/* "class code": its row. */
struct key key_row(enum subject_class class, const char *code);

/* From `spot`, or where there is none (NULL) like any other row. */
enum err table_put(struct kv_txn *txn, struct kv_spot *spot, MDB_dbi table, const struct key *key,
                   const void *value, size_t value_len, struct err_text *why);

enum err meta_get(struct kv_txn *txn, const struct tables *tables, const char *name,
                  int64_t *out_number, struct err_text *why); /* 0 when not there */
enum err meta_put(struct kv_txn *txn, const struct tables *tables, const char *name, int64_t number,
                  struct err_text *why);

/* Walks the keys that begin with `prefix`. `n_key`: whole key. Stops with ERR_OK at the end; a
 * visitor ends the walk early by ERR_NOT_FOUND, which is not passed on. */
typedef enum err table_visit(void *owner, const uint8_t *key, size_t key_len, const uint8_t *value,
                             size_t value_len, struct err_text *why);
enum err table_walk(struct kv_txn *txn, MDB_dbi table, const struct key *prefix, table_visit *visit,
                    void *owner, struct err_text *why);

#endif
