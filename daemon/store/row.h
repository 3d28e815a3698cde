/* row.h - the rows of a store as bytes. Numbers are big-endian, so that keys sort by value.
 * Each row by example: docs/store-format.md.
 */
#ifndef DAEMON_STORE_ROW_H
#define DAEMON_STORE_ROW_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include "daemon/record/record.h"
#include "daemon/store/store.h"

/* records: key lsn 8 -> check 4, log 4, seq 6, held 6, hash 32, [prev 32,] bytes
 * prev only in logs that are held in part: the record before may not be here. */
enum {
    ROW_HEAD = 52,
    ROW_MOST = ROW_HEAD + HASH_SIZE + RECORD_BIG_MAX
};

struct row {
    uint64_t lsn;
    uint32_t log;
    uint64_t seq;
    int64_t held_ms; /* 0 .. 2^48 - 1 */
    const uint8_t *hash;
    const uint8_t *prev; /* NULL: the record before is in the same log here */
    const uint8_t *bytes;
    size_t len;
};

/* Returns how many bytes of `out` are filled. */
size_t row_pack(const struct row *row, uint8_t out[ROW_MOST]);
/* `row` points into `value`. `partial` of the log tells whether there is a prev; so the log's
 * number comes first. false: too short, or the check does not fit: damaged. */
bool row_log(const uint8_t *value, size_t len, uint32_t *out_log);
bool row_unpack(uint64_t lsn, const uint8_t *value, size_t len, bool partial, struct row *out_row);
/* The same of a value that was checked before. false: too short. */
bool row_parts(uint64_t lsn, const uint8_t *value, size_t len, bool partial, struct row *out_row);

/* logs: key log number 4 -> epoch 4, mark 8, flags 4, seq 8, hash 32, check 4, site */
enum {
    LOG_HEAD = 60,
    LOG_MOST = LOG_HEAD + SITE_SIZE
};
size_t log_pack(const struct log_mark *mark, uint8_t out[LOG_MOST]);
bool log_unpack(const uint8_t *value, size_t len, struct log_mark *out_mark);

/* runs: key log 4, seq 8 -> lsn 8: here a run of records begins whose numbers and arrival numbers
 * both go up by one. */
enum {
    LSN_KEY = 8,
    RUN_KEY = 12,
    ID_LSN = 6
};
void put_number(uint8_t *out, uint64_t n, size_t size);
uint64_t get_number(const uint8_t *at, size_t size);
void run_key(uint32_t log, uint64_t seq, uint8_t out[RUN_KEY]);

/* notes, meta: key name -> value, check 4. The check covers name and value. */
enum {
    VALUE_CHECK = 4,
    VALUE_MOST = 65536
};
/* Appends the check to the `len` bytes in `value`, which has room for it. */
void value_seal(const void *name, size_t name_len, uint8_t *value, size_t len);
/* false: damaged. *out_len: without the check. */
bool value_open(const void *name, size_t name_len, const uint8_t *value, size_t len,
                size_t *out_len);

/* hash(n) = BLAKE2b-256(hash(n-1) || bytes(n)) */
void chain_link(const uint8_t prev[HASH_SIZE], const uint8_t *bytes, size_t len,
                uint8_t out_hash[HASH_SIZE]);

/* How far a log has been followed; all zero before its first record. */
struct chain_end {
    uint64_t seq;
    uint8_t hash[HASH_SIZE];
};
/* What does not fit when `row` is the record after `end`, in words; NULL: it fits. */
const char *chain_fault(const struct chain_end *end, const struct row *row);
/* Goes on to `row`, unless it stands before the end (a part that came later). */
void chain_follow(struct chain_end *end, const struct row *row);

/* The id (field 5) in the packed bytes of a record. false: none. */
bool record_id_in(const uint8_t *bytes, size_t len, uint8_t out_id[ID_SIZE]);

#endif
