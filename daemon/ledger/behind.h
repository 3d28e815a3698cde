/* behind.h - what is behind the books: every posting with its record, and books of any span.
 *
 * The books are sums and know no records. When somebody asks what a number is made of, the same
 * folds run again over the same view (K(T), corrections applied), into memory, and each posting is
 * told with the fact that it came from. So the answer adds up to the books by construction, also
 * of a closed month and after late records and corrections. It costs a fold of all that is asked
 * for: seconds for a million records. Only books of a span of whole months are read from the lines
 * by month (span_lines.h).
 */
#ifndef DAEMON_LEDGER_BEHIND_H
#define DAEMON_LEDGER_BEHIND_H

#include "daemon/ledger/ledger.h"
#include "daemon/ledger/outcome.h"
#include "daemon/ledger/span.h"

struct behind {
    int64_t held_most_ms; /* T; INT64_MAX: all that is held */
    /* Months of postings are those of the span; NULL: of the calendar. With a span only
     * held_most_ms INT64_MAX is asked for. */
    const struct span *span;
    int classes;          /* bits 1 << class: what is folded; BEHIND_ALL */
    outcome_listen *told; /* NULL: nobody listens */
    void *owner;
};

enum {
    BEHIND_ALL = -1
};

/* *out_books (NULL: not wanted) is yours, and *out_catalogue (NULL too), as of then. Facts of
 * `told` are lent for the call. */
enum err ledger_behind(struct ledger *ledger, const struct behind *behind, struct books **out_books,
                       struct catalogue **out_catalogue, struct err_text *why);

/* The classes whose folds post a measure, and those they need, as bits. */
int ledger_classes_of(enum measure measure);

/* Where a record stands: its log and number. ERR_NOT_FOUND. */
struct standing {
    char site[65];
    uint32_t epoch;
    uint64_t seq;
};
enum err ledger_standing(struct ledger *ledger, const uint8_t record[16],
                         struct standing *out_standing, struct err_text *why);

#endif
