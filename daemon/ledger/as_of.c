/* as_of.c - the books as they were known at a moment: K(T), report rule R6.
 *
 * The index holds facts as they count today. For an earlier moment most of it is right: what was
 * held later is passed over. An overlay carries the rest: records that a later correction, or a
 * later version of their site, made count otherwise.
 */
#include <stdlib.h>
#include <string.h>
#include "daemon/ledger/behind.h"
#include "daemon/ledger/kept.h"
#include "daemon/ledger/span_lines.h"
#include "proto/when.h"

/* ---- the overlay */

struct overlaying {
    struct as_of *out;
    const struct view *now;
    struct pool pool;
    uint64_t lsn, fix_lsn; /* of the effect whose subjects are added */
    uint32_t kind;
    struct err_text *why;
};

static enum err
hide(struct overlay *o, uint64_t lsn, const uint8_t id[ID_SIZE], struct err_text *why)
{
    if (o->n_hidden == o->room_hidden) {
        size_t room = o->room_hidden * 2 + 16;
        struct hidden *hidden = realloc(o->hidden, room * sizeof *hidden);
        if (hidden == NULL)
            return err_set(ERR_MEM, why, "ledger: out of memory");
        o->hidden = hidden;
        o->room_hidden = room;
    }
    struct hidden *h = &o->hidden[o->n_hidden++];
    h->lsn = lsn;
    memcpy(h->id, id, ID_SIZE);
    return ERR_OK;
}

static enum err
add_item(void *owner, enum subject_class class, const char *code)
{
    struct overlaying *o = owner;
    struct overlay *overlay = &o->out->overlay;
    if (overlay->n == overlay->room) {
        size_t room = overlay->room * 2 + 16;
        struct overlay_item *items = realloc(overlay->items, room * sizeof *items);
        if (items == NULL)
            return err_set(ERR_MEM, o->why, "ledger: out of memory");
        overlay->items = items;
        overlay->room = room;
    }
    char *copy = strdup(code);
    if (copy == NULL)
        return err_set(ERR_MEM, o->why, "ledger: out of memory");
    overlay->items[overlay->n++] = (struct overlay_item){class, copy, o->lsn, o->fix_lsn, o->kind};
    return ERR_OK;
}

static int
compare_hidden(const void *a, const void *b)
{
    const struct hidden *p = a, *q = b;
    return p->lsn < q->lsn ? -1 : p->lsn > q->lsn;
}

static int
compare_items(const void *a, const void *b)
{
    const struct overlay_item *p = a, *q = b;
    if (p->class != q->class)
        return p->class < q->class ? -1 : 1;
    int order = strcmp(p->code, q->code);
    if (order != 0)
        return order;
    return p->lsn < q->lsn ? -1 : p->lsn > q->lsn;
}

/* A record that names a code twice gives one item. */
static void
drop_repeats(struct overlay *o)
{
    size_t n = 0;
    for (size_t i = 0; i < o->n; i++) {
        if (n > 0 && compare_items(&o->items[n - 1], &o->items[i]) == 0)
            free(o->items[i].code);
        else
            o->items[n++] = o->items[i];
    }
    o->n = n;
}

static void
put_in_order(struct overlay *o)
{
    if (o->n > 1)
        qsort(o->items, o->n, sizeof *o->items, compare_items);
    if (o->n_hidden > 1)
        qsort(o->hidden, o->n_hidden, sizeof *o->hidden, compare_hidden);
    drop_repeats(o);
}

/* Hides the record in the index and brings in what it was then. */
static enum err
overlay_effect(struct overlaying *o, uint64_t lsn, const uint8_t id[ID_SIZE],
               const struct effect *then)
{
    enum err e = hide(&o->out->overlay, lsn, id, o->why);
    if (e != ERR_OK || then == NULL || !then->counts)
        return e;
    o->lsn = then->lsn;
    o->fix_lsn = then->fix_lsn;
    o->kind = then->fact.kind->number;
    return subjects_visit(then->fact.record, then->fact.day, add_item, o);
}

static enum err
effect_then(struct overlaying *o, const struct stored *stored, struct effect *out, bool *out_any)
{
    *out_any = false;
    if (stored->held_ms > o->out->view.held_most)
        return ERR_OK;
    enum err e = effect_of(&o->out->view, stored, &o->pool, out, o->why);
    *out_any = e == ERR_OK;
    return e == ERR_NOT_FOUND ? ERR_OK : e;
}

static enum err
overlay_root(struct overlaying *o, const uint8_t target[ID_SIZE])
{
    struct stored root;
    struct effect then;
    uint8_t id[ID_SIZE];
    bool any = false;
    enum err e = effect_root(o->now, target, &o->pool, &root, o->why);
    if (e != ERR_OK)
        return e == ERR_NOT_FOUND ? ERR_OK : e;
    memcpy(id, root.id, sizeof id);
    uint64_t lsn = root.lsn;
    e = effect_then(o, &root, &then, &any);
    return e == ERR_OK ? overlay_effect(o, lsn, id, any ? &then : NULL) : e;
}

/* A correction that was not known then: what it means counted otherwise. */
static enum err
overlay_fix(void *owner, const uint8_t *key, size_t key_len, const uint8_t *value, size_t value_len,
            struct err_text *why)
{
    struct overlaying *o = owner;
    struct stored stored;
    uint8_t target[ID_SIZE];
    if (key_len != (size_t)2 * ID_SIZE || value_len != 8)
        return err_set(ERR_DAMAGED, why, "ledger: a row of corrections is damaged");
    memcpy(target, key, sizeof target);
    enum err e = store_get(o->now->store, (uint64_t)get_i64(value), &stored, why);
    if (e != ERR_OK || stored.held_ms <= o->out->view.held_most)
        return e;
    pool_reset(&o->pool);
    return overlay_root(o, target);
}

/* ---- sites that were others then */

static bool
same_message(const ProtobufCMessage *a, const ProtobufCMessage *b)
{
    size_t len = protobuf_c_message_get_packed_size(a);
    if (len != protobuf_c_message_get_packed_size(b))
        return false;
    uint8_t *bytes = malloc(2 * len + 1);
    if (bytes == NULL)
        return false; /* looking closer than needed does no harm */
    (void)protobuf_c_message_pack(a, bytes);
    (void)protobuf_c_message_pack(b, bytes + len);
    bool same = memcmp(bytes, bytes + len, len) == 0;
    free(bytes);
    return same;
}

/* Is there a site that one catalogue has otherwise than the other? */
static bool
sites_differ(const struct catalogue *a, const struct catalogue *b)
{
    const uint32_t kind = KNOCKBOX__RECORD__BODY_SITE_;
    const char *const *p = NULL, *const *q = NULL;
    unsigned n = catalogue_keys(a, kind, &p);
    if (n != catalogue_keys(b, kind, &q))
        return true;
    for (unsigned i = 0; i < n; i++) {
        const int64_t *s = NULL, *t = NULL;
        if (strcmp(p[i], q[i]) != 0 ||
            catalogue_instants(a, kind, p[i], &s) != catalogue_instants(b, kind, q[i], &t))
            return true;
        const ProtobufCMessage *x = catalogue_get(a, kind, p[i], INT32_MAX);
        const ProtobufCMessage *y = catalogue_get(b, kind, q[i], INT32_MAX);
        if (x == NULL || y == NULL || !same_message(x, y))
            return true;
    }
    return false;
}

static enum err
overlay_moved(struct overlaying *o, const struct stored *stored)
{
    struct effect then, now;
    bool any = false;
    uint8_t id[ID_SIZE];
    memcpy(id, stored->id, sizeof id);
    pool_reset(&o->pool);
    enum err e = effect_of(o->now, stored, &o->pool, &now, o->why);
    if (e != ERR_OK)
        return e == ERR_NOT_FOUND ? ERR_OK : e;
    e = effect_then(o, stored, &then, &any);
    if (e != ERR_OK || !any || now.fact.kind->group != KIND_SITE)
        return e;
    if (now.outside == then.outside && now.fact.day == then.fact.day)
        return ERR_OK;
    return overlay_effect(o, stored->lsn, id, &then);
}

/* Looks through the whole log: rare, sites change once in years. */
static enum err
overlay_sites(struct overlaying *o)
{
    struct store_walk *walk = NULL;
    struct stored stored;
    enum err e = store_walk_open(o->now->store, 1, &walk, o->why);
    while (e == ERR_OK && (e = store_next(walk, &stored, o->why)) == ERR_OK) {
        uint64_t lsn = 0;
        if (stored.lsn > o->now->lsn_most || stored.held_ms > o->out->view.held_most)
            continue;
        if (store_find_id(o->now->store, stored.id, &lsn, NULL) == ERR_OK && lsn == stored.lsn)
            e = overlay_moved(o, &stored);
    }
    store_walk_close(walk);
    return e == ERR_NOT_FOUND ? ERR_OK : e;
}

enum err
as_of_init(struct ledger *ledger, const struct view *now, int64_t held_most, struct as_of *out,
           struct err_text *why)
{
    struct overlaying o = {.out = out, .now = now, .why = why};
    struct key all = {.n = 0, .over = false};
    memset(out, 0, sizeof *out);
    out->view = *now;
    out->view.held_most = held_most;
    enum err e = make_catalogue(&out->view, &out->catalogue, why);
    if (e != ERR_OK)
        return e;
    out->view.catalogue = out->catalogue;
    e = table_walk(now->kv, now->tables->fixes, &all, overlay_fix, &o, why);
    if (e == ERR_OK && sites_differ(ledger->catalogue, out->catalogue))
        e = overlay_sites(&o);
    pool_done(&o.pool);
    put_in_order(&out->overlay);
    out->view.overlay = &out->overlay;
    if (e != ERR_OK)
        as_of_done(out);
    return e;
}

void
as_of_done(struct as_of *as_of)
{
    for (size_t i = 0; i < as_of->overlay.n; i++)
        free(as_of->overlay.items[i].code);
    free(as_of->overlay.items);
    free(as_of->overlay.hidden);
    catalogue_free(as_of->catalogue);
    memset(as_of, 0, sizeof *as_of);
}

/* ---- folding into memory */

struct refolding {
    const struct view *view;
    int classes; /* bits 1 << class: what is folded */
    struct folding folding;
    struct counts counts;
    struct books *books, *wastes;
    struct set told; /* records that the ledger itself says something about */
    struct err_text *why;
};

static enum err
book_item(struct refolding *r, const struct outcome_item *item)
{
    char id[ID_TEXT];
    struct posting posting = {item->measure, item->month, item->site, item->key, item->amount};
    if (item->type == OUTCOME_POSTING)
        return books_post(r->books, &posting, r->why);
    if (item->type != OUTCOME_WASTE)
        return ERR_OK;
    posting = (struct posting){MEASURE_WASTE_BEGUN, 0, "", id_print(item->id, id), item->amount};
    return books_post(r->wastes, &posting, r->why);
}

static enum err
book_all(struct refolding *r, const uint8_t *bytes, size_t len)
{
    struct outcome_item item;
    struct outcome_reader reader;
    enum err e = ERR_OK;
    outcome_read(&reader, bytes, len);
    while (e == ERR_OK && outcome_next(&reader, &item))
        e = book_item(r, &item);
    return e;
}

/* Each fact is counted under one of its subjects. */
static enum err
count_facts(struct refolding *r, enum subject_class class, const char *code)
{
    enum err e = ERR_OK;
    for (size_t i = 0; i < r->folding.facts.n && e == ERR_OK; i++) {
        char day[DAY_TEXT];
        const struct fact *fact = &r->folding.facts.at[i];
        if (fact->kind->group != KIND_SITE ||
            !subject_is_first(fact->record, fact->day, class, code))
            continue;
        int32_t seen = day_seen(r->view, fact);
        struct posting posting = {MEASURE_RECORDS, span_month(r->view->span, seen), fact->site,
                                  day_print(seen, day), 1};
        e = books_post(r->books, &posting, r->why);
    }
    return e;
}

static enum err
fold_class(struct refolding *r, enum subject_class class)
{
    char code[SUBJECT_CODE_MAX] = "";
    const uint8_t *bytes = NULL;
    size_t len = 0;
    enum err e = ERR_OK;
    while (e == ERR_OK && (e = facts_next_subject(r->view, class, code, r->why)) == ERR_OK) {
        e = folding_run(&r->folding, class, code, &bytes, &len, r->why);
        if (e == ERR_OK)
            e = book_all(r, bytes, len);
        if (e == ERR_OK)
            e = count_facts(r, class, code);
    }
    return e == ERR_NOT_FOUND ? ERR_OK : e;
}

static enum err
fold_classes(struct refolding *r)
{
    enum err e = ERR_OK;
    for (int pass = 0; pass < 2; pass++) {
        for (int class = 1; class < SUBJECT_CLASSES && e == ERR_OK; class ++) {
            if (class != SUBJECT_RECORD && (r->classes & (1 << class)) != 0 &&
                class_row((enum subject_class) class)->last == (pass == 1))
                e = fold_class(r, (enum subject_class) class);
        }
    }
    return e;
}

/* ---- single records */

static enum err
add_told(void *owner, const uint8_t *key, size_t key_len, const uint8_t *value, size_t value_len,
         struct err_text *why)
{
    struct refolding *r = owner;
    char code[ID_TEXT];
    (void)value;
    (void)value_len;
    if (key_len != ID_TEXT)
        return ERR_OK;
    memcpy(code, key + 1, ID_TEXT - 1);
    code[ID_TEXT - 1] = '\0';
    return set_add(&r->told, SUBJECT_RECORD, code, why);
}

static enum err
add_fix(void *owner, const uint8_t *key, size_t key_len, const uint8_t *value, size_t value_len,
        struct err_text *why)
{
    struct refolding *r = owner;
    char code[ID_TEXT];
    (void)value;
    (void)value_len;
    if (key_len != (size_t)2 * ID_SIZE)
        return ERR_OK;
    enum err e = set_add(&r->told, SUBJECT_RECORD, id_print(key, code), why);
    return e == ERR_OK ? set_add(&r->told, SUBJECT_RECORD, id_print(key + ID_SIZE, code), why) : e;
}

static enum err
gather_told(struct refolding *r)
{
    char code[ID_TEXT];
    struct key rows = key_row(SUBJECT_RECORD, ""), all = {.n = 0, .over = false};
    const struct tables *t = r->view->tables;
    enum err e = table_walk(r->view->kv, t->rows, &rows, add_told, r, r->why);
    if (e == ERR_OK)
        e = table_walk(r->view->kv, t->fixes, &all, add_fix, r, r->why);
    const struct overlay *o = r->view->overlay;
    for (size_t i = 0; o != NULL && i < o->n_hidden && e == ERR_OK; i++)
        e = set_add(&r->told, SUBJECT_RECORD, id_print(o->hidden[i].id, code), r->why);
    return e;
}

static enum err
fold_told(struct refolding *r)
{
    const uint8_t *bytes = NULL;
    size_t len = 0;
    enum err e = gather_told(r);
    for (size_t i = 0; i < set_size(&r->told) && e == ERR_OK; i++) {
        e = folding_record(&r->folding, set_code(&r->told, i), &bytes, &len, r->why);
        if (e == ERR_OK)
            e = book_all(r, bytes, len);
    }
    return e;
}

/* Runs the folds over the view; the books are the caller's. */
static enum err
fold_view(struct view *view, const char *own_site, const struct behind *behind,
          struct books **out_books, struct err_text *why)
{
    struct refolding r = {.view = view, .why = why, .classes = behind->classes};
    char hub_site[SITE_SIZE];
    find_hub_site(view->catalogue, own_site, hub_site);
    enum err e = folding_init(&r.folding, why);
    if (e == ERR_OK)
        e = books_new(&r.books, why);
    if (e == ERR_OK)
        e = books_new(&r.wastes, why);
    r.folding.view = view;
    r.folding.counts = &r.counts;
    r.folding.hub_site = hub_site;
    if (e == ERR_OK)
        outcome_tell(r.folding.outcome, behind->told, behind->owner);
    view->wastes = r.wastes;
    if (e == ERR_OK)
        e = counts_load(view, &r.counts, why);
    if (e == ERR_OK)
        e = fold_classes(&r);
    if (e == ERR_OK && (r.classes & (1 << SUBJECT_RECORD)) != 0)
        e = fold_told(&r);
    view->wastes = NULL;
    folding_done(&r.folding);
    counts_done(&r.counts);
    books_free(r.wastes);
    set_done(&r.told);
    if (e == ERR_OK)
        *out_books = r.books;
    else
        books_free(r.books);
    return e;
}

/* ---- the stored lines */

static enum err
read_line(void *owner, const uint8_t *key, size_t key_len, const uint8_t *value, size_t value_len,
          struct err_text *why)
{
    char text[TABLE_KEY_MAX + 1];
    struct posting line;
    enum err e = line_read(key, key_len, value, value_len, text, &line, why);
    return e == ERR_OK ? books_append(owner, &line, why) : e;
}

static enum err
read_lines(const struct view *view, struct books **out_books, struct err_text *why)
{
    struct books *books = NULL;
    struct key all = {.n = 0, .over = false};
    enum err e = books_new(&books, why);
    if (e == ERR_OK)
        e = table_walk(view->kv, view->tables->lines, &all, read_line, books, why);
    if (e == ERR_OK)
        *out_books = books;
    else
        books_free(books);
    return e;
}

/* ---- books of a moment */

static enum err
fold_as_of(struct ledger *ledger, const struct view *now, const struct behind *behind,
           struct books **out_books, struct err_text *why)
{
    struct as_of then;
    enum err e = as_of_init(ledger, now, behind->held_most_ms, &then, why);
    if (e != ERR_OK)
        return e;
    e = fold_view(&then.view, store_site(ledger->store), behind, out_books, why);
    as_of_done(&then);
    return e;
}

/* Folds everything over the view of that moment, and keeps what comes out. */
static enum err
fold_then(struct ledger *ledger, const struct view *now, int64_t held_most,
          struct books **out_books, struct err_text *why)
{
    enum err e =
        fold_as_of(ledger, now, &(struct behind){.held_most_ms = held_most, .classes = BEHIND_ALL},
                   out_books, why);
    if (e == ERR_OK)
        (void)kept_write(ledger, held_most, *out_books, NULL); /* else it is folded again */
    return e;
}

static enum err
books_then(struct ledger *ledger, const struct view *now, int64_t held_most,
           struct books **out_books, struct err_text *why)
{
    if (held_most >= ledger->held_last)
        return read_lines(now, out_books, why);
    enum err e = kept_read(now, held_most, out_books, why);
    return e == ERR_NOT_FOUND ? fold_then(ledger, now, held_most, out_books, why) : e;
}

enum err
ledger_books(struct ledger *ledger, int64_t held_most_ms, struct books **out_books,
             struct catalogue **out_catalogue, struct err_text *why)
{
    struct view now;
    struct books *books = NULL;
    enum err e = ledger_look(ledger, &now, why);
    if (e != ERR_OK)
        return e;
    struct view then = now;
    then.held_most = held_most_ms;
    e = books_then(ledger, &now, held_most_ms, &books, why);
    if (e == ERR_OK)
        e = make_catalogue(&then, out_catalogue, why);
    if (e == ERR_OK)
        *out_books = books;
    else
        books_free(books);
    ledger_look_end(ledger);
    return e;
}

/* ---- what is behind the books */

/* All that is held, of whole months, and nobody asks which records. */
static bool
needs_no_fold(const struct behind *behind)
{
    return behind->span != NULL && behind->told == NULL && behind->classes == BEHIND_ALL &&
           behind->held_most_ms == INT64_MAX && span_is_of_months(behind->span);
}

enum err
ledger_behind(struct ledger *ledger, const struct behind *behind, struct books **out_books,
              struct catalogue **out_catalogue, struct err_text *why)
{
    struct view now;
    struct books *books = NULL;
    enum err e = ledger_look(ledger, &now, why);
    if (e != ERR_OK)
        return e;
    now.span = behind->span;
    if (needs_no_fold(behind))
        e = span_lines(&now, behind->span, &books, why);
    else if (behind->held_most_ms >= ledger->held_last)
        e = fold_view(&now, store_site(ledger->store), behind, &books, why);
    else
        e = fold_as_of(ledger, &now, behind, &books, why);
    now.held_most = behind->held_most_ms;
    if (e == ERR_OK && out_catalogue != NULL)
        e = make_catalogue(&now, out_catalogue, why);
    ledger_look_end(ledger);
    if (e == ERR_OK && out_books != NULL)
        *out_books = books;
    else
        books_free(books);
    return e;
}

/* The waste of a site needs what its tubs' folds say of discards by count. */
int
ledger_classes_of(enum measure measure)
{
    static const struct {
        enum measure first, last;
        int classes;
    } table[] = {
        {MEASURE_FILLED, MEASURE_FILLED_BY, 1 << SUBJECT_TUB},
        {MEASURE_UNCAPTURED, MEASURE_UNCAPTURED_DAYS_UNKNOWN, 1 << SUBJECT_DAY},
        {MEASURE_SENT, MEASURE_UNEXPLAINED_EMPTY, 1 << SUBJECT_TUB},
        {MEASURE_RESIDUE_MADE, MEASURE_RESIDUE_TO, 1 << SUBJECT_TUB | 1 << SUBJECT_WASTE},
        {MEASURE_BOTTLED_G, MEASURE_UNPRICED, 1 << SUBJECT_LOT | 1 << SUBJECT_SALE},
        {MEASURE_BATCH_ENDED, MEASURE_BATCH_DRY_USED, 1 << SUBJECT_BATCH},
        {MEASURE_BATCH_IN, MEASURE_BATCH_ABV, 1 << SUBJECT_BATCH},
    };
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++)
        if (measure >= table[i].first && measure <= table[i].last)
            return table[i].classes;
    return BEHIND_ALL;
}

enum err
ledger_standing(struct ledger *ledger, const uint8_t record[16], struct standing *out_standing,
                struct err_text *why)
{
    struct view view;
    struct stored stored;
    enum err e = ledger_look(ledger, &view, why);
    if (e != ERR_OK)
        return e;
    e = view_find(&view, record, &stored, why);
    if (e == ERR_OK) {
        memset(out_standing, 0, sizeof *out_standing);
        size_t len = strlen(stored.site);
        memcpy(out_standing->site, stored.site,
               len < sizeof out_standing->site ? len : sizeof out_standing->site - 1);
        out_standing->epoch = stored.epoch;
        out_standing->seq = stored.seq;
    }
    ledger_look_end(ledger);
    return e;
}
