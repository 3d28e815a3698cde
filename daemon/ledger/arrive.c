/* arrive.c - records into the index of facts, one at a time, in order of arrival.
 *
 * What stands in the index is always what follows from the records taken in so far. A record that
 * changes how another counts (a correction) takes that one's entries out as it counted before and
 * puts them in as it counts now.
 */
#include <string.h>
#include "daemon/ledger/ledger_int.h"
#include "proto/when.h"

/* An effect on its way into the index (put) or out of it. */
struct placing {
    struct ledger *ledger;
    const struct view *view;
    const struct effect *effect;
    bool put;
    unsigned subjects;
    struct err_text *why;
};

static enum err
place_row(struct placing *p, const struct key *key)
{
    uint8_t value[ENTRY_VALUE];
    const struct tables *t = &p->ledger->tables;
    struct sorter *sorter = p->ledger->sorter;
    if (!p->put)
        return kv_del(p->view->kv, t->facts, key->bytes, key->n, p->why);
    size_t len = entry_value(p->effect, value);
    if (sorter == NULL)
        return kv_put(p->view->kv, t->facts, key->bytes, key->n, value, len, false, p->why);
    if (sorter_add(sorter, key->bytes, key->n, value, len))
        return ERR_OK;
    enum err e = sorter_flush(sorter, p->view->kv, t->facts, SIZE_MAX, p->why);
    if (e == ERR_OK)
        (void)sorter_add(sorter, key->bytes, key->n, value, len);
    return e;
}

static enum err
mark(struct ledger *ledger, enum subject_class class, const char *code, struct err_text *why)
{
    return ledger->rebuilding ? ERR_OK : set_add(&ledger->dirty, class, code, why);
}

static enum err
place_subject(void *owner, enum subject_class class, const char *code)
{
    struct placing *p = owner;
    struct key key = entry_key(class, code, p->effect);
    if (key.over || strlen(code) >= SUBJECT_CODE_MAX)
        return ERR_OK;
    p->subjects++;
    enum err e = place_row(p, &key);
    return e == ERR_OK ? mark(p->ledger, class, code, p->why) : e;
}

static enum err
count_record(struct placing *p)
{
    char day[DAY_TEXT];
    const struct fact *fact = &p->effect->fact;
    if (p->subjects == 0 || fact->kind->group != KIND_SITE)
        return ERR_OK;
    int32_t seen = day_seen(p->view, fact);
    struct posting posting = {MEASURE_RECORDS, month_of_day(seen), fact->site, day_print(seen, day),
                              p->put ? 1 : -1};
    return books_post(p->ledger->delta, &posting, p->why);
}

/* ---- subjects that a stocktake could touch without listing them */

struct marking {
    struct ledger *ledger;
    int64_t at_ms;
    size_t skip; /* of the key: class and site */
};

static enum err
mark_stay(void *owner, const uint8_t *key, size_t key_len, const uint8_t *value, size_t value_len,
          struct err_text *why)
{
    struct marking *m = owner;
    char code[SUBJECT_CODE_MAX];
    size_t head = m->skip + (size_t)2 * INSTANT_KEY;
    (void)value;
    (void)value_len;
    if (key_len <= head || key_len - head >= sizeof code)
        return err_set(ERR_DAMAGED, why, "ledger: a row of stays is damaged");
    if (get_instant(key + m->skip + INSTANT_KEY) > m->at_ms)
        return ERR_OK;
    memcpy(code, key + head, key_len - head);
    code[key_len - head] = '\0';
    return set_add(&m->ledger->dirty, (enum subject_class)key[0], code, why);
}

/* Walks the stays of a site that end at or after the count. */
static enum err
mark_stays(struct placing *p, enum subject_class class, const char *site)
{
    struct marking m = {p->ledger, p->effect->fact.at_ms, 0};
    struct kv_walk *walk = NULL;
    MDB_val key, value;
    struct key from = key_subject(class, site);
    m.skip = from.n;
    key_instant(&from, m.at_ms);
    enum err e =
        kv_walk_open(p->view->kv, p->ledger->tables.stays, from.bytes, from.n, &walk, p->why);
    while (e == ERR_OK && (e = kv_next(walk, &key, &value, p->why)) == ERR_OK) {
        if (key.mv_size < m.skip || memcmp(key.mv_data, from.bytes, m.skip) != 0)
            break;
        e = mark_stay(&m, key.mv_data, key.mv_size, value.mv_data, value.mv_size, p->why);
    }
    kv_walk_close(walk);
    return e == ERR_NOT_FOUND ? ERR_OK : e;
}

static enum err
place_count(struct placing *p)
{
    const struct fact *fact = &p->effect->fact;
    if (fact->record->body_case != KNOCKBOX__RECORD__BODY_STOCKTAKE)
        return ERR_OK;
    p->ledger->counts_stale = true;
    if (p->ledger->rebuilding)
        return ERR_OK;
    const Knockbox__Stocktake *body = fact->record->stocktake;
    const Knockbox__Place *place = (const Knockbox__Place *)catalogue_get(
        p->view->catalogue, KNOCKBOX__RECORD__BODY_PLACE, body->place, fact->day);
    enum err e = ERR_OK;
    if (body->tubs != NULL)
        e = mark_stays(p, SUBJECT_TUB, place != NULL ? place->for_site : fact->site);
    if (e == ERR_OK && body->bottles != NULL)
        e = mark_stays(p, SUBJECT_LOT, fact->site);
    return e;
}

/* ---- records held after their month, for ledger_late() */

/* Midnight UTC of the next month less 14 h: before that the month has not ended anywhere, and a
 * month that is closed earlier than that is looked through whole. */
static bool
may_be_late(const struct fact *fact, int32_t month)
{
    return fact->held_ms >= (int64_t)month_first_day(month + 1) * 86400000 - INT64_C(14) * 3600000;
}

static enum err
place_lag(struct placing *p, int32_t month)
{
    uint8_t value[8];
    const struct fact *fact = &p->effect->fact;
    if (fact->kind->group != KIND_SITE || !may_be_late(fact, month))
        return ERR_OK;
    struct key key = {.n = 0, .over = false};
    key_month(&key, month);
    key_number(&key, fact->held_ms);
    key_bytes(&key, fact->id, ID_SIZE);
    MDB_dbi lags = p->ledger->tables.lags;
    if (!p->put)
        return kv_del(p->view->kv, lags, key.bytes, key.n, p->why);
    put_i64(value, (int64_t)p->effect->lsn);
    return table_put(p->view->kv, p->ledger->lags, lags, &key, value, sizeof value, p->why);
}

static enum err
place_lags(struct placing *p)
{
    enum err e = place_lag(p, p->effect->fact.month);
    if (e == ERR_OK && p->effect->first_month != p->effect->fact.month)
        e = place_lag(p, p->effect->first_month);
    return e;
}

/* ---- one effect */

static bool
same_text(const char *a, const char *b)
{
    return a == NULL || b == NULL ? a == b : strcmp(a, b) == 0;
}

/* Do two versions of a site give every record the same day, boundary and money? */
static bool
same_for_books(const Knockbox__Site *a, const Knockbox__Site *b)
{
    return a->role == b->role && same_text(a->zone, b->zone) &&
           same_text(a->day_start, b->day_start) && same_text(a->currency, b->currency) &&
           a->has_joined == b->has_joined && a->joined == b->joined && a->has_left == b->has_left &&
           a->left == b->left && a->has_from == b->has_from && a->from == b->from;
}

/* Must all be built anew for this version of a site? Not for a café that nothing is held of yet,
 * nor for another telephone number. In doubt: yes. */
static enum err
site_matters(const struct placing *p, bool *out_matters)
{
    const Knockbox__Site *site = p->effect->fact.record->site_;
    const int64_t *instants = NULL;
    size_t n_logs = 0;
    *out_matters = true;
    if (!p->put || p->effect->n_fixes > 0 || p->ledger->catalogue_stale ||
        site->role == KNOCKBOX__ROLE__ROLE_KITCHEN || strcmp(site->code, p->view->own_site) == 0)
        return ERR_OK;
    if (catalogue_instants(p->view->catalogue, KNOCKBOX__RECORD__BODY_SITE_, site->code,
                           &instants) > 0) {
        const Knockbox__Site *old = (const Knockbox__Site *)catalogue_get(
            p->view->catalogue, KNOCKBOX__RECORD__BODY_SITE_, site->code, INT32_MAX);
        *out_matters = old == NULL || !same_for_books(old, site);
        return ERR_OK;
    }
    enum err e = store_marks(p->view->store, site->code, NULL, 0, &n_logs, p->why);
    *out_matters = n_logs > 0;
    return e;
}

static enum err
mark_catalogue(struct placing *p)
{
    struct ledger *ledger = p->ledger;
    int classes = subjects_touched(p->effect->fact.kind->number);
    bool all = classes == SUBJECTS_ALL;
    enum err e = all ? site_matters(p, &all) : ERR_OK;
    ledger->catalogue_stale = true;
    if (all)
        ledger->index_stale = true;
    else if (classes == SUBJECTS_ALL)
        ledger->site_new = true;
    else
        ledger->dirty_classes |= classes;
    return e;
}

static enum err
place_act(struct placing *p)
{
    uint8_t value[8];
    const struct fact *fact = &p->effect->fact;
    struct ledger *ledger = p->ledger;
    if (ledger->rebuilding) /* arrive_early() has put it, the catalogue has it */
        return ERR_OK;
    enum err e = mark_catalogue(p);
    if (fact->kind->number == KNOCKBOX__RECORD__BODY_PERIOD_CLOSE ||
        fact->kind->number == KNOCKBOX__RECORD__BODY_RESTATE)
        ledger->closing_ms = fact->held_ms;
    if (e != ERR_OK)
        return e;
    put_i64(value, (int64_t)p->effect->lsn);
    return kv_put(p->view->kv, ledger->tables.acts, fact->id, ID_SIZE, value, sizeof value, false,
                  p->why);
}

static enum err
place(struct ledger *ledger, const struct view *view, const struct effect *effect, bool put,
      struct err_text *why)
{
    struct placing p = {ledger, view, effect, put, 0, why};
    const struct fact *fact = &effect->fact;
    enum err e = ERR_OK;
    if (fact->kind->group != KIND_SITE)
        e = place_act(&p);
    if (e == ERR_OK)
        e = place_lags(&p);
    if (e != ERR_OK || !effect->counts)
        return e;
    e = subjects_visit(fact->record, fact->day, place_subject, &p);
    if (e == ERR_OK)
        e = count_record(&p);
    return e == ERR_OK ? place_count(&p) : e;
}

static enum err
mark_record(struct ledger *ledger, const uint8_t id[ID_SIZE], struct err_text *why)
{
    char text[ID_TEXT];
    return set_add(&ledger->dirty, SUBJECT_RECORD, id_print(id, text), why);
}

/* ---- corrections */

struct following {
    struct ledger *ledger;
    const struct view *view;
    unsigned depth;
};

static enum err mark_follower(void *owner, const uint8_t *key, size_t key_len, const uint8_t *value,
                              size_t value_len, struct err_text *why);

/* Everything that corrects `id`, and what corrects that, is told of again. */
static enum err
mark_followers(struct following *f, const uint8_t id[ID_SIZE], struct err_text *why)
{
    struct key prefix = {.n = 0, .over = false};
    key_bytes(&prefix, id, ID_SIZE);
    return table_walk(f->view->kv, f->ledger->tables.fixes, &prefix, mark_follower, f, why);
}

static enum err
mark_follower(void *owner, const uint8_t *key, size_t key_len, const uint8_t *value,
              size_t value_len, struct err_text *why)
{
    struct following *f = owner;
    (void)value;
    (void)value_len;
    if (key_len != (size_t)2 * ID_SIZE || f->depth >= 64)
        return ERR_OK;
    uint8_t id[ID_SIZE];
    memcpy(id, key + ID_SIZE, sizeof id);
    enum err e = mark_record(f->ledger, id, why);
    f->depth++;
    if (e == ERR_OK)
        e = mark_followers(f, id, why);
    f->depth--;
    return e;
}

static enum err
put_fix(struct ledger *ledger, const struct view *view, const struct fact *fact, uint64_t lsn,
        struct err_text *why)
{
    uint8_t value[8];
    struct key key = {.n = 0, .over = false};
    key_bytes(&key, fact->record->correct->record.data, ID_SIZE);
    key_bytes(&key, fact->id, ID_SIZE);
    put_i64(value, (int64_t)lsn);
    hints_add(&ledger->hints, fact->record->correct->record.data);
    return kv_put(view->kv, ledger->tables.fixes, key.bytes, key.n, value, sizeof value, false,
                  why);
}

/* Takes the record's entries out, or puts them in, as it counts with the corrections in `fixes`. */
static enum err
place_root(struct ledger *ledger, const struct view *view, uint64_t lsn, bool put,
           struct err_text *why)
{
    struct stored stored;
    struct effect effect;
    enum err e = store_get(view->store, lsn, &stored, why);
    if (e == ERR_OK)
        e = effect_of(view, &stored, &ledger->pool, &effect, why);
    if (e == ERR_NOT_FOUND)
        return ERR_OK; /* of a kind that a later version knows */
    return e == ERR_OK ? place(ledger, view, &effect, put, why) : e;
}

static enum err
arrive_fix(struct ledger *ledger, const struct view *view, const struct fact *fact, uint64_t lsn,
           struct err_text *why)
{
    uint8_t id[ID_SIZE];
    struct stored root;
    struct following following = {ledger, view, 0};
    memcpy(id, fact->id, sizeof id);
    if (fact->record->correct->record.len != ID_SIZE)
        return ERR_OK;
    enum err e = effect_root(view, fact->record->correct->record.data, &ledger->pool, &root, why);
    bool known = e == ERR_OK;
    uint64_t root_lsn = known ? root.lsn : 0;
    uint8_t root_id[ID_SIZE];
    if (known)
        memcpy(root_id, root.id, sizeof root_id);
    if (e == ERR_NOT_FOUND)
        e = ERR_OK;
    if (e == ERR_OK && known)
        e = place_root(ledger, view, root_lsn, false, why);
    if (e == ERR_OK)
        e = put_fix(ledger, view, fact, lsn, why);
    if (e == ERR_OK && known)
        e = place_root(ledger, view, root_lsn, true, why);
    if (e == ERR_OK && known)
        e = mark_record(ledger, root_id, why);
    if (e == ERR_OK)
        e = mark_record(ledger, id, why);
    return e == ERR_OK ? mark_followers(&following, id, why) : e;
}

/* ---- arrivals */

/* The same id may stand in two logs (after a fork): the first to arrive counts. */
static bool
is_repeat(const struct ledger *ledger, const struct view *view, const struct stored *stored)
{
    uint64_t lsn = 0;
    if (ledger->rebuilding && ledger->ids_unique)
        return false;
    return store_find_id(view->store, stored->id, &lsn, NULL) == ERR_OK && lsn != stored->lsn;
}

static enum err
read_plain(struct ledger *ledger, const struct view *view, const struct stored *stored,
           struct fact *out, struct err_text *why)
{
    pool_reset(&ledger->pool);
    return effect_plain(view, stored, &ledger->pool, out, why);
}

static bool
has_more_to_say(const struct effect *effect)
{
    return effect->outside || effect->n_fixes > 0 || effect->fact.clock_ahead;
}

static enum err
arrive_fact(struct ledger *ledger, const struct view *view, const struct fact *plain, uint64_t lsn,
            struct err_text *why)
{
    struct effect effect;
    struct following following = {ledger, view, 0};
    enum err e = effect_from(view, plain, lsn, &ledger->pool, &effect, why);
    if (e == ERR_OK)
        e = place(ledger, view, &effect, true, why);
    if (e == ERR_OK && has_more_to_say(&effect))
        e = mark_record(ledger, effect.fact.id, why);
    if (e == ERR_OK && effect.n_fixes > 0)
        e = mark_followers(&following, effect.fact.id, why);
    return e;
}

static void
note_held(struct ledger *ledger, const struct stored *stored)
{
    if (stored->held_ms > ledger->held_last)
        ledger->held_last = stored->held_ms;
    if (stored->held_ms < ledger->held_least)
        ledger->held_least = stored->held_ms;
}

/* Waits for a release that knows it, which folds all anew. */
static enum err
unknown(struct ledger *ledger)
{
    ledger->unknown++;
    return ERR_OK;
}

enum err
arrive(struct ledger *ledger, const struct view *view, const struct stored *stored,
       struct err_text *why)
{
    struct fact fact;
    note_held(ledger, stored);
    if (is_repeat(ledger, view, stored))
        return ERR_OK;
    enum err e = read_plain(ledger, view, stored, &fact, why);
    if (e == ERR_NOT_FOUND)
        return unknown(ledger);
    if (e != ERR_OK)
        return e;
    if (fact.record->body_case == KNOCKBOX__RECORD__BODY_CORRECT)
        return arrive_fix(ledger, view, &fact, stored->lsn, why);
    return arrive_fact(ledger, view, &fact, stored->lsn, why);
}

enum err
arrive_early(struct ledger *ledger, const struct view *view, const struct stored *stored,
             struct err_text *why)
{
    struct fact fact;
    uint8_t value[8];
    note_held(ledger, stored);
    const struct kind *kind = kind_by_number(lean_kind(stored->bytes, stored->len));
    if (kind == NULL)
        return ERR_OK;
    bool fix = kind->number == KNOCKBOX__RECORD__BODY_CORRECT;
    if ((!fix && kind->group == KIND_SITE) || is_repeat(ledger, view, stored))
        return ERR_OK;
    enum err e = read_plain(ledger, view, stored, &fact, why);
    if (e != ERR_OK)
        return e == ERR_NOT_FOUND ? ERR_OK : e;
    if (fix)
        return fact.record->correct->record.len == ID_SIZE
                   ? put_fix(ledger, view, &fact, stored->lsn, why)
                   : ERR_OK;
    put_i64(value, (int64_t)stored->lsn);
    return kv_put(view->kv, ledger->tables.acts, fact.id, ID_SIZE, value, sizeof value, false, why);
}

enum err
arrive_final(struct ledger *ledger, const struct view *view, const struct stored *stored,
             struct err_text *why)
{
    struct fact fact;
    struct effect effect;
    if (is_repeat(ledger, view, stored))
        return ERR_OK;
    enum err e = read_plain(ledger, view, stored, &fact, why);
    if (e != ERR_OK)
        return e == ERR_NOT_FOUND ? unknown(ledger) : e;
    if (fact.record->body_case == KNOCKBOX__RECORD__BODY_CORRECT)
        return mark_record(ledger, fact.id, why);
    e = effect_from(view, &fact, stored->lsn, &ledger->pool, &effect, why);
    if (e == ERR_OK)
        e = place(ledger, view, &effect, true, why);
    if (e == ERR_OK && has_more_to_say(&effect))
        e = mark_record(ledger, effect.fact.id, why);
    return e;
}
