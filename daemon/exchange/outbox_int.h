/* outbox_int.h - rows of the outbox, for outbox*.c only.
 */
#ifndef DAEMON_EXCHANGE_OUTBOX_INT_H
#define DAEMON_EXCHANGE_OUTBOX_INT_H

#include "daemon/exchange/outbox.h"

struct outbox {
    struct kv *kv;
    MDB_dbi table;
    struct kv_txn *txn; /* a write, or NULL */
};

struct outbox_key {
    uint8_t bytes[480];
    size_t len;
};

struct outbox_key outbox_key(char class, uint64_t number);
struct outbox_key outbox_key_file(uint64_t id, size_t number);
struct outbox_key outbox_key_waiting(int64_t next_ms, uint64_t id);
uint64_t outbox_u64(const uint8_t *from); /* 8 bytes of a key or a value */

/* In the write that is open. */
enum err outbox_row_put(struct outbox *outbox, const struct outbox_key *key, const void *value,
                        size_t len, struct err_text *why);
enum err outbox_row_drop(struct outbox *outbox, const struct outbox_key *key, struct err_text *why);
enum err outbox_row_write(struct outbox *outbox, const Knockbox__OutboxJob *job,
                          struct err_text *why);

/* *out_job is yours. ERR_NOT_FOUND with words, ERR_DAMAGED. */
enum err outbox_row_read(struct outbox *outbox, struct kv_txn *txn, uint64_t id,
                         Knockbox__OutboxJob **out_job, struct err_text *why);
enum err outbox_row_unpack(const MDB_val *value, Knockbox__OutboxJob **out_job,
                           struct err_text *why);

#endif
