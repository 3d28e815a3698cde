/* late.c - what came after its month was closed, report rule R7.
 *
 * A record whose month m is closed at T and that was held after T is in no total of m; it is
 * listed in the first month after m that was not closed yet when it was held.
 */
#include <stdlib.h>
#include <string.h>
#include "daemon/ledger/ledger_int.h"
#include "proto/when.h"

struct search {
    const struct view *view;
    const struct fact_list *closings; /* that the view knows */
    int32_t month;                    /* the one that lists */
    int32_t closed;                   /* the month looked at, closed at */
    int64_t closed_ms;
    struct pool pool, passing;
    struct fact_list found;
};

static bool
closed_before(const struct fact_list *closings, int32_t month, int64_t held_ms)
{
    for (size_t i = 0; i < closings->n; i++) {
        const struct fact *fact = &closings->at[i];
        int32_t closed = 0;
        if (fact->record->body_case == KNOCKBOX__RECORD__BODY_PERIOD_CLOSE &&
            fact->held_ms < held_ms && month_parse(fact->record->period_close->month, &closed) &&
            closed == month)
            return true;
    }
    return false;
}

static int32_t
listing_month(const struct fact_list *closings, int32_t closed, int64_t held_ms)
{
    int32_t month = closed + 1;
    while (closed_before(closings, month, held_ms))
        month++;
    return month;
}

static bool
listed_here(const struct search *s, int64_t held_ms)
{
    return held_ms > s->closed_ms && held_ms <= s->view->held_most &&
           listing_month(s->closings, s->closed, held_ms) == s->month;
}

/* ---- records */

static enum err
try_record(struct search *s, uint64_t lsn, struct err_text *why)
{
    struct stored stored;
    struct effect effect;
    enum err e = view_get(s->view, lsn, &stored, why);
    if (e != ERR_OK)
        return e == ERR_NOT_FOUND ? ERR_OK : e;
    e = effect_of(s->view, &stored, &s->pool, &effect, why);
    if (e != ERR_OK)
        return e == ERR_NOT_FOUND ? ERR_OK : e;
    if (!effect.counts || effect.fact.month != s->closed || effect.fact.kind->group != KIND_SITE ||
        effect.fact.record->body_case == KNOCKBOX__RECORD__BODY_CORRECT)
        return ERR_OK;
    return fact_list_add(&s->found, &effect.fact, why);
}

static enum err
try_lag(void *owner, const uint8_t *key, size_t key_len, const uint8_t *value, size_t value_len,
        struct err_text *why)
{
    struct search *s = owner;
    if (key_len != 4 + 8 + ID_SIZE || value_len != 8)
        return err_set(ERR_DAMAGED, why, "ledger: a row of late records is damaged");
    if (!listed_here(s, get_i64(key + 4)))
        return ERR_OK;
    return try_record(s, (uint64_t)get_i64(value), why);
}

/* A month that was closed before it had ended: its table of late records is not complete. */
static enum err
try_all(struct search *s, struct err_text *why)
{
    struct store_walk *walk = NULL;
    struct stored stored;
    struct fact fact;
    enum err e = store_walk_open(s->view->store, 1, &walk, why);
    while (e == ERR_OK && (e = store_next(walk, &stored, why)) == ERR_OK) {
        uint64_t lsn = 0;
        if (stored.lsn > s->view->lsn_most || !listed_here(s, stored.held_ms))
            continue;
        if (store_find_id(s->view->store, stored.id, &lsn, NULL) != ERR_OK || lsn != stored.lsn)
            continue;
        pool_reset(&s->passing);
        e = effect_plain(s->view, &stored, &s->passing, &fact, why);
        if (e == ERR_OK && fact.kind->group == KIND_SITE)
            e = try_record(s, stored.lsn, why);
        else if (e == ERR_NOT_FOUND)
            e = ERR_OK;
    }
    store_walk_close(walk);
    return e == ERR_NOT_FOUND ? ERR_OK : e;
}

/* Records that the view sees otherwise than the table has them. */
static enum err
try_hidden(struct search *s, struct err_text *why)
{
    const struct overlay *o = s->view->overlay;
    enum err e = ERR_OK;
    for (size_t i = 0; o != NULL && i < o->n_hidden && e == ERR_OK; i++) {
        struct stored stored;
        e = view_get(s->view, o->hidden[i].lsn, &stored, why);
        if (e == ERR_OK && listed_here(s, stored.held_ms))
            e = try_record(s, o->hidden[i].lsn, why);
        else if (e == ERR_NOT_FOUND)
            e = ERR_OK;
    }
    return e;
}

static enum err
search_month(struct search *s, struct err_text *why)
{
    struct key prefix = {.n = 0, .over = false};
    if (s->closed_ms < (int64_t)month_first_day(s->closed + 1) * 86400000 - INT64_C(14) * 3600000)
        return try_all(s, why);
    key_month(&prefix, s->closed);
    enum err e = table_walk(s->view->kv, s->view->tables->lags, &prefix, try_lag, s, why);
    return e == ERR_OK ? try_hidden(s, why) : e;
}

/* ---- corrections */

static bool
is_closed(struct search *s, int32_t month)
{
    struct closing closing;
    if (!closing_of(s->closings, month, &closing))
        return false;
    s->closed = month;
    s->closed_ms = closing.held_ms;
    return true;
}

static enum err
keep_correction(struct search *s, const struct stored *stored, struct err_text *why)
{
    struct fact fact;
    enum err e = effect_plain(s->view, stored, &s->pool, &fact, why);
    if (e != ERR_OK)
        return e;
    fact.month = s->closed;
    return fact_list_add(&s->found, &fact, why);
}

/* Of the record that it means, the month before and after. */
static enum err
months_of(struct search *s, const uint8_t target[ID_SIZE], int32_t out_months[2],
          struct err_text *why)
{
    struct stored root;
    struct effect effect;
    enum err e = effect_root(s->view, target, &s->passing, &root, why);
    if (e == ERR_OK)
        e = effect_of(s->view, &root, &s->passing, &effect, why);
    if (e == ERR_OK && effect.fact.kind->group != KIND_SITE)
        e = ERR_NOT_FOUND;
    if (e == ERR_OK) {
        out_months[0] = effect.first_month;
        out_months[1] = effect.fact.month;
    }
    return e;
}

static enum err
try_fix(void *owner, const uint8_t *key, size_t key_len, const uint8_t *value, size_t value_len,
        struct err_text *why)
{
    struct search *s = owner;
    struct stored stored;
    uint8_t target[ID_SIZE];
    int32_t months[2];
    if (key_len != (size_t)2 * ID_SIZE || value_len != 8)
        return err_set(ERR_DAMAGED, why, "ledger: a row of corrections is damaged");
    memcpy(target, key, sizeof target);
    uint64_t lsn = (uint64_t)get_i64(value);
    pool_reset(&s->passing);
    enum err e = months_of(s, target, months, why);
    if (e == ERR_OK)
        e = view_get(s->view, lsn, &stored, why);
    for (int i = 0; i < 2 && e == ERR_OK; i++)
        if (is_closed(s, months[i]) && listed_here(s, stored.held_ms))
            return keep_correction(s, &stored, why);
    return e == ERR_NOT_FOUND ? ERR_OK : e;
}

/* ---- all */

static int
compare_found(const void *a, const void *b)
{
    return memcmp(((const struct fact *)a)->id, ((const struct fact *)b)->id, ID_SIZE);
}

static enum err
search_all(struct search *s, struct err_text *why)
{
    struct key all = {.n = 0, .over = false};
    int32_t first = INT32_MAX;
    for (size_t i = 0; i < s->closings->n; i++) {
        const Knockbox__Record *record = s->closings->at[i].record;
        int32_t month = 0;
        if (record->body_case == KNOCKBOX__RECORD__BODY_PERIOD_CLOSE &&
            month_parse(record->period_close->month, &month) && month < first)
            first = month;
    }
    enum err e = ERR_OK;
    for (int32_t month = first; month < s->month && e == ERR_OK; month++)
        if (is_closed(s, month))
            e = search_month(s, why);
    return e == ERR_OK ? table_walk(s->view->kv, s->view->tables->fixes, &all, try_fix, s, why) : e;
}

static enum err
search_view(const struct view *view, const struct fact_list *closings, int32_t month,
            ledger_fact_visit *visit, void *owner, struct err_text *why)
{
    struct search s = {.view = view, .closings = closings, .month = month};
    enum err e = search_all(&s, why);
    if (s.found.n > 1)
        qsort(s.found.at, s.found.n, sizeof *s.found.at, compare_found);
    for (size_t i = 0; i < s.found.n && e == ERR_OK; i++) {
        if (i > 0 && compare_found(&s.found.at[i - 1], &s.found.at[i]) == 0)
            continue; /* in the table and hidden */
        if (!visit(owner, &s.found.at[i]))
            break;
    }
    fact_list_done(&s.found);
    pool_done(&s.pool);
    pool_done(&s.passing);
    return e;
}

/* The closings that were held up to `held_most`. */
static void
cut_closings(struct fact_list *closings, int64_t held_most)
{
    size_t n = 0;
    while (n < closings->n && closings->at[n].held_ms <= held_most)
        n++;
    closings->n = n;
}

static enum err
search_then(struct ledger *ledger, const struct view *now, int64_t held_most,
            struct fact_list *closings, int32_t month, ledger_fact_visit *visit, void *owner,
            struct err_text *why)
{
    struct as_of then;
    cut_closings(closings, held_most);
    if (held_most >= ledger->held_last)
        return search_view(now, closings, month, visit, owner, why);
    enum err e = as_of_init(ledger, now, held_most, &then, why);
    if (e != ERR_OK)
        return e;
    e = search_view(&then.view, closings, month, visit, owner, why);
    as_of_done(&then);
    return e;
}

enum err
ledger_late(struct ledger *ledger, int32_t month, ledger_fact_visit *visit, void *owner,
            struct err_text *why)
{
    struct view view;
    struct pool pool = {.n = 0};
    struct fact_list closings = {.n = 0};
    struct closing own;
    enum err e = ledger_look(ledger, &view, why);
    if (e != ERR_OK)
        return e;
    e = load_closings(&view, &pool, &closings, why);
    if (e == ERR_OK) {
        bool closed = closing_of(&closings, month, &own);
        e = search_then(ledger, &view, closed ? own.held_ms : INT64_MAX, &closings, month, visit,
                        owner, why);
    }
    fact_list_done(&closings);
    pool_done(&pool);
    ledger_look_end(ledger);
    return e;
}
