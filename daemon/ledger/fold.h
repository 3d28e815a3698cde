/* fold.h - what a fold is given and what it gives back.
 *
 * The ledger is a set of small folds, each over the records of one subject in the order of report
 * rule T5: a tub, a batch, a bottle lot, a supply lot, the waste of one site, a day of a site.
 * A fold is pure: facts and the catalogue in; postings, discrepancies and one row out. The ledger
 * stores what came out, takes back what the same subject gave before, and so stays equal to a
 * rebuild whatever order records arrived in.
 */
#ifndef DAEMON_LEDGER_FOLD_H
#define DAEMON_LEDGER_FOLD_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include "daemon/ledger/books.h"
#include "daemon/ledger/catalogue.h"
#include "daemon/record/kind.h"
#include "proto/err.h"

enum subject_class {
    SUBJECT_TUB = 1,    /* code: label */
    SUBJECT_BATCH = 2,  /* code: batch */
    SUBJECT_LOT = 3,    /* code: bottle lot */
    SUBJECT_SUPPLY = 4, /* code: ingredient lot */
    SUBJECT_WASTE = 5,  /* code: site */
    SUBJECT_DAY = 6,    /* code: site|YYYY-MM-DD */
    SUBJECT_COUNT = 7,  /* code: site; its stocktakes */
    SUBJECT_PLACE = 8,  /* code: place; readings */
    SUBJECT_DEMAND = 9, /* code: hub-wide "orders" */
};

/* One record as it counts: corrections applied (R1), voids left out. */
struct fact {
    const Knockbox__Record *record; /* body and at_ms are the effective ones; lent */
    const struct kind *kind;
    const uint8_t *id;     /* 16 bytes, of the record itself, never of its correction; lent */
    const char *site;      /* owner of the log */
    int64_t at_ms;
    int offset_min;
    int32_t day, month;    /* business day and report month (T1-T4); of `close`: its `day` */
    int64_t held_ms;
    bool clock_ahead;      /* T8 */
};

struct outcome; /* collects what a fold gives; see outcome_* */

enum err outcome_post(struct outcome *outcome, enum measure measure, int32_t month,
                      const char *site, const char *key, int64_t amount);
/* A discrepancy raised by `fact` about `subject` (a code): stands in the fact's month. */
enum err outcome_flag(struct outcome *outcome, const struct fact *fact, const char *code,
                      const char *subject);
/* The row of this subject (a message of ledger.proto, packed by the call); at most one. */
enum err outcome_row(struct outcome *outcome, const ProtobufCMessage *row);
/* A mass that becomes waste somewhere else because of this fact: the waste fold of `site` sees it
 * in T5 order at the fact's place (a discard of a tub that says `count`). */
enum err outcome_waste(struct outcome *outcome, const struct fact *fact, const char *site,
                       const char *stream, int64_t mass_g);

struct fold_input {
    const struct catalogue *catalogue;
    const char *hub_site;
    const char *code;            /* of the subject */
    const struct fact *facts;    /* n of them, T5 order */
    size_t n;
    const struct fact *counts;   /* stocktakes with what this class needs, T5 order (tubs, lots) */
    size_t n_counts;
    /* Look at another subject's row or facts (a lot's batch, a supply's item). NULL: not known.
     * The ledger notes the dependency: when that subject changes, this one is folded again. */
    const struct fact *(*first_fact)(void *owner, enum subject_class, const char *code,
                                     uint32_t kind_number);
    void *owner;
};

typedef enum err fold_fn(const struct fold_input *input, struct outcome *outcome,
                         struct err_text *why);

fold_fn fold_tub, fold_supply, fold_day, fold_place, fold_count;
fold_fn fold_batch, fold_lot, fold_waste;

#endif
