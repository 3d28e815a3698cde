/* rebuild.c - every table from nothing, in passes over the log and then over the index.
 *
 * First corrections, catalogue and acts, so that from then on each record is known as it counts in
 * the end; then all facts into the index, sorted; then each subject is folded once. Memory is
 * bounded: the log is walked, the index is read subject by subject, commits are small.
 */
#include "daemon/ledger/ledger_int.h"

enum {
    PASS_GROUP = 20000,
    FOLD_GROUP = 20000,
    FLUSH_GROUP = 16384
};

typedef enum err pass_fn(struct ledger *ledger, const struct view *view,
                         const struct stored *stored, struct err_text *why);

/* What one transaction of a rebuild works on. */
struct work {
    struct store_txn *txn;
    struct view view;
};

static void
close_spots(struct ledger *ledger)
{
    kv_spot_close(ledger->rows);
    kv_spot_close(ledger->lags);
    ledger->rows = ledger->lags = NULL;
}

static enum err
open_spots(struct ledger *ledger, const struct work *work, struct err_text *why)
{
    const struct tables *t = &ledger->tables;
    enum err e = kv_spot_open(work->view.kv, t->rows, &ledger->rows, why);
    if (e == ERR_OK)
        e = kv_spot_open(work->view.kv, t->lags, &ledger->lags, why);
    return e == ERR_OK ? store_reread(work->view.store, why) : e;
}

static enum err
begin(struct ledger *ledger, struct work *work, uint64_t last, struct err_text *why)
{
    work->txn = NULL;
    enum err e = store_begin(ledger->store, &work->txn, why);
    if (e != ERR_OK)
        return e;
    work->view = view_of(ledger, store_txn_view(work->txn), store_txn_kv(work->txn));
    work->view.lsn_most = last;
    if (ledger->rows_seen)
        e = open_spots(ledger, work, why);
    if (e != ERR_OK) {
        close_spots(ledger);
        store_abort(&work->txn);
    }
    return e;
}

static enum err
end(struct ledger *ledger, struct work *work, enum err e, struct err_text *why)
{
    close_spots(ledger);
    if (e == ERR_OK)
        e = flush_lines(ledger, work->view.kv, why);
    if (e == ERR_OK)
        return store_commit(&work->txn, why);
    store_abort(&work->txn);
    return e;
}

static enum err
drop_all(struct ledger *ledger, uint64_t *out_last, struct err_text *why)
{
    struct work work;
    enum err e = begin(ledger, &work, 0, why);
    if (e != ERR_OK)
        return e;
    *out_last = store_last(work.view.store);
    e = store_ids_unique(work.view.store, &ledger->ids_unique, why);
    if (e == ERR_OK)
        e = tables_clear(work.view.kv, &ledger->tables, why);
    return end(ledger, &work, e, why);
}

/* Records *at.. of one commit; *at is 0 when all are through. */
static enum err
pass_group(struct ledger *ledger, struct work *work, pass_fn *pass, uint64_t *at, uint64_t *records,
           struct err_text *why)
{
    struct store_walk *walk = NULL;
    struct stored stored = {.lsn = 0};
    enum err e = store_walk_open(work->view.store, *at, &walk, why);
    for (int i = 0; i < PASS_GROUP && e == ERR_OK && !sorter_pressing(ledger->sorter); i++) {
        e = store_next(walk, &stored, why);
        if (e == ERR_OK && stored.lsn > work->view.lsn_most)
            e = ERR_NOT_FOUND;
        if (e != ERR_OK)
            break;
        *at = stored.lsn + 1;
        ++*records;
        e = pass(ledger, &work->view, &stored, why);
    }
    store_walk_close(walk);
    if (e == ERR_NOT_FOUND)
        *at = 0;
    return e == ERR_NOT_FOUND ? ERR_OK : e;
}

static enum err
flush_index(struct ledger *ledger, uint64_t last, struct err_text *why)
{
    enum err e = ERR_OK;
    while (e == ERR_OK && !sorter_empty(ledger->sorter)) {
        struct work work;
        e = begin(ledger, &work, last, why);
        if (e != ERR_OK)
            return e;
        e = sorter_flush(ledger->sorter, work.view.kv, ledger->tables.facts, FLUSH_GROUP, why);
        e = end(ledger, &work, e, why);
    }
    return e;
}

static enum err
walk_log(struct ledger *ledger, uint64_t last, pass_fn *pass, uint64_t *out_records,
         struct err_text *why)
{
    enum err e = ERR_OK;
    *out_records = 0;
    for (uint64_t at = 1; at != 0 && e == ERR_OK;) {
        struct work work;
        e = begin(ledger, &work, last, why);
        if (e != ERR_OK)
            return e;
        e = refresh_catalogue(ledger, &work.view, why);
        if (e == ERR_OK)
            e = pass_group(ledger, &work, pass, &at, out_records, why);
        if (e == ERR_OK)
            e = refold_set(ledger, &work.view, false, why); /* what is told of single records */
        set_clear(&ledger->dirty);
        e = end(ledger, &work, e, why);
        if (e == ERR_OK && (at == 0 || sorter_pressing(ledger->sorter)))
            e = flush_index(ledger, last, why);
    }
    return e;
}

/* Folds subjects of a class behind `code` until enough facts were read; ERR_NOT_FOUND: no more. */
static enum err
fold_group(struct ledger *ledger, const struct view *view, enum subject_class class,
           char code[SUBJECT_CODE_MAX], struct err_text *why)
{
    struct stream *stream = NULL;
    struct folding *folding = &ledger->folding;
    enum err e = stream_open(view, class, code, &stream, why);
    for (size_t facts = 0; facts < FOLD_GROUP && e == ERR_OK;) {
        e = stream_next(stream, code, &folding->places, why);
        if (e == ERR_OK)
            e = refold(ledger, view, class, code, why);
        facts += folding->facts.n + 1;
    }
    folding->places = NULL;
    stream_close(stream);
    return e;
}

static enum err
fold_class(struct ledger *ledger, uint64_t last, enum subject_class class, struct err_text *why)
{
    char code[SUBJECT_CODE_MAX] = "";
    enum err e = ERR_OK;
    while (e == ERR_OK) {
        struct work work;
        e = begin(ledger, &work, last, why);
        if (e != ERR_OK)
            return e;
        e = refresh_catalogue(ledger, &work.view, why);
        if (e == ERR_OK)
            e = refresh_counts(ledger, &work.view, why);
        if (e == ERR_OK)
            e = fold_group(ledger, &work.view, class, code, why);
        set_clear(&ledger->dirty); /* waste is folded last anyway */
        bool done = e == ERR_NOT_FOUND;
        e = end(ledger, &work, done ? ERR_OK : e, why);
        if (done)
            return e;
    }
    return e;
}

static enum err
fold_all(struct ledger *ledger, uint64_t last, struct err_text *why)
{
    enum err e = ERR_OK;
    for (int pass = 0; pass < 2; pass++) {
        for (int class = 1; class < SUBJECT_CLASSES && e == ERR_OK; class ++) {
            const struct class_row *row = class_row((enum subject_class) class);
            if (row->fold != NULL && row->last == (pass == 1))
                e = fold_class(ledger, last, (enum subject_class) class, why);
        }
    }
    return e;
}

static enum err
finish(struct ledger *ledger, uint64_t last, struct err_text *why)
{
    struct work work;
    enum err e = begin(ledger, &work, last, why);
    if (e != ERR_OK)
        return e;
    e = end(ledger, &work, ledger_settle(ledger, work.view.kv, last, why), why);
    if (e == ERR_OK)
        ledger->applied = last;
    return e;
}

static void
drop_sorter(struct ledger *ledger)
{
    sorter_free(ledger->sorter);
    ledger->sorter = NULL;
}

static enum err
run(struct ledger *ledger, uint64_t *out_records, struct err_text *why)
{
    uint64_t last = 0, records = 0;
    enum err e = drop_all(ledger, &last, why);
    if (e == ERR_OK)
        e = walk_log(ledger, last, arrive_early, &records, why);
    ledger->rows_seen = true;
    ledger_forget(ledger);
    if (e == ERR_OK)
        e = walk_log(ledger, last, arrive_final, &records, why);
    ledger_forget(ledger);
    drop_sorter(ledger); /* the folds need the room */
    if (e == ERR_OK)
        e = fold_all(ledger, last, why);
    if (e == ERR_OK)
        e = finish(ledger, last, why);
    if (e == ERR_OK && out_records != NULL)
        *out_records = records;
    return e;
}

enum err
rebuild(struct ledger *ledger, uint64_t *out_records, struct err_text *why)
{
    if (ledger->looking > 0)
        return err_set(ERR_BUSY, why, "ledger: a query is being answered");
    ledger_forget(ledger);
    ledger->applied = 0;
    ledger->held_last = ledger->unknown = 0;
    ledger->rebuild_first = true; /* until it is through */
    ledger->rebuilding = true;
    enum err e = sorter_new(&ledger->sorter, why);
    if (e == ERR_OK)
        e = run(ledger, out_records, why);
    drop_sorter(ledger);
    ledger->rebuilding = ledger->rows_seen = false;
    ledger_forget(ledger);
    if (e == ERR_OK)
        ledger->rebuild_first = false;
    return e;
}
