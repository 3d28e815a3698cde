/* effect.h - a record as it counts in a view: corrected, dated, inside the boundary or not.
 *
 * Report rules T1-T4, T8, R1, R4. A view is a moment of the store: which records are known, by
 * arrival and by `held` (R6: K(T)), and the catalogue that follows from them.
 */
#ifndef DAEMON_LEDGER_EFFECT_H
#define DAEMON_LEDGER_EFFECT_H

#include "daemon/ledger/fold.h"
#include "daemon/ledger/pool.h"
#include "daemon/ledger/span.h"
#include "daemon/ledger/tables.h"
#include "daemon/store/store.h"

struct overlay;

struct view {
    struct store_view *store;
    struct kv_txn *kv;
    const struct tables *tables;
    uint64_t lsn_most;                 /* later arrivals are not known */
    int64_t held_most;                 /* nor what was held after it */
    const char *own_site;              /* inside until the catalogue says otherwise */
    const struct catalogue *catalogue; /* NULL while it is being made */
    const struct overlay *overlay;     /* NULL: the index is right as it is */
    const struct books *wastes;        /* NULL: table `wastes` */
    const struct span *span;           /* NULL: months are those of the calendar */
    const struct hints *hints;         /* NULL: look for corrections of every record */
};

/* Which records may have corrections: spares a look for nearly all that have none. */
enum {
    HINT_BITS = 1 << 20
};

struct hints {
    uint8_t bits[HINT_BITS / 8];
};

void hints_add(struct hints *hints, const uint8_t target[ID_SIZE]);

/* A correction that reaches a record, directly or through other corrections. */
struct fix {
    const Knockbox__Record *record; /* the correction, lent by the pool */
    const uint8_t *id;
    uint64_t lsn;
    int64_t held_ms;
    const Knockbox__Record *body; /* what it makes of the record; NULL: void, or it does not fit */
    bool is_void, unfit;
};

struct effect {
    struct fact fact; /* valid also when it does not count */
    bool counts;      /* neither void nor outside */
    bool is_void, outside;
    uint64_t lsn, fix_lsn;   /* fix_lsn: the correction that decides, 0 for none */
    const struct fix *fixes; /* by (at, id), the last first */
    size_t n_fixes;
    const struct fix *decider;
    int32_t first_month; /* of the record as first written */
};

/* The record of that id, ERR_NOT_FOUND when the view does not know it. */
enum err view_find(const struct view *view, const uint8_t id[ID_SIZE], struct stored *out,
                   struct err_text *why);
enum err view_get(const struct view *view, uint64_t lsn, struct stored *out, struct err_text *why);

/* All about one record that is not a correction, of which effect_plain() gave `plain`. What it
 * points to is lent by the pool. */
enum err effect_from(const struct view *view, const struct fact *plain, uint64_t lsn,
                     struct pool *pool, struct effect *out, struct err_text *why);
/* The same from the stored bytes. */
enum err effect_of(const struct view *view, const struct stored *stored, struct pool *pool,
                   struct effect *out, struct err_text *why);

/* The fact of an index entry, whose deciding correction is known already. */
enum err effect_load(const struct view *view, uint64_t lsn, uint64_t fix_lsn, struct pool *pool,
                     struct fact *out, struct err_text *why);

/* The record as it was written, corrections left aside. ERR_NOT_FOUND: of a later version. */
enum err effect_plain(const struct view *view, const struct stored *stored, struct pool *pool,
                      struct fact *out, struct err_text *why);

/* Follows corrections of corrections to the record they mean. ERR_NOT_FOUND: not known (yet). */
enum err effect_root(const struct view *view, const uint8_t target[ID_SIZE], struct pool *pool,
                     struct stored *out_root, struct err_text *why);

/* The business day a record shows that a site was alive on; a clock ahead shows no more than
 * when the hub held it. */
int32_t day_seen(const struct view *view, const struct fact *fact);

#endif
