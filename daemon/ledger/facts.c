/* facts.c - see facts.h. */
#include "daemon/ledger/facts.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

int
fact_order(const struct fact *a, const struct fact *b)
{
    if (a->at_ms != b->at_ms)
        return a->at_ms < b->at_ms ? -1 : 1;
    if (a->kind->order != b->kind->order)
        return a->kind->order < b->kind->order ? -1 : 1;
    return memcmp(a->id, b->id, ID_SIZE);
}

static int
compare_facts(const void *a, const void *b)
{
    return fact_order(a, b);
}

enum err
fact_list_add(struct fact_list *list, const struct fact *fact, struct err_text *why)
{
    if (list->n == list->room) {
        size_t room = list->room == 0 ? 1 : list->room * 2 + 2;
        struct fact *at = realloc(list->at, room * sizeof *at);
        if (at == NULL)
            return err_set(ERR_MEM, why, "ledger: out of memory");
        list->at = at;
        list->room = room;
    }
    list->at[list->n++] = *fact;
    return ERR_OK;
}

void
fact_list_done(struct fact_list *list)
{
    free(list->at);
    *list = (struct fact_list){NULL, 0, 0};
}

/* ---- entries */

enum {
    ENTRY_TAIL = INSTANT_KEY + 1 + LSN_KEY
};

struct key
entry_key(enum subject_class class, const char *code, const struct effect *effect)
{
    struct key key = key_subject(class, code);
    key_instant(&key, effect->fact.at_ms);
    key_byte(&key, (uint8_t)effect->fact.kind->order);
    key_lsn(&key, effect->lsn);
    return key;
}

size_t
entry_value(const struct effect *effect, uint8_t out[ENTRY_VALUE])
{
    const struct fact *fact = &effect->fact;
    uint8_t *p = out;
    *p++ = (uint8_t)fact->kind->number;
    p = put_signed(p, fact->held_ms - fact->at_ms);
    if (effect->fix_lsn != 0)
        p = put_signed(p, (int64_t)effect->fix_lsn);
    return (size_t)(p - out);
}

enum err
entry_read(const uint8_t *key, size_t key_len, const uint8_t *value, size_t value_len,
           struct entry *out, struct err_text *why)
{
    int64_t held_after = 0, fix_lsn = 0;
    const uint8_t *p = value + 1, *end = value + value_len;
    *out = (struct entry){.code = ""};
    bool whole = key_len >= 2 + ENTRY_TAIL && key[key_len - ENTRY_TAIL - 1] == 0 &&
                 value_len >= 2 && get_signed(&p, end, &held_after) &&
                 (p == end || get_signed(&p, end, &fix_lsn));
    if (!whole)
        return err_set(ERR_DAMAGED, why, "ledger: a row of the index is damaged");
    const uint8_t *tail = key + key_len - ENTRY_TAIL;
    *out = (struct entry){.class = (enum subject_class)key[0],
                          .code = (const char *)key + 1,
                          .at_ms = get_instant(tail),
                          .lsn = get_lsn(tail + INSTANT_KEY + 1),
                          .fix_lsn = (uint64_t)fix_lsn,
                          .kind = value[0]};
    out->held_ms = out->at_ms + held_after;
    return ERR_OK;
}

static int
compare_hidden(const void *a, const void *b)
{
    const struct hidden *p = a, *q = b;
    return p->lsn < q->lsn ? -1 : p->lsn > q->lsn;
}

static bool
is_hidden(const struct view *view, const struct entry *entry)
{
    if (entry->held_ms > view->held_most)
        return true;
    const struct overlay *o = view->overlay;
    return o != NULL && o->n_hidden > 0 &&
           bsearch(&(struct hidden){.lsn = entry->lsn}, o->hidden, o->n_hidden, sizeof *o->hidden,
                   compare_hidden) != NULL;
}

/* ---- loading */

struct loading {
    const struct view *view;
    enum subject_class class;
    uint32_t kind;
    struct pool *pool;
    struct fact_list *list;
    size_t first; /* of the list: where this subject begins */
};

/* The mass that a tub's fold found for a discard by count. */
static enum err
find_waste(const struct view *view, struct fact *fact, struct err_text *why)
{
    char id[ID_TEXT];
    MDB_val value;
    if (fact->record->body_case != KNOCKBOX__RECORD__BODY_DISCARD ||
        fact->record->discard->has_mass_g)
        return ERR_OK;
    if (view->wastes != NULL) {
        fact->waste_g =
            books_line(view->wastes, MEASURE_WASTE_BEGUN, 0, "", id_print(fact->id, id));
        return ERR_OK;
    }
    enum err e = kv_get(view->kv, view->tables->wastes, fact->id, ID_SIZE, &value, why);
    if (e == ERR_OK && value.mv_size == 8)
        fact->waste_g = get_i64(value.mv_data);
    return e == ERR_NOT_FOUND ? ERR_OK : e;
}

static enum err
load_one(struct loading *l, uint64_t lsn, uint64_t fix_lsn, struct err_text *why)
{
    struct fact fact;
    enum err e = effect_load(l->view, lsn, fix_lsn, l->pool, &fact, why);
    if (e == ERR_OK && l->class == SUBJECT_WASTE)
        e = find_waste(l->view, &fact, why);
    return e == ERR_OK ? fact_list_add(l->list, &fact, why) : e;
}

static enum err
load_entry(void *owner, const uint8_t *key, size_t key_len, const uint8_t *value, size_t value_len,
           struct err_text *why)
{
    struct loading *l = owner;
    struct entry entry;
    enum err e = entry_read(key, key_len, value, value_len, &entry, why);
    if (e != ERR_OK)
        return e;
    if ((l->kind != 0 && entry.kind != l->kind) || is_hidden(l->view, &entry))
        return ERR_OK;
    return load_one(l, entry.lsn, entry.fix_lsn, why);
}

/* The index is in order but for records of one moment and rank. */
static void
put_in_order(struct fact_list *list, size_t first)
{
    size_t i = first + 1;
    while (i < list->n && fact_order(&list->at[i - 1], &list->at[i]) < 0)
        i++;
    if (i < list->n)
        qsort(list->at + first, list->n - first, sizeof *list->at, compare_facts);
}

static int
compare_items(const struct overlay_item *item, enum subject_class class, const char *code)
{
    if (item->class != class)
        return item->class < class ? -1 : 1;
    return strcmp(item->code, code);
}

/* The first overlay item that is not before (class, code). */
static size_t
find_item(const struct overlay *o, enum subject_class class, const char *code)
{
    size_t low = 0, high = o->n;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (compare_items(&o->items[middle], class, code) < 0)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

static enum err
load_overlay(struct loading *l, const char *code, struct err_text *why)
{
    const struct overlay *o = l->view->overlay;
    enum err e = ERR_OK;
    for (size_t i = find_item(o, l->class, code); i < o->n && e == ERR_OK; i++) {
        const struct overlay_item *item = &o->items[i];
        if (compare_items(item, l->class, code) != 0)
            break;
        if (l->kind == 0 || item->kind == l->kind)
            e = load_one(l, item->lsn, item->fix_lsn, why);
    }
    return e;
}

enum err
facts_load(const struct view *view, enum subject_class class, const char *code, uint32_t kind,
           struct pool *pool, struct fact_list *list, struct err_text *why)
{
    struct loading l = {
        .view = view, .class = class, .kind = kind, .pool = pool, .list = list, .first = list->n};
    struct key prefix = key_subject(class, code);
    if (prefix.over)
        return ERR_OK;
    enum err e = table_walk(view->kv, view->tables->facts, &prefix, load_entry, &l, why);
    if (e == ERR_OK && view->overlay != NULL)
        e = load_overlay(&l, code, why);
    put_in_order(list, l.first);
    return e;
}

/* ---- subjects */

static enum err
next_in_index(const struct view *view, enum subject_class class, const char *code,
              char out[SUBJECT_CODE_MAX], struct err_text *why)
{
    struct kv_walk *walk = NULL;
    MDB_val key, value;
    struct entry entry = {0};
    struct key from = key_row(class, code);
    if (code[0] != '\0')
        key_byte(&from, 1); /* behind all of `code`, before all that is longer */
    enum err e = kv_walk_open(view->kv, view->tables->facts, from.bytes, from.n, &walk, why);
    if (e != ERR_OK)
        return e;
    e = kv_next(walk, &key, &value, why);
    if (e == ERR_OK)
        e = entry_read(key.mv_data, key.mv_size, value.mv_data, value.mv_size, &entry, why);
    if (e == ERR_OK && entry.class != class)
        e = ERR_NOT_FOUND;
    if (e == ERR_OK && strlen(entry.code) >= SUBJECT_CODE_MAX)
        e = err_set(ERR_DAMAGED, why, "ledger: a code of the index is too long");
    if (e == ERR_OK)
        memcpy(out, entry.code, strlen(entry.code) + 1);
    kv_walk_close(walk);
    return e;
}

enum err
facts_next_subject(const struct view *view, enum subject_class class, char code[SUBJECT_CODE_MAX],
                   struct err_text *why)
{
    char found[SUBJECT_CODE_MAX] = "";
    enum err e = next_in_index(view, class, code, found, why);
    if (e != ERR_OK && e != ERR_NOT_FOUND)
        return e;
    const struct overlay *o = view->overlay;
    size_t i = o != NULL ? find_item(o, class, code) : 0;
    while (o != NULL && i < o->n && o->items[i].class == class &&
           strcmp(o->items[i].code, code) == 0)
        i++;
    if (o != NULL && i < o->n && o->items[i].class == class &&
        (e != ERR_OK || strcmp(o->items[i].code, found) < 0)) {
        memcpy(found, o->items[i].code, strlen(o->items[i].code) + 1);
        e = ERR_OK;
    }
    if (e == ERR_OK)
        memcpy(code, found, sizeof found);
    return e;
}

/* ---- the index in one pass */

struct stream {
    struct kv_walk *walk;
    enum subject_class class;
    char code[SUBJECT_CODE_MAX]; /* of the first place that is not given out yet */
    struct place_of first;
    bool more;
    struct places places;
};

/* Reads one entry ahead. `more` is false at the end of the class. */
static enum err
read_ahead(struct stream *s, struct err_text *why)
{
    MDB_val key, value;
    struct entry entry = {.code = ""};
    enum err e = kv_next(s->walk, &key, &value, why);
    if (e == ERR_OK)
        e = entry_read(key.mv_data, key.mv_size, value.mv_data, value.mv_size, &entry, why);
    s->more = e == ERR_OK && entry.class == s->class;
    if (!s->more)
        return e == ERR_NOT_FOUND ? ERR_OK : e;
    size_t len = strlen(entry.code);
    if (len >= sizeof s->code)
        return err_set(ERR_DAMAGED, why, "ledger: a code of the index is too long");
    memcpy(s->code, entry.code, len + 1);
    s->first = (struct place_of){entry.lsn, entry.fix_lsn};
    return ERR_OK;
}

enum err
stream_open(const struct view *view, enum subject_class class, const char *code,
            struct stream **out_stream, struct err_text *why)
{
    struct stream *s = calloc(1, sizeof *s);
    if (s == NULL)
        return err_set(ERR_MEM, why, "ledger: out of memory");
    s->class = class;
    struct key from = key_row(class, code);
    if (code[0] != '\0')
        key_byte(&from, 1);
    enum err e = kv_walk_open(view->kv, view->tables->facts, from.bytes, from.n, &s->walk, why);
    if (e == ERR_OK)
        e = read_ahead(s, why);
    if (e == ERR_OK)
        *out_stream = s;
    else
        stream_close(s);
    return e;
}

void
stream_close(struct stream *s)
{
    if (s == NULL)
        return;
    kv_walk_close(s->walk);
    free(s->places.at);
    free(s);
}

static enum err
keep_place(struct places *places, const struct place_of *place, struct err_text *why)
{
    if (places->n == places->room) {
        size_t room = places->room * 2 + 32;
        struct place_of *at = realloc(places->at, room * sizeof *at);
        if (at == NULL)
            return err_set(ERR_MEM, why, "ledger: out of memory");
        places->at = at;
        places->room = room;
    }
    places->at[places->n++] = *place;
    return ERR_OK;
}

enum err
stream_next(struct stream *s, char out_code[SUBJECT_CODE_MAX], const struct places **out_places,
            struct err_text *why)
{
    enum err e = ERR_OK;
    s->places.n = 0;
    if (!s->more)
        return ERR_NOT_FOUND;
    memcpy(out_code, s->code, sizeof s->code);
    while (e == ERR_OK && s->more && strcmp(s->code, out_code) == 0) {
        e = keep_place(&s->places, &s->first, why);
        if (e == ERR_OK)
            e = read_ahead(s, why);
    }
    *out_places = &s->places;
    return e;
}

enum err
facts_load_places(const struct view *view, enum subject_class class, const struct places *places,
                  struct pool *pool, struct fact_list *list, struct err_text *why)
{
    struct loading l = {.view = view, .class = class, .pool = pool, .list = list, .first = list->n};
    enum err e = ERR_OK;
    for (size_t i = 0; i < places->n && e == ERR_OK; i++)
        e = load_one(&l, places->at[i].lsn, places->at[i].fix_lsn, why);
    put_in_order(list, l.first);
    return e;
}

/* ---- stocktakes */

static char *
copy_text(struct pool *pool, const char *text)
{
    size_t size = strlen(text) + 1;
    char *copy = pool_take(pool, size);
    return copy != NULL ? memcpy(copy, text, size) : NULL;
}

struct stripped {
    Knockbox__Record record;
    Knockbox__Stocktake body;
    Knockbox__Codes no_tubs;
    Knockbox__BottleCounts no_bottles;
    uint8_t id[ID_SIZE];
};

static enum err
strip(struct pool *pool, const struct fact *fact, struct fact *out)
{
    const Knockbox__Stocktake *body = fact->record->stocktake;
    struct stripped *s = pool_take(pool, sizeof *s);
    char *site = copy_text(pool, fact->site), *place = copy_text(pool, body->place);
    if (s == NULL || site == NULL || place == NULL)
        return ERR_MEM;
    knockbox__record__init(&s->record);
    knockbox__stocktake__init(&s->body);
    knockbox__codes__init(&s->no_tubs);
    knockbox__bottle_counts__init(&s->no_bottles);
    memcpy(s->id, fact->id, ID_SIZE);
    s->record.site = site;
    s->record.body_case = KNOCKBOX__RECORD__BODY_STOCKTAKE;
    s->record.stocktake = &s->body;
    s->body.place = place;
    s->body.tubs = body->tubs != NULL ? &s->no_tubs : NULL;
    s->body.bottles = body->bottles != NULL ? &s->no_bottles : NULL;
    *out = *fact;
    out->record = &s->record;
    out->id = s->id;
    out->site = site;
    return ERR_OK;
}

static enum err
keep_counts(struct counts *counts, const struct fact_list *found, struct err_text *why)
{
    enum err e = ERR_OK;
    for (size_t i = 0; i < found->n && e == ERR_OK; i++) {
        struct fact fact;
        if (strip(&counts->pool, &found->at[i], &fact) != ERR_OK)
            return err_set(ERR_MEM, why, "ledger: out of memory");
        if (fact.record->stocktake->tubs != NULL)
            e = fact_list_add(&counts->tubs, &fact, why);
        if (e == ERR_OK && fact.record->stocktake->bottles != NULL)
            e = fact_list_add(&counts->lots, &fact, why);
    }
    return e;
}

void
counts_done(struct counts *counts)
{
    fact_list_done(&counts->tubs);
    fact_list_done(&counts->lots);
    pool_done(&counts->pool);
}

static void
sort_list(struct fact_list *list)
{
    if (list->n > 1)
        qsort(list->at, list->n, sizeof *list->at, compare_facts);
}

enum err
counts_load(const struct view *view, struct counts *counts, struct err_text *why)
{
    char site[SUBJECT_CODE_MAX] = "";
    struct pool pool = {.lean = true};
    struct fact_list found = {.n = 0};
    enum err e = ERR_OK;
    counts->tubs.n = counts->lots.n = 0;
    pool_reset(&counts->pool);
    while (e == ERR_OK && (e = facts_next_subject(view, SUBJECT_COUNT, site, why)) == ERR_OK) {
        found.n = 0;
        pool_reset(&pool);
        e = facts_load(view, SUBJECT_COUNT, site, 0, &pool, &found, why);
        if (e == ERR_OK)
            e = keep_counts(counts, &found, why);
    }
    fact_list_done(&found);
    pool_done(&pool);
    sort_list(&counts->tubs);
    sort_list(&counts->lots);
    return e == ERR_NOT_FOUND ? ERR_OK : e;
}
