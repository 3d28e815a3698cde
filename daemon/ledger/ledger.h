/* ledger.h - the books of this machine: a pure fold over the logs of its store.
 *
 * Tables live in the store's file and can be dropped and rebuilt; they come out the same, byte for
 * byte, whatever order records arrived in. Acknowledging a record does not wait for the ledger;
 * an answer does: every query first takes in what the store has (ledger_catch_up).
 */
#ifndef DAEMON_LEDGER_LEDGER_H
#define DAEMON_LEDGER_LEDGER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include "daemon/ledger/books.h"
#include "daemon/ledger/catalogue.h"
#include "daemon/ledger/fold.h"
#include "daemon/store/store.h"
#include "proto/err.h"
#include "proto/ledger.pb-c.h"

struct ledger;

/* `store` is lent and must outlive the ledger. */
enum err ledger_open(struct store *store, struct ledger **out_ledger, struct err_text *why);
void ledger_close(struct ledger *ledger);

/* Takes in the records that the store has and the ledger has not; commits in groups. */
enum err ledger_catch_up(struct ledger *ledger, struct err_text *why);
/* Drops every table and folds all records again. *out_records of them. */
enum err ledger_rebuild(struct ledger *ledger, uint64_t *out_records, struct err_text *why);
/* BLAKE2b-256 over all derived rows: equal for equal ledgers. */
enum err ledger_digest(struct ledger *ledger, uint8_t out_digest[32], struct err_text *why);

/* Records of kinds that this release does not know, among those taken in: kept, counted nowhere. */
int64_t ledger_unknown(const struct ledger *ledger);

const struct catalogue *ledger_catalogue(const struct ledger *ledger); /* lent until catch_up */

/* Rows of one class in order of code; stop by returning false. The row is lent for the call. */
typedef bool ledger_visit(void *owner, const char *code, const ProtobufCMessage *row);
enum err ledger_rows(struct ledger *ledger, enum subject_class class, ledger_visit *visit,
                     void *owner, struct err_text *why);
/* One row, decoded into the arena; ERR_NOT_FOUND. */
enum err ledger_row(struct ledger *ledger, enum subject_class class, const char *code,
                    struct arena *arena, ProtobufCMessage **out_row, struct err_text *why);

/* The effective facts of one subject in T5 order, for reports and trace; stop with false. */
typedef bool ledger_fact_visit(void *owner, const struct fact *fact);
enum err ledger_facts(struct ledger *ledger, enum subject_class class, const char *code,
                      int64_t held_most_ms, ledger_fact_visit *visit, void *owner,
                      struct err_text *why);
/* The same over what the ledger has taken in so far: costs no fold, may miss the newest records. */
enum err ledger_facts_so_far(struct ledger *ledger, enum subject_class class, const char *code,
                             ledger_fact_visit *visit, void *owner, struct err_text *why);

/* All that a report reads: the books and the catalogue as of K(T): records held up to T
 * (INT64_MAX: all). Both are yours. */
enum err ledger_books(struct ledger *ledger, int64_t held_most_ms, struct books **out_books,
                      struct catalogue **out_catalogue, struct err_text *why);

/* The lines of one measure in months first..last as they are now, ordered by month, site, key: what
 * needs one measure need not load the whole books. Stop with false. */
enum err ledger_lines(struct ledger *ledger, enum measure measure, int32_t first, int32_t last,
                      books_visit *visit, void *owner, struct err_text *why);

/* Closes of months, R6, among what was held up to `held_most_ms` (INT64_MAX: all): *out_closing is
 * the last period-close or restate of the month; ERR_NOT_FOUND when it is open. */
struct closing {
    int64_t held_ms;
    char edition[65];
    int32_t number; /* of the restatement, 0: none */
    int32_t tables; /* version of the report's tables that it was printed with */
    char reason[512];
    uint8_t id[16]; /* of that record: its heads are in it (ledger_facts, SUBJECT_DEMAND) */
};
enum err ledger_closing(struct ledger *ledger, int32_t month, int64_t held_most_ms,
                        struct closing *out_closing, struct err_text *why);

/* The correction that decides over a record, among those held up to `held_most_ms`.
 * ERR_NOT_FOUND: none. */
struct correction {
    uint8_t by[16];
    bool is_void;
    char reason[256];
};
enum err ledger_correction(struct ledger *ledger, const uint8_t record[16], int64_t held_most_ms,
                           struct correction *out_correction, struct err_text *why);

/* What the deciding correction made of a record: as first written, and as it counts (NULL: void).
 * All lent for the call. ERR_NOT_FOUND: none decides. */
struct corrected {
    const Knockbox__Record *first, *now, *by;
};
typedef enum err ledger_corrected_visit(void *owner, const struct corrected *corrected,
                                        struct err_text *why);
enum err ledger_corrected(struct ledger *ledger, const uint8_t record[16], int64_t held_most_ms,
                          ledger_corrected_visit *visit, void *owner, struct err_text *why);

/* Records and corrections that came too late for their closed month and are listed in `month`
 * (R7), in order of id; stop with false. fact.month is the closed month they belong to; of a
 * correction the fact is the `correct` record itself. When `month` is closed: as it was then. */
enum err ledger_late(struct ledger *ledger, int32_t month, ledger_fact_visit *visit, void *owner,
                     struct err_text *why);

#endif
