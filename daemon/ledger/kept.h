/* kept.h - the books of closed months, kept in a table: their reports are asked for again and
 * again and never change.
 *
 * Books of a moment T are the lines that follow from what was held up to T. A record that is held
 * no later than T and arrives after all (an import) makes them worthless; they are dropped then.
 */
#ifndef DAEMON_LEDGER_KEPT_H
#define DAEMON_LEDGER_KEPT_H

#include "daemon/ledger/ledger_int.h"

/* The greatest moment that is kept; INT64_MIN: none. */
enum err kept_last(struct kv_txn *txn, const struct tables *tables, int64_t *out_held_ms,
                   struct err_text *why);

/* Yours. ERR_NOT_FOUND: not kept. */
enum err kept_read(const struct view *view, int64_t held_ms, struct books **out_books,
                   struct err_text *why);

/* Keeps table `lines` as it is in the transaction, or these books in one of their own. Of all
 * moments the last KEPT_MOMENTS stay: the page of a report shows twelve months, and each opens with
 * what the one before it closed with. */
enum {
    KEPT_MOMENTS = 13
};
enum err kept_copy(struct kv_txn *txn, const struct tables *tables, int64_t held_ms,
                   struct err_text *why);
enum err kept_write(struct ledger *ledger, int64_t held_ms, const struct books *books,
                    struct err_text *why);

/* Drops the moments from `held_ms` on. */
enum err kept_drop(struct kv_txn *txn, const struct tables *tables, int64_t held_ms,
                   struct err_text *why);

/* One row of table `lines` (or of `kept`, behind the moment) as a posting. `text` holds what the
 * posting points to. ERR_DAMAGED. */
enum err line_read(const uint8_t *key, size_t key_len, const uint8_t *value, size_t value_len,
                   char text[TABLE_KEY_MAX + 1], struct posting *out_line, struct err_text *why);
struct key line_key(const struct posting *line);

#endif
