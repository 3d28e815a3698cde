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
/* Writes all rows into `table` in order and is empty then. */
enum err sorter_flush(struct sorter *sorter, struct kv_txn *txn, MDB_dbi table,
                      struct err_text *why);

#endif
