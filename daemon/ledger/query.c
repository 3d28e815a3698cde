/* query.c - what others read: rows, facts, corrections, closings, the digest.
 */
#include <sodium.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/ledger/kept.h"
#include "daemon/ledger/ledger_int.h"
#include "proto/when.h"

/* ---- rows */

struct reading {
    enum subject_class class;
    ledger_visit *visit;
    void *owner;
    struct arena arena;
};

/* The row inside a packed outcome. false: it has none. */
static bool
find_row(const uint8_t *bytes, size_t len, struct outcome_item *out)
{
    struct outcome_reader reader;
    outcome_read(&reader, bytes, len);
    while (outcome_next(&reader, out))
        if (out->type == OUTCOME_ROW)
            return true;
    return false;
}

static enum err
decode_row(enum subject_class class, const struct outcome_item *item, struct arena *arena,
           ProtobufCMessage **out_row, struct err_text *why)
{
    const struct class_row *row = class_row(class);
    if (row == NULL || row->row == NULL)
        return ERR_NOT_FOUND;
    return codec_decode_trusted(row->row, item->bytes, item->len, arena, out_row, why);
}

static enum err
read_row(void *owner, const uint8_t *key, size_t key_len, const uint8_t *value, size_t value_len,
         struct err_text *why)
{
    struct reading *r = owner;
    struct outcome_item item;
    ProtobufCMessage *row = NULL;
    char code[SUBJECT_CODE_MAX];
    if (key_len - 1 >= sizeof code)
        return err_set(ERR_DAMAGED, why, "ledger: a row is damaged");
    if (!find_row(value, value_len, &item))
        return ERR_OK;
    memcpy(code, key + 1, key_len - 1);
    code[key_len - 1] = '\0';
    arena_reset(&r->arena);
    enum err e = decode_row(r->class, &item, &r->arena, &row, why);
    if (e == ERR_OK && !r->visit(r->owner, code, row))
        return ERR_NOT_FOUND;
    return e;
}

enum err
ledger_rows(struct ledger *ledger, enum subject_class class, ledger_visit *visit, void *owner,
            struct err_text *why)
{
    struct view view;
    struct reading r = {.class = class, .visit = visit, .owner = owner};
    enum err e = ledger_look(ledger, &view, why);
    if (e != ERR_OK)
        return e;
    e = arena_init(&r.arena, (size_t)ARENA_BIG_RECORD * 4, why);
    if (e == ERR_OK) {
        struct key prefix = key_row(class, "");
        e = table_walk(view.kv, view.tables->rows, &prefix, read_row, &r, why);
        arena_done(&r.arena);
    }
    ledger_look_end(ledger);
    return e;
}

enum err
ledger_row(struct ledger *ledger, enum subject_class class, const char *code, struct arena *arena,
           ProtobufCMessage **out_row, struct err_text *why)
{
    struct view view;
    MDB_val value;
    struct outcome_item item;
    struct key key = key_row(class, code);
    if (key.over)
        return ERR_NOT_FOUND;
    enum err e = ledger_look(ledger, &view, why);
    if (e != ERR_OK)
        return e;
    e = kv_get(view.kv, view.tables->rows, key.bytes, key.n, &value, why);
    if (e == ERR_OK && !find_row(value.mv_data, value.mv_size, &item))
        e = ERR_NOT_FOUND;
    if (e == ERR_OK)
        e = decode_row(class, &item, arena, out_row, why);
    ledger_look_end(ledger);
    return e;
}

/* ---- lines */

struct line_reading {
    books_visit *visit;
    void *owner;
    bool enough;
};

static enum err
see_line(void *owner, const uint8_t *key, size_t key_len, const uint8_t *value, size_t value_len,
         struct err_text *why)
{
    struct line_reading *r = owner;
    char text[TABLE_KEY_MAX + 1];
    struct posting line;
    enum err e = line_read(key, key_len, value, value_len, text, &line, why);
    if (e == ERR_OK && !r->visit(r->owner, &line)) {
        r->enough = true;
        return ERR_NOT_FOUND;
    }
    return e;
}

enum err
ledger_lines(struct ledger *ledger, enum measure measure, int32_t first, int32_t last,
             books_visit *visit, void *owner, struct err_text *why)
{
    struct view view;
    struct line_reading r = {.visit = visit, .owner = owner};
    enum err e = ledger_look(ledger, &view, why);
    if (e != ERR_OK)
        return e;
    for (int32_t month = first; month <= last && e == ERR_OK && !r.enough; month++) {
        struct key prefix = {.n = 0, .over = false};
        key_byte(&prefix, (uint8_t)measure);
        key_month(&prefix, month);
        e = table_walk(view.kv, view.tables->lines, &prefix, see_line, &r, why);
    }
    ledger_look_end(ledger);
    return e;
}

/* ---- facts */

static enum err
visit_facts(const struct view *view, enum subject_class class, const char *code,
            ledger_fact_visit *visit, void *owner, struct err_text *why)
{
    struct pool pool = {.n = 0};
    struct fact_list list = {.n = 0};
    enum err e = facts_load(view, class, code, 0, &pool, &list, why);
    for (size_t i = 0; i < list.n && e == ERR_OK; i++)
        if (!visit(owner, &list.at[i]))
            break;
    fact_list_done(&list);
    pool_done(&pool);
    return e;
}

enum err
ledger_facts(struct ledger *ledger, enum subject_class class, const char *code,
             int64_t held_most_ms, ledger_fact_visit *visit, void *owner, struct err_text *why)
{
    struct view view;
    struct as_of then;
    enum err e = ledger_look(ledger, &view, why);
    if (e != ERR_OK)
        return e;
    if (held_most_ms >= ledger->held_last) {
        e = visit_facts(&view, class, code, visit, owner, why);
    } else {
        e = as_of_init(ledger, &view, held_most_ms, &then, why);
        if (e == ERR_OK) {
            e = visit_facts(&then.view, class, code, visit, owner, why);
            as_of_done(&then);
        }
    }
    ledger_look_end(ledger);
    return e;
}

enum err
ledger_facts_so_far(struct ledger *ledger, enum subject_class class, const char *code,
                    ledger_fact_visit *visit, void *owner, struct err_text *why)
{
    struct view view;
    enum err e = ledger_look_back(ledger, &view, why);
    if (e != ERR_OK)
        return e;
    e = visit_facts(&view, class, code, visit, owner, why);
    ledger_look_end(ledger);
    return e;
}

/* ---- corrections */

static enum err
read_correction(const struct view *view, const uint8_t record[ID_SIZE], struct correction *out,
                struct err_text *why)
{
    struct pool pool = {.n = 0};
    struct stored stored;
    struct effect effect;
    enum err e = view_find(view, record, &stored, why);
    if (e == ERR_OK)
        e = effect_of(view, &stored, &pool, &effect, why);
    if (e == ERR_OK && effect.decider == NULL)
        e = ERR_NOT_FOUND;
    if (e == ERR_OK) {
        const char *reason = effect.decider->record->correct->reason;
        size_t len = reason != NULL ? strlen(reason) : 0;
        if (len >= sizeof out->reason)
            len = sizeof out->reason - 1;
        memcpy(out->by, effect.decider->id, ID_SIZE);
        out->is_void = effect.is_void;
        memcpy(out->reason, reason != NULL ? reason : "", len);
        out->reason[len] = '\0';
    }
    pool_done(&pool);
    return e;
}

enum err
ledger_correction(struct ledger *ledger, const uint8_t record[16], int64_t held_most_ms,
                  struct correction *out_correction, struct err_text *why)
{
    struct view view;
    enum err e = ledger_look(ledger, &view, why);
    if (e != ERR_OK)
        return e;
    view.held_most = held_most_ms;
    e = read_correction(&view, record, out_correction, why);
    ledger_look_end(ledger);
    return e;
}

static enum err
show_corrected(const struct view *view, const uint8_t record[ID_SIZE],
               ledger_corrected_visit *visit, void *owner, struct err_text *why)
{
    struct pool pool = {.n = 0};
    struct stored stored;
    struct effect effect;
    struct fact first;
    enum err e = view_find(view, record, &stored, why);
    if (e == ERR_OK)
        e = effect_plain(view, &stored, &pool, &first, why);
    if (e == ERR_OK)
        e = effect_from(view, &first, stored.lsn, &pool, &effect, why);
    if (e == ERR_OK && effect.decider == NULL)
        e = ERR_NOT_FOUND;
    if (e == ERR_OK) {
        struct corrected corrected = {first.record, effect.is_void ? NULL : effect.fact.record,
                                      effect.decider->record};
        e = visit(owner, &corrected, why);
    }
    pool_done(&pool);
    return e;
}

enum err
ledger_corrected(struct ledger *ledger, const uint8_t record[16], int64_t held_most_ms,
                 ledger_corrected_visit *visit, void *owner, struct err_text *why)
{
    struct view view;
    enum err e = ledger_look(ledger, &view, why);
    if (e != ERR_OK)
        return e;
    view.held_most = held_most_ms;
    e = show_corrected(&view, record, visit, owner, why);
    ledger_look_end(ledger);
    return e;
}

/* ---- closings */

static int
compare_held(const void *a, const void *b)
{
    const struct fact *p = a, *q = b;
    if (p->held_ms != q->held_ms)
        return p->held_ms < q->held_ms ? -1 : 1;
    return memcmp(p->id, q->id, ID_SIZE);
}

static void
copy_text(char *to, size_t size, const char *from)
{
    size_t len = from != NULL ? strlen(from) : 0;
    if (len >= size)
        len = size - 1;
    if (len > 0)
        memcpy(to, from, len);
    to[len] = '\0';
}

static const char *
month_closed(const struct fact *fact)
{
    return fact->record->body_case == KNOCKBOX__RECORD__BODY_RESTATE
               ? fact->record->restate->month
               : fact->record->period_close->month;
}

/* Closings in order of `held`: the last of the month decides; an edition left out stays. */
bool
closing_of(const struct fact_list *list, int32_t month, struct closing *out)
{
    bool any = false;
    for (size_t i = 0; i < list->n; i++) {
        const struct fact *fact = &list->at[i];
        int32_t closed = 0;
        if (!month_parse(month_closed(fact), &closed) || closed != month)
            continue;
        bool again = fact->record->body_case == KNOCKBOX__RECORD__BODY_RESTATE;
        const char *edition =
            again ? fact->record->restate->edition : fact->record->period_close->edition;
        if (edition != NULL || !any)
            copy_text(out->edition, sizeof out->edition, edition);
        out->held_ms = fact->held_ms;
        int64_t tables = again ? fact->record->restate->tables : fact->record->period_close->tables;
        out->tables = tables > 1 ? (int32_t)tables : 1;
        out->number = again ? (int32_t)fact->record->restate->number : 0;
        copy_text(out->reason, sizeof out->reason, again ? fact->record->restate->reason : NULL);
        memcpy(out->id, fact->id, ID_SIZE);
        any = true;
    }
    return any;
}

enum err
load_closings(const struct view *view, struct pool *pool, struct fact_list *list,
              struct err_text *why)
{
    enum err e = facts_load(view, SUBJECT_DEMAND, "closings", 0, pool, list, why);
    if (e == ERR_OK && list->n > 1)
        qsort(list->at, list->n, sizeof *list->at, compare_held);
    return e;
}

enum err
ledger_closing(struct ledger *ledger, int32_t month, int64_t held_most_ms,
               struct closing *out_closing, struct err_text *why)
{
    struct view view;
    struct pool pool = {.n = 0};
    struct fact_list list = {.n = 0};
    struct closing found;
    enum err e = ledger_look(ledger, &view, why);
    if (e != ERR_OK)
        return e;
    view.held_most = held_most_ms;
    e = load_closings(&view, &pool, &list, why);
    if (e == ERR_OK && !closing_of(&list, month, &found))
        e = ERR_NOT_FOUND;
    if (e == ERR_OK)
        *out_closing = found;
    fact_list_done(&list);
    pool_done(&pool);
    ledger_look_end(ledger);
    return e;
}

/* ---- digest */

static void
hash_part(crypto_generichash_state *state, const void *bytes, size_t len)
{
    uint8_t size[8];
    put_i64(size, (int64_t)len);
    (void)crypto_generichash_update(state, size, sizeof size);
    (void)crypto_generichash_update(state, bytes, len);
}

static enum err
hash_key(void *owner, const uint8_t *key, size_t key_len, const uint8_t *value, size_t value_len,
         struct err_text *why)
{
    (void)value;
    (void)value_len;
    (void)why;
    hash_part(owner, key, key_len);
    return ERR_OK;
}

/* Of the index all but the arrival number; records of one moment and rank are hashed by what came
 * of them. */
static enum err
hash_fact(void *owner, const uint8_t *key, size_t key_len, const uint8_t *value, size_t value_len,
          struct err_text *why)
{
    struct entry entry;
    enum err e = entry_read(key, key_len, value, value_len, &entry, why);
    if (e == ERR_OK)
        hash_part(owner, key, key_len - LSN_KEY);
    return e;
}

static enum err
hash_both(void *owner, const uint8_t *key, size_t key_len, const uint8_t *value, size_t value_len,
          struct err_text *why)
{
    (void)why;
    hash_part(owner, key, key_len);
    hash_part(owner, value, value_len);
    return ERR_OK;
}

/* Arrival numbers differ from store to store; of rows that hold them only the keys are taken. */
enum err
ledger_digest(struct ledger *ledger, uint8_t out_digest[32], struct err_text *why)
{
    struct view view;
    crypto_generichash_state state;
    struct key all = {.n = 0, .over = false};
    enum err e = ledger_look(ledger, &view, why);
    if (e != ERR_OK)
        return e;
    const struct tables *t = view.tables;
    const struct {
        MDB_dbi table;
        table_visit *visit;
    } parts[] = {{t->facts, hash_fact},  {t->fixes, hash_key}, {t->rows, hash_both},
                 {t->lines, hash_both},  {t->deps, hash_key},  {t->stays, hash_both},
                 {t->wastes, hash_both}, {t->lags, hash_key},  {t->acts, hash_key}};
    (void)crypto_generichash_init(&state, NULL, 0, 32);
    for (size_t i = 0; i < sizeof parts / sizeof parts[0] && e == ERR_OK; i++)
        e = table_walk(view.kv, parts[i].table, &all, parts[i].visit, &state, why);
    (void)crypto_generichash_final(&state, out_digest, 32);
    ledger_look_end(ledger);
    return e;
}
