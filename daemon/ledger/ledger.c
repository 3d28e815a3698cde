/* ledger.c - opens the books and keeps them level with the store. */
#include "daemon/ledger/ledger.h"

#include <stdlib.h>
#include <string.h>
#include "daemon/ledger/kept.h"

/* Records a commit; and how far the books may lag before folding all anew is the shorter way. */
enum {
    GROUP = 1000,
    FAR_BEHIND = 20000
};

void
ledger_forget(struct ledger *ledger)
{
    set_clear(&ledger->dirty);
    books_clear(ledger->delta);
    ledger->dirty_classes = 0;
    ledger->catalogue_stale = ledger->counts_stale = true;
    ledger->index_stale = false;
    ledger->held_least = INT64_MAX;
    ledger->closing_ms = INT64_MIN;
}

struct view
view_of(const struct ledger *ledger, struct store_view *store, struct kv_txn *kv)
{
    return (struct view){.store = store,
                         .kv = kv,
                         .tables = &ledger->tables,
                         .lsn_most = ledger->applied,
                         .held_most = INT64_MAX,
                         .own_site = store_site(ledger->store),
                         .catalogue = ledger->catalogue,
                         .hints = &ledger->hints};
}

static enum err
read_hint(void *owner, const uint8_t *key, size_t key_len, const uint8_t *value, size_t value_len,
          struct err_text *why)
{
    (void)value;
    (void)value_len;
    (void)why;
    if (key_len == (size_t)2 * ID_SIZE)
        hints_add(owner, key);
    return ERR_OK;
}

/* A version that knows more kinds than the one before has records to take in that waited. */
static int64_t
format_now(void)
{
    unsigned n = 0;
    (void)kinds(&n);
    return (int64_t)LEDGER_FORMAT * 1000 + n;
}

static enum err
read_meta(struct ledger *ledger, struct err_text *why)
{
    struct store_view *view = NULL;
    int64_t format = 0, applied = 0;
    enum err e = store_look(ledger->store, &view, why);
    if (e != ERR_OK)
        return e;
    struct kv_txn *txn = store_view_txn(view);
    e = meta_get(txn, &ledger->tables, "format", &format, why);
    if (e == ERR_OK)
        e = meta_get(txn, &ledger->tables, "applied", &applied, why);
    if (e == ERR_OK)
        e = meta_get(txn, &ledger->tables, "held", &ledger->held_last, why);
    if (e == ERR_OK)
        e = meta_get(txn, &ledger->tables, "unknown", &ledger->unknown, why);
    ledger->rebuild_first =
        format != format_now() || applied < 0 || (uint64_t)applied > store_last(view);
    if (!ledger->rebuild_first)
        ledger->applied = (uint64_t)applied;
    struct key all = {.n = 0, .over = false};
    if (e == ERR_OK)
        e = table_walk(txn, ledger->tables.fixes, &all, read_hint, &ledger->hints, why);
    store_done(&view);
    return e;
}

enum err
ledger_open(struct store *store, struct ledger **out_ledger, struct err_text *why)
{
    struct ledger *ledger = calloc(1, sizeof *ledger);
    if (ledger == NULL)
        return err_set(ERR_MEM, why, "ledger: out of memory");
    ledger->store = store;
    ledger->pool.lean = true;
    ledger->catalogue_stale = ledger->counts_stale = true;
    ledger->held_least = INT64_MAX;
    ledger->closing_ms = INT64_MIN;
    enum err e = tables_open(store_kv(store), &ledger->tables, why);
    if (e == ERR_OK)
        e = books_new(&ledger->delta, why);
    if (e == ERR_OK)
        e = catalogue_new(&ledger->catalogue, why);
    if (e == ERR_OK)
        e = folding_init(&ledger->folding, why);
    if (e == ERR_OK)
        e = read_meta(ledger, why);
    if (e != ERR_OK) {
        ledger_close(ledger);
        return e;
    }
    find_hub_site(ledger->catalogue, store_site(store), ledger->hub_site);
    *out_ledger = ledger;
    return ERR_OK;
}

void
ledger_close(struct ledger *ledger)
{
    if (ledger == NULL)
        return;
    catalogue_free(ledger->catalogue);
    counts_done(&ledger->counts);
    folding_done(&ledger->folding);
    pool_done(&ledger->pool);
    books_free(ledger->delta);
    set_done(&ledger->dirty);
    sorter_free(ledger->sorter);
    free(ledger);
}

enum err
ledger_settle(struct ledger *ledger, struct kv_txn *txn, uint64_t applied, struct err_text *why)
{
    const struct tables *t = &ledger->tables;
    enum err e = meta_put(txn, t, "format", format_now(), why);
    if (e == ERR_OK)
        e = meta_put(txn, t, "applied", (int64_t)applied, why);
    if (e == ERR_OK)
        e = meta_put(txn, t, "held", ledger->held_last, why);
    return e == ERR_OK ? meta_put(txn, t, "unknown", ledger->unknown, why) : e;
}

/* Takes in at most GROUP records; *out_applied how far that goes. */
static enum err
take_in(struct ledger *ledger, struct view *view, uint64_t *out_applied, struct err_text *why)
{
    struct store_walk *walk = NULL;
    struct stored stored;
    uint64_t applied = ledger->applied;
    enum err e = store_walk_open(view->store, applied + 1, &walk, why);
    for (int i = 0; i < GROUP && e == ERR_OK && !ledger->index_stale; i++) {
        e = store_next(walk, &stored, why);
        if (e != ERR_OK)
            break;
        applied = view->lsn_most = stored.lsn;
        e = arrive(ledger, view, &stored, why);
        if (e == ERR_OK && ledger->site_new) /* the next record may be of that site */
            e = refresh_catalogue(ledger, view, why);
        ledger->site_new = false;
    }
    store_walk_close(walk);
    *out_applied = applied;
    return e == ERR_NOT_FOUND ? ERR_OK : e;
}

/* Kept books that miss a record of this group go. A month that is closed now, with nothing held
 * after it, is what the tables say: that is kept at once. */
static enum err
keep_closings(struct ledger *ledger, struct kv_txn *txn, struct err_text *why)
{
    int64_t last = INT64_MIN, closing_ms = ledger->closing_ms;
    enum err e = kept_last(txn, &ledger->tables, &last, why);
    if (e == ERR_OK && last >= ledger->held_least)
        e = kept_drop(txn, &ledger->tables, ledger->held_least, why);
    if (e == ERR_OK && closing_ms != INT64_MIN && closing_ms == ledger->held_last)
        e = kept_copy(txn, &ledger->tables, closing_ms, why);
    ledger->held_least = INT64_MAX;
    ledger->closing_ms = INT64_MIN;
    return e;
}

/* One group: index, folds and the mark of how far it goes are one commit. *out_stale: a site
 * changed, nothing was written. */
static enum err
take_group(struct ledger *ledger, bool *out_stale, struct err_text *why)
{
    struct store_txn *txn = NULL;
    uint64_t applied = 0;
    int64_t unknown = ledger->unknown;
    enum err e = store_begin(ledger->store, &txn, why);
    if (e != ERR_OK)
        return e;
    struct view view = view_of(ledger, store_txn_view(txn), store_txn_kv(txn));
    e = refresh_catalogue(ledger, &view, why);
    if (e == ERR_OK)
        e = take_in(ledger, &view, &applied, why);
    *out_stale = e == ERR_OK && ledger->index_stale;
    if (e == ERR_OK && !*out_stale)
        e = refold_marked(ledger, &view, why);
    if (e == ERR_OK && !*out_stale)
        e = keep_closings(ledger, view.kv, why);
    if (e == ERR_OK && !*out_stale)
        e = ledger_settle(ledger, view.kv, applied, why);
    if (e == ERR_OK && !*out_stale)
        e = store_commit(&txn, why);
    else
        store_abort(&txn);
    if (e != ERR_OK || *out_stale) {
        ledger_forget(ledger);
        ledger->unknown = unknown; /* they come again */
    } else {
        ledger->applied = applied;
    }
    return e;
}

static enum err
newest(struct ledger *ledger, uint64_t *out_lsn, struct err_text *why)
{
    struct store_view *view = NULL;
    enum err e = store_look(ledger->store, &view, why);
    if (e != ERR_OK)
        return e;
    *out_lsn = store_last(view);
    store_done(&view);
    return ERR_OK;
}

/* After a start nothing may have arrived, and still the catalogue has to be read. */
static enum err
freshen_catalogue(struct ledger *ledger, struct err_text *why)
{
    struct store_view *look = NULL;
    if (!ledger->catalogue_stale)
        return ERR_OK;
    enum err e = store_look(ledger->store, &look, why);
    if (e != ERR_OK)
        return e;
    struct view view = view_of(ledger, look, store_view_txn(look));
    e = refresh_catalogue(ledger, &view, why);
    store_done(&look);
    return e;
}

/* Deep in the folds memory may end without a word; a caller gets one. */
static enum err
in_words(enum err e, struct err_text *why)
{
    if (e == ERR_MEM && why != NULL && why->s[0] == '\0')
        (void)err_set(ERR_MEM, why, "ledger: out of memory");
    return e;
}

enum err
ledger_catch_up(struct ledger *ledger, struct err_text *why)
{
    uint64_t last = 0;
    if (ledger->looking > 0) /* inside a query: that one has caught up */
        return ERR_OK;
    enum err e = newest(ledger, &last, why);
    while (e == ERR_OK && (ledger->applied < last || ledger->rebuild_first)) {
        bool stale = ledger->rebuild_first || (last - ledger->applied > FAR_BEHIND &&
                                               last - ledger->applied > ledger->applied);
        if (!stale)
            e = take_group(ledger, &stale, why);
        if (e == ERR_OK && stale)
            e = rebuild(ledger, NULL, why);
    }
    return e == ERR_OK ? freshen_catalogue(ledger, why) : in_words(e, why);
}

enum err
ledger_rebuild(struct ledger *ledger, uint64_t *out_records, struct err_text *why)
{
    return in_words(rebuild(ledger, out_records, why), why);
}

int64_t
ledger_unknown(const struct ledger *ledger)
{
    return ledger->unknown;
}

const struct catalogue *
ledger_catalogue(const struct ledger *ledger)
{
    return ledger->catalogue;
}

/* `current`: with all that the store has; else as far as the books have taken it in. */
static enum err
look(struct ledger *ledger, bool current, struct view *out_view, struct err_text *why)
{
    if (ledger->looking == 0) {
        enum err e = current ? ledger_catch_up(ledger, why) : ERR_OK;
        if (e == ERR_OK)
            e = store_look(ledger->store, &ledger->look, why);
        if (e != ERR_OK)
            return e;
    }
    ledger->looking++;
    *out_view = view_of(ledger, ledger->look, store_view_txn(ledger->look));
    enum err e = refresh_catalogue(ledger, out_view, why); /* after a start */
    if (e != ERR_OK)
        ledger_look_end(ledger);
    return e;
}

enum err
ledger_look(struct ledger *ledger, struct view *out_view, struct err_text *why)
{
    return look(ledger, true, out_view, why);
}

enum err
ledger_look_back(struct ledger *ledger, struct view *out_view, struct err_text *why)
{
    return look(ledger, false, out_view, why);
}

void
ledger_look_end(struct ledger *ledger)
{
    ledger->looking--;
    if (ledger->looking == 0)
        store_done(&ledger->look);
}
