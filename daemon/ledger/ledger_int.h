/* ledger_int.h - what the files of the engine share; nobody else includes it.
 */
#ifndef DAEMON_LEDGER_LEDGER_INT_H
#define DAEMON_LEDGER_LEDGER_INT_H

#include "daemon/ledger/folding.h"
#include "daemon/ledger/ledger.h"
#include "daemon/ledger/set.h"
#include "daemon/ledger/sorter.h"

struct ledger {
    struct store *store;
    struct tables tables;
    struct catalogue *catalogue;
    char hub_site[SITE_SIZE];
    struct counts counts;
    struct folding folding;
    struct hints hints;  /* of table `fixes` */
    struct pool pool;    /* of the record that arrives */
    struct books *delta; /* postings not yet in table `lines` */
    struct set dirty;
    int dirty_classes; /* bits 1 << class: all their subjects */
    bool catalogue_stale, counts_stale;
    bool index_stale;      /* a site changed: days and boundary may be others */
    bool site_new;         /* a site came that moves nothing which is there already */
    bool rebuilding;       /* tables begin empty, all is folded in the end: nothing is marked */
    struct sorter *sorter; /* not NULL while a rebuild fills the index */
    struct kv_spot *rows, *lags; /* during a rebuild: where the last row of the table was put */
    bool ids_unique;             /* during a rebuild: no record needs a look for its double */
    bool rows_seen;     /* during a rebuild: each row of the log was read and checked once */
    uint64_t applied;   /* lsn */
    bool rebuild_first; /* no tables yet, of another format, or of another store */
    int64_t held_last;  /* greatest `held` of all taken in */
    int64_t unknown;    /* records of a later release's kinds, of all taken in */
    int64_t held_least; /* of what the open group has taken in */
    int64_t closing_ms; /* `held` of a period-close or restate among it, else INT64_MIN */
    unsigned looking;   /* queries inside queries share one view */
    struct store_view *look;
};

/* ---- arrive.c: records into the index */

/* Takes in one record; the view knows records up to it. Marks what it touches. */
enum err arrive(struct ledger *ledger, const struct view *view, const struct stored *stored,
                struct err_text *why);
/* First pass of a rebuild: only corrections, catalogue and acts, so that all is known later. */
enum err arrive_early(struct ledger *ledger, const struct view *view, const struct stored *stored,
                      struct err_text *why);
/* Second pass: everything is known; facts go into the index once, as they count in the end. */
enum err arrive_final(struct ledger *ledger, const struct view *view, const struct stored *stored,
                      struct err_text *why);

/* ---- refold.c: from the index to rows and lines */

/* Folds all that is marked again. */
enum err refold_marked(struct ledger *ledger, struct view *view, struct err_text *why);
enum err refold(struct ledger *ledger, const struct view *view, enum subject_class class,
                const char *code, struct err_text *why);
/* Of what is marked, the classes that are folded last, or the others. */
enum err refold_set(struct ledger *ledger, const struct view *view, bool last,
                    struct err_text *why);
/* Adds the postings that wait to table `lines`. */
enum err flush_lines(struct ledger *ledger, struct kv_txn *txn, struct err_text *why);
/* Makes the catalogue in memory fit the view again, and the stocktakes, which folds need. */
enum err refresh_catalogue(struct ledger *ledger, struct view *view, struct err_text *why);
enum err refresh_counts(struct ledger *ledger, const struct view *view, struct err_text *why);
/* The catalogue as a view knows it. */
enum err make_catalogue(const struct view *view, struct catalogue **out_catalogue,
                        struct err_text *why);
void find_hub_site(const struct catalogue *catalogue, const char *own_site, char out[SITE_SIZE]);

/* ---- rebuild.c */

/* Drops all tables and folds every record. Killed in between, it begins again at the next open. */
enum err rebuild(struct ledger *ledger, uint64_t *out_records, struct err_text *why);

/* ---- ledger.c */

/* Forgets what an aborted transaction left in memory. */
void ledger_forget(struct ledger *ledger);
/* Writes how far the tables go. */
enum err ledger_settle(struct ledger *ledger, struct kv_txn *txn, uint64_t applied,
                       struct err_text *why);
struct view view_of(const struct ledger *ledger, struct store_view *store, struct kv_txn *kv);
/* A snapshot for a query, after catching up; nested calls share it. */
enum err ledger_look(struct ledger *ledger, struct view *out_view, struct err_text *why);
/* The same without catching up: what the books have taken in so far. */
enum err ledger_look_back(struct ledger *ledger, struct view *out_view, struct err_text *why);
void ledger_look_end(struct ledger *ledger);

/* ---- query.c */

/* Closes and restatements that the view knows, in order of `held`. */
enum err load_closings(const struct view *view, struct pool *pool, struct fact_list *list,
                       struct err_text *why);
/* The last one of a month; false: it is open. */
bool closing_of(const struct fact_list *closings, int32_t month, struct closing *out);

/* ---- as_of.c */

/* A view of K(T), with its own catalogue and overlay; end it with as_of_done(). */
struct as_of {
    struct view view;
    struct catalogue *catalogue;
    struct overlay overlay;
};

enum err as_of_init(struct ledger *ledger, const struct view *now, int64_t held_most,
                    struct as_of *out, struct err_text *why);
void as_of_done(struct as_of *as_of);

#endif
