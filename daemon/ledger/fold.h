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
#include "daemon/ledger/span.h"
#include "daemon/record/kind.h"
#include "proto/err.h"

enum subject_class {
    SUBJECT_TUB = 1,     /* code: label */
    SUBJECT_BATCH = 2,   /* code: batch */
    SUBJECT_LOT = 3,     /* code: bottle lot */
    SUBJECT_SUPPLY = 4,  /* code: ingredient lot */
    SUBJECT_WASTE = 5,   /* code: site */
    SUBJECT_DAY = 6,     /* code: YYYY-MM-DD|site */
    SUBJECT_COUNT = 7,   /* code: site; its stocktakes */
    SUBJECT_PLACE = 8,   /* code: YYYY-MM-DD|place; its readings */
    SUBJECT_DEMAND = 9,  /* code: hub-wide "orders", "plans", "pickups", "closings" */
    SUBJECT_RECORD = 10, /* code: id as text; what the ledger itself says about one record */
    SUBJECT_SALE = 11,   /* code: YYYY-MM-DD|site|product; sales without a lot, P3 */
};

/* Which records are facts of a subject of the later classes (a record may be of several):
 *   batch   mix, strain, measure, bottle, residue, discard that name it
 *   lot     bottle, release, dispatch, accept, sale, discard, measure that name it, mix that takes
 *           it in, stocktake that lists it (a lot named here may turn out to be a supply)
 *   waste   close, strain, residue, collection, discard in the log of that site
 *   sale    sale by product
 * Records outside the boundary (R4) are no facts at all; the ledger flags them itself. */

/* One record as it counts: corrections applied (R1), voids left out. */
struct fact {
    const Knockbox__Record *record; /* body and at_ms are the effective ones; lent */
    const struct kind *kind;
    const uint8_t *id; /* 16 bytes, of the record itself, never of its correction; lent */
    const char *site;  /* owner of the log */
    int64_t at_ms;
    int offset_min;
    int32_t day, month; /* business day and report month (T1-T4); of `close`: its `day` */
    int64_t held_ms;
    bool clock_ahead; /* T8 */
    int64_t waste_g;  /* waste folds only: what outcome_waste() gave for this fact, else 0 */
};

struct outcome; /* collects what a fold gives; daemon/ledger/outcome.h makes and reads one */

enum err outcome_post(struct outcome *outcome, enum measure measure, int32_t month,
                      const char *site, const char *key, int64_t amount);
/* Whose doing the postings are that follow: the record behind a number, for those who ask
 * (outcome_tell). NULL: nobody's alone. Lent. */
void outcome_by(struct outcome *outcome, const struct fact *fact);
/* What the amounts are part of until the next outcome_by(), where a balance is of parts that come
 * and go: residue of that batch, or else what that record brought. Neither: the fold's subject. */
void outcome_about(struct outcome *outcome, const char *batch, const struct fact *from);
/* A discrepancy raised by `fact` about `subject` (a code): stands in the fact's month. */
enum err outcome_flag(struct outcome *outcome, const struct fact *fact, const char *code,
                      const char *subject);
/* The row of this subject (a message of ledger.proto, packed by the call); at most one. */
enum err outcome_row(struct outcome *outcome, const ProtobufCMessage *row);
/* The mass of a fact whose record does not say it (a discard of a tub by `count`): the waste fold
 * of the fact's site sees it as fact.waste_g. Not for a fact that states its mass_g. */
enum err outcome_waste(struct outcome *outcome, const struct fact *fact, int64_t mass_g);
/* Between these instants (inclusive; INT64_MAX: still) a stocktake of `site` that does not list
 * this subject could change it; later ones fold it again. */
enum err outcome_stay(struct outcome *outcome, const char *site, int64_t from_ms, int64_t to_ms);

/* Facts outside the boundary of their site (R4) reach no fold: the ledger flags them itself, as it
 * does `clock-ahead`, `unknown-record` and corrections. */
struct fold_input {
    const struct catalogue *catalogue;
    const char *hub_site;
    const struct span *span;  /* NULL: months are those of the calendar */
    const char *code;         /* of the subject */
    const struct fact *facts; /* n of them, T5 order */
    size_t n;
    /* Stocktakes of all sites that counted what this class needs (tubs for a tub, bottles for a
     * lot), T5 order, whether they list this subject or not. Their lists are left empty here: the
     * ones that list this subject are in `facts` too, whole, with the same id. */
    const struct fact *counts;
    size_t n_counts;
    /* Facts of another subject (a lot's batch, a supply's item): the first of a kind, NULL when
     * there is none; or all of them. Lent until the fold returns. The ledger notes the
     * dependency: when that subject changes, this one is folded again. */
    const struct fact *(*first_fact)(void *owner, enum subject_class class, const char *code,
                                     uint32_t kind_number);
    enum err (*facts_of)(void *owner, enum subject_class class, const char *code,
                         const struct fact **out_facts, size_t *out_n);
    /* Those of one kind: what a busy fold asks of thousands should not bring all the rest along. */
    enum err (*facts_of_kind)(void *owner, enum subject_class class, const char *code,
                              uint32_t kind_number, const struct fact **out_facts, size_t *out_n);
    void *owner;
};

/* T5 between two facts: below 0, 0 (the same record), above 0. */
int fact_order(const struct fact *a, const struct fact *b);

typedef enum err fold_fn(const struct fold_input *input, struct outcome *outcome,
                         struct err_text *why);

fold_fn fold_tub, fold_supply, fold_day, fold_place, fold_count;
fold_fn fold_batch, fold_lot, fold_sale, fold_waste;

#endif
