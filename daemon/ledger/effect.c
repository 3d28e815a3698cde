/* effect.c - see effect.h. */
#include "daemon/ledger/effect.h"

#include <stdlib.h>
#include <string.h>
#include "daemon/base/zone.h"
#include "proto/when.h"

enum {
    CHAIN_MOST = 64,
    AHEAD_MS = 300000
};

enum err
view_get(const struct view *view, uint64_t lsn, struct stored *out, struct err_text *why)
{
    if (lsn > view->lsn_most)
        return ERR_NOT_FOUND;
    enum err e = store_get(view->store, lsn, out, why);
    return e == ERR_OK && out->held_ms > view->held_most ? ERR_NOT_FOUND : e;
}

enum err
view_find(const struct view *view, const uint8_t id[ID_SIZE], struct stored *out,
          struct err_text *why)
{
    uint64_t lsn = 0;
    enum err e = store_find_id(view->store, id, &lsn, why);
    return e != ERR_OK ? e : view_get(view, lsn, out, why);
}

/* ---- corrections */

struct gathering {
    const struct view *view;
    struct pool *pool;
    struct fix *fixes;
    size_t n, room;
};

static bool
make_room(struct gathering *g)
{
    if (g->n < g->room)
        return true;
    size_t room = g->room * 2 + 4;
    struct fix *fixes = pool_take(g->pool, room * sizeof *fixes);
    if (fixes == NULL)
        return false;
    if (g->n > 0)
        memcpy(fixes, g->fixes, g->n * sizeof *fixes);
    g->fixes = fixes;
    g->room = room;
    return true;
}

static enum err
gather_one(void *owner, const uint8_t *key, size_t key_len, const uint8_t *value, size_t value_len,
           struct err_text *why)
{
    (void)key;
    (void)key_len;
    struct gathering *g = owner;
    struct stored stored;
    Knockbox__Record *record = NULL;
    if (value_len != 8)
        return err_set(ERR_DAMAGED, why, "ledger: a row of corrections is damaged");
    enum err e = view_get(g->view, (uint64_t)get_i64(value), &stored, why);
    if (e == ERR_NOT_FOUND)
        return ERR_OK; /* later than this view */
    if (e == ERR_OK)
        e = pool_decode(g->pool, stored.bytes, stored.len, &record, why);
    if (e != ERR_OK)
        return e;
    if (!make_room(g))
        return err_set(ERR_MEM, why, "ledger: out of memory");
    g->fixes[g->n++] =
        (struct fix){.record = record,
                     .id = record->id.data,
                     .lsn = stored.lsn,
                     .held_ms = stored.held_ms,
                     .is_void = record->correct->has_void_ && record->correct->void_};
    return ERR_OK;
}

/* Ids are random at their end. */
static uint32_t
hint_of(const uint8_t id[ID_SIZE])
{
    uint32_t hash = 2166136261U;
    for (int i = 0; i < ID_SIZE; i++)
        hash = (hash ^ id[i]) * 16777619U;
    return (hash ^ hash >> 15) % HINT_BITS;
}

void
hints_add(struct hints *hints, const uint8_t target[ID_SIZE])
{
    uint32_t bit = hint_of(target);
    hints->bits[bit / 8] |= (uint8_t)(1U << bit % 8);
}

static bool
may_have_fixes(const struct view *view, const uint8_t id[ID_SIZE])
{
    uint32_t bit = hint_of(id);
    return view->hints == NULL || (view->hints->bits[bit / 8] >> bit % 8 & 1) != 0;
}

static enum err
gather_at(struct gathering *g, const uint8_t id[ID_SIZE], struct err_text *why)
{
    if (!may_have_fixes(g->view, id))
        return ERR_OK;
    struct key prefix = {.n = 0, .over = false};
    key_bytes(&prefix, id, ID_SIZE);
    return table_walk(g->view->kv, g->view->tables->fixes, &prefix, gather_one, g, why);
}

static int
compare_fixes(const void *a, const void *b)
{
    const struct fix *p = a, *q = b;
    if (p->record->at_ms != q->record->at_ms)
        return p->record->at_ms > q->record->at_ms ? -1 : 1;
    return memcmp(q->id, p->id, ID_SIZE);
}

/* A correction has one target, so what hangs on a record is a tree and each is met once. */
static enum err
gather(struct gathering *g, const uint8_t id[ID_SIZE], struct err_text *why)
{
    enum err e = gather_at(g, id, why);
    for (size_t i = 0; i < g->n && e == ERR_OK; i++)
        e = gather_at(g, g->fixes[i].id, why);
    if (e == ERR_OK && g->n > 1)
        qsort(g->fixes, g->n, sizeof *g->fixes, compare_fixes);
    return e;
}

static bool
correctable(const struct kind *kind)
{
    return kind->number != KNOCKBOX__RECORD__BODY_PERIOD_CLOSE &&
           kind->number != KNOCKBOX__RECORD__BODY_RESTATE;
}

static enum err
read_body(struct fix *fix, const struct kind *kind, struct pool *pool)
{
    const char *text = fix->record->correct->body;
    Knockbox__Record *body = NULL;
    if (!correctable(kind) || (!fix->is_void && text == NULL)) {
        fix->unfit = true;
        return ERR_OK;
    }
    if (fix->is_void)
        return ERR_OK;
    struct arena *arena = pool_arena(pool, ARENA_RECORD + strlen(text) * 40);
    if (arena == NULL)
        return ERR_MEM;
    if (record_from_correction(text, kind, arena, &body, NULL) == ERR_OK)
        fix->body = body;
    else
        fix->unfit = true;
    return ERR_OK;
}

/* ---- from a record to a fact */

static int
offset_then(const struct view *view, const Knockbox__Record *record, int64_t at_ms)
{
    const struct zone *zone = NULL;
    const char *name = record->zone;
    if (name == NULL && view->catalogue != NULL) {
        const Knockbox__Site *site = (const Knockbox__Site *)catalogue_get(
            view->catalogue, KNOCKBOX__RECORD__BODY_SITE_, record->site, INT32_MAX);
        name = site != NULL ? site->zone : NULL;
    }
    if (name == NULL || zone_find(name, &zone, NULL) != ERR_OK)
        return record->at_offset_min;
    return zone_offset_min(zone, at_ms);
}

/* The record with the body of a correction, and its `at` when that says another. */
static const Knockbox__Record *
corrected(const struct view *view, const Knockbox__Record *record, const struct fix *fix,
          struct pool *pool)
{
    Knockbox__Record *copy = pool_take(pool, sizeof *copy);
    if (copy == NULL)
        return NULL;
    *copy = *fix->body; /* for the body, whichever it is */
    ProtobufCMessage base = record->base;
    Knockbox__Record__BodyCase body_case = fix->body->body_case;
    Knockbox__Close *body = fix->body->close; /* all bodies are pointers in one union */
    *copy = *record;
    copy->base = base;
    copy->body_case = body_case;
    copy->close = body;
    if (fix->body->has_at_ms) {
        copy->at_ms = fix->body->at_ms;
        copy->at_offset_min = offset_then(view, record, copy->at_ms);
    }
    return copy;
}

static int32_t
day_of(const struct view *view, const struct fact *fact)
{
    const Knockbox__Record *record = fact->record;
    if (record->body_case == KNOCKBOX__RECORD__BODY_CLOSE)
        return record->close->day;
    if (fact->kind->group == KIND_SITE && view->catalogue != NULL)
        return catalogue_business_day(view->catalogue, fact->site, fact->at_ms, fact->offset_min);
    int64_t local_ms = fact->at_ms + (int64_t)fact->offset_min * 60000;
    return (int32_t)(local_ms / 86400000 - (local_ms % 86400000 < 0));
}

static void
make_fact(const struct view *view, const Knockbox__Record *record, const struct kind *kind,
          int64_t held_ms, int64_t sure_ms, struct fact *out)
{
    *out = (struct fact){.record = record,
                         .kind = kind,
                         .id = record->id.data,
                         .site = record->site,
                         .at_ms = record->at_ms,
                         .offset_min = record->at_offset_min,
                         .held_ms = held_ms,
                         .clock_ahead = record->at_ms - sure_ms > AHEAD_MS};
    out->day = day_of(view, out);
    out->month = span_month(view->span, out->day);
}

/* The record as `fix` makes it (NULL: as written). A correction that moves `at` answers for it:
 * clock-ahead is measured against when the hub held the correction. */
static enum err
fact_with(const struct view *view, const Knockbox__Record *record, const struct kind *kind,
          int64_t held_ms, const struct fix *fix, struct pool *pool, struct fact *out)
{
    int64_t sure_ms = held_ms;
    if (fix != NULL && fix->body != NULL) {
        record = corrected(view, record, fix, pool);
        if (record == NULL)
            return ERR_MEM;
        if (fix->body->has_at_ms && fix->held_ms > sure_ms)
            sure_ms = fix->held_ms;
    }
    make_fact(view, record, kind, held_ms, sure_ms, out);
    return ERR_OK;
}

static bool
is_outside(const struct view *view, const struct fact *fact)
{
    const int64_t *instants = NULL;
    if (fact->kind->group != KIND_SITE || view->catalogue == NULL)
        return false;
    if (catalogue_instants(view->catalogue, KNOCKBOX__RECORD__BODY_SITE_, fact->site, &instants) ==
        0)
        return strcmp(fact->site, view->own_site) != 0;
    return !catalogue_inside(view->catalogue, fact->site, fact->day);
}

static enum err
fact_of(const struct view *view, const Knockbox__Record *record, int64_t held_ms, struct fact *out)
{
    const struct kind *kind = kind_by_number((uint32_t)record->body_case);
    if (kind == NULL || record->id.len != ID_SIZE)
        return ERR_NOT_FOUND; /* of a later version: it waits for one that knows it */
    make_fact(view, record, kind, held_ms, held_ms, out);
    return ERR_OK;
}

enum err
effect_plain(const struct view *view, const struct stored *stored, struct pool *pool,
             struct fact *out, struct err_text *why)
{
    Knockbox__Record *record = NULL;
    enum err e = pool_decode(pool, stored->bytes, stored->len, &record, why);
    return e == ERR_OK ? fact_of(view, record, stored->held_ms, out) : e;
}

static enum err
decide(const struct view *view, struct gathering *g, struct effect *out, struct err_text *why)
{
    const struct fact plain = out->fact;
    enum err e = gather(g, plain.id, why);
    for (size_t i = 0; i < g->n && e == ERR_OK; i++)
        e = read_body(&g->fixes[i], plain.kind, g->pool);
    if (e != ERR_OK)
        return e;
    out->fixes = g->fixes;
    out->n_fixes = g->n;
    for (size_t i = 0; i < g->n && out->decider == NULL; i++)
        if (!g->fixes[i].unfit)
            out->decider = &g->fixes[i];
    if (out->decider == NULL)
        return ERR_OK;
    out->fix_lsn = out->decider->lsn;
    out->is_void = out->decider->is_void;
    e = fact_with(view, plain.record, plain.kind, plain.held_ms, out->decider, g->pool, &out->fact);
    return e == ERR_OK ? ERR_OK : err_set(e, why, "ledger: out of memory");
}

enum err
effect_from(const struct view *view, const struct fact *plain, uint64_t lsn, struct pool *pool,
            struct effect *out, struct err_text *why)
{
    struct gathering g = {.view = view, .pool = pool};
    *out = (struct effect){.lsn = lsn, .fact = *plain, .first_month = plain->month};
    enum err e = decide(view, &g, out, why);
    if (e != ERR_OK)
        return e;
    out->outside = !out->is_void && is_outside(view, &out->fact);
    out->counts = !out->is_void && !out->outside;
    return ERR_OK;
}

enum err
effect_of(const struct view *view, const struct stored *stored, struct pool *pool,
          struct effect *out, struct err_text *why)
{
    struct fact plain;
    enum err e = effect_plain(view, stored, pool, &plain, why);
    return e == ERR_OK ? effect_from(view, &plain, stored->lsn, pool, out, why) : e;
}

static enum err
load_fix(const struct view *view, uint64_t fix_lsn, const struct kind *kind, struct pool *pool,
         struct fix *out, struct err_text *why)
{
    struct stored stored;
    Knockbox__Record *record = NULL;
    enum err e = store_get(view->store, fix_lsn, &stored, why);
    if (e == ERR_OK)
        e = pool_decode(pool, stored.bytes, stored.len, &record, why);
    if (e != ERR_OK)
        return e;
    *out = (struct fix){
        .record = record, .id = record->id.data, .lsn = fix_lsn, .held_ms = stored.held_ms};
    return read_body(out, kind, pool);
}

/* Records that many subjects share are decoded once and kept for the next of them. */
static enum err
load_plain(const struct view *view, uint64_t lsn, struct pool *pool, struct fact *out,
           struct err_text *why)
{
    struct stored stored;
    const struct pool_slot *slot = pool_kept(pool, lsn);
    if (slot != NULL)
        return fact_of(view, slot->record, slot->held_ms, out);
    enum err e = store_get(view->store, lsn, &stored, why);
    if (e != ERR_OK)
        return e;
    Knockbox__Record *record = NULL;
    e = pool_decode_kept(pool, lsn, stored.held_ms, stored.bytes, stored.len, &record, why);
    return e == ERR_OK ? fact_of(view, record, stored.held_ms, out) : e;
}

enum err
effect_load(const struct view *view, uint64_t lsn, uint64_t fix_lsn, struct pool *pool,
            struct fact *out, struct err_text *why)
{
    struct fix fix;
    enum err e = load_plain(view, lsn, pool, out, why);
    if (e != ERR_OK || fix_lsn == 0)
        return e;
    struct fact plain = *out;
    e = load_fix(view, fix_lsn, plain.kind, pool, &fix, why);
    if (e == ERR_OK)
        e = fact_with(view, plain.record, plain.kind, plain.held_ms, &fix, pool, out);
    return e;
}

enum err
effect_root(const struct view *view, const uint8_t target[ID_SIZE], struct pool *pool,
            struct stored *out_root, struct err_text *why)
{
    uint8_t id[ID_SIZE];
    memcpy(id, target, sizeof id);
    for (int i = 0; i < CHAIN_MOST; i++) {
        Knockbox__Record *record = NULL;
        enum err e = view_find(view, id, out_root, why);
        if (e == ERR_OK)
            e = pool_decode(pool, out_root->bytes, out_root->len, &record, why);
        if (e != ERR_OK || record->body_case != KNOCKBOX__RECORD__BODY_CORRECT)
            return e;
        memcpy(id, record->correct->record.data, sizeof id);
    }
    return ERR_NOT_FOUND; /* they name each other in a ring */
}

int32_t
day_seen(const struct view *view, const struct fact *fact)
{
    if (!fact->clock_ahead)
        return fact->day;
    return catalogue_business_day(view->catalogue, fact->site, fact->held_ms, fact->offset_min);
}
