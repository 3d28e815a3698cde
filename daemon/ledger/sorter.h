/* sorter.h - rows for one table, gathered and written in key order: what a rebuild writes by the
 * hundred thousand lands on neighbouring pages.
 */
#ifndef DAEMON_LEDGER_SORTER_H
#define DAEMON_LEDGER_SORTER_H

#include <stddef.h>
#include <stdint.h>
#include "daemon/store/kv.h"

struct sorter; /* bounded: SORTER_BYTES of rows */

enum err sorter_new(struct sorter **out_sorter, struct err_text *why);
void sorter_free(struct sorter *sorter);

/* false: full, flush first; nothing was taken. */
bool sorter_add(struct sorter *sorter, const void *key, size_t key_len, const void *value,
                size_t value_len);
/* Time to flush: little room is left. */
bool sorter_pressing(const struct sorter *sorter);
bool sorter_empty(const struct sorter *sorter);
/* Writes the next `most` rows in order into `table`. Nothing is added until it is empty: a flush in
 * several transactions keeps each of them small, as LMDB holds what one has touched in memory. */
enum err sorter_flush(struct sorter *sorter, struct kv_txn *txn, MDB_dbi table, size_t most,
                      struct err_text *why);

#endif
