/* trace.c - one step back and one step forward, all the way (report rule C1). */
#include "daemon/report/trace.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/report/number.h"
#include "proto/when.h"

/* Codes in the order found, each once. */
struct codes {
    char **list;
    size_t n, cap;
};

/* A mass that went from one tub or lot into the batches on the way back. */
struct source {
    char *code;
    bool tub;
    int64_t mass_g;
};

struct trace {
    struct ledger *ledger;
    struct err_text *why;
    struct arena arena;
    struct codes ahead_batches, ahead_lots; /* forward */
    struct codes back_batches;
    struct source *sources;
    size_t n_sources, cap_sources;
    int64_t made, located;
};

static enum err
out_of_memory(struct trace *t)
{
    return err_set(ERR_MEM, t->why, "out of memory for a trace");
}

static enum err
add_code(struct trace *t, struct codes *codes, const char *code)
{
    if (code == NULL || code[0] == '\0')
        return ERR_OK;
    for (size_t i = 0; i < codes->n; i++)
        if (strcmp(codes->list[i], code) == 0)
            return ERR_OK;
    if (codes->n == codes->cap) {
        size_t more = codes->cap == 0 ? 16 : codes->cap * 2;
        char **bigger = realloc(codes->list, more * sizeof *bigger);
        if (bigger == NULL)
            return out_of_memory(t);
        codes->list = bigger;
        codes->cap = more;
    }
    codes->list[codes->n] = strdup(code);
    if (codes->list[codes->n] == NULL)
        return out_of_memory(t);
    codes->n++;
    return ERR_OK;
}

static void
codes_done(struct codes *codes)
{
    for (size_t i = 0; i < codes->n; i++)
        free(codes->list[i]);
    free(codes->list);
}

/* A row, lent until the next call; NULL in *out_row when there is none. */
static enum err
row_of(struct trace *t, enum subject_class class, const char *code,
       const ProtobufCMessage **out_row)
{
    ProtobufCMessage *row = NULL;
    arena_reset(&t->arena);
    enum err e = ledger_row(t->ledger, class, code, &t->arena, &row, t->why);
    *out_row = e == ERR_OK ? row : NULL;
    return e == ERR_NOT_FOUND ? ERR_OK : e;
}

/* ---- forward */

struct mixed_into {
    struct trace *t;
    enum err e;
    size_t n; /* facts seen */
};

static bool
note_mix(void *owner, const struct fact *fact)
{
    struct mixed_into *into = owner;
    into->n++;
    if (fact->kind->number == KNOCKBOX__RECORD__BODY_MIX)
        into->e = add_code(into->t, &into->t->ahead_batches, fact->record->mix->batch);
    return into->e == ERR_OK;
}

/* The batches that a tub or a lot was mixed into; *out_n facts name it. */
static enum err
step_into_batches(struct trace *t, enum subject_class class, const char *code, size_t *out_n)
{
    struct mixed_into into = {t, ERR_OK, 0};
    enum err e = ledger_facts(t->ledger, class, code, INT64_MAX, note_mix, &into, t->why);
    *out_n = into.n;
    if (e == ERR_NOT_FOUND)
        return ERR_OK;
    return e != ERR_OK ? e : into.e;
}

static enum err
step_into_lots(struct trace *t, const char *batch)
{
    const ProtobufCMessage *row = NULL;
    enum err e = row_of(t, SUBJECT_BATCH, batch, &row);
    const Knockbox__BatchRow *b = (const Knockbox__BatchRow *)row;
    for (size_t i = 0; e == ERR_OK && b != NULL && i < b->n_lots; i++)
        e = add_code(t, &t->ahead_lots, b->lots[i]);
    return e;
}

static enum err
walk_ahead(struct trace *t)
{
    size_t batch = 0, lot = 0, n = 0;
    enum err e = ERR_OK;
    while (e == ERR_OK && (batch < t->ahead_batches.n || lot < t->ahead_lots.n)) {
        if (batch < t->ahead_batches.n)
            e = step_into_lots(t, t->ahead_batches.list[batch++]);
        else
            e = step_into_batches(t, SUBJECT_LOT, t->ahead_lots.list[lot++], &n);
    }
    return e;
}

/* ---- back */

static enum err
add_source(struct trace *t, const Knockbox__BatchInput *in)
{
    bool tub = in->tub != NULL && in->tub[0] != '\0';
    const char *code = tub ? in->tub : in->lot;
    for (size_t i = 0; i < t->n_sources; i++) {
        if (t->sources[i].tub == tub && strcmp(t->sources[i].code, code) == 0) {
            t->sources[i].mass_g += in->mass_g;
            return ERR_OK;
        }
    }
    if (t->n_sources == t->cap_sources) {
        size_t more = t->cap_sources == 0 ? 16 : t->cap_sources * 2;
        struct source *bigger = realloc(t->sources, more * sizeof *bigger);
        if (bigger == NULL)
            return out_of_memory(t);
        t->sources = bigger;
        t->cap_sources = more;
    }
    t->sources[t->n_sources] = (struct source){strdup(code), tub, in->mass_g};
    if (t->sources[t->n_sources].code == NULL)
        return out_of_memory(t);
    t->n_sources++;
    return ERR_OK;
}

/* The batches that were bottled into a lot. */
static enum err
step_back_from_lot(struct trace *t, const char *lot)
{
    const ProtobufCMessage *row = NULL;
    enum err e = row_of(t, SUBJECT_LOT, lot, &row);
    const Knockbox__LotRow *l = (const Knockbox__LotRow *)row;
    for (size_t i = 0; e == ERR_OK && l != NULL && i < l->n_batches; i++)
        e = add_code(t, &t->back_batches, l->batches[i]);
    return e;
}

static enum err
walk_back(struct trace *t)
{
    enum err e = ERR_OK;
    size_t looked = 0; /* at sources, for bottles taken back */
    for (size_t i = 0; e == ERR_OK && i < t->back_batches.n; i++) {
        const ProtobufCMessage *row = NULL;
        e = row_of(t, SUBJECT_BATCH, t->back_batches.list[i], &row);
        const Knockbox__BatchRow *b = (const Knockbox__BatchRow *)row;
        for (size_t j = 0; e == ERR_OK && b != NULL && j < b->n_inputs; j++)
            e = add_source(t, b->inputs[j]);
        for (; e == ERR_OK && looked < t->n_sources; looked++)
            if (!t->sources[looked].tub)
                e = step_back_from_lot(t, t->sources[looked].code);
    }
    return e;
}

/* ---- the answer */

static bool
put_text(json_t *object, const char *name, const char *text)
{
    return json_object_set_new(object, name, text != NULL ? json_string(text) : json_null()) == 0;
}

static bool
put_whole(json_t *object, const char *name, int64_t value)
{
    char room[NUMBER_TEXT];
    return put_text(object, name, number_whole(value, room));
}

static bool
put_supply(json_t *item, const Knockbox__SupplyRow *row)
{
    char day[DAY_TEXT];
    return put_text(item, "item", row->item) && put_text(item, "supplier", row->supplier) &&
           put_text(item, "supplier_lot", row->supplier_lot) &&
           put_text(item, "received", row->has_received ? day_print(row->received, day) : NULL);
}

/* The JSON of one source; *out_item is NULL for a bottle lot, whose own sources stand instead. */
static enum err
source_json(struct trace *t, const struct source *source, json_t **out_item)
{
    const ProtobufCMessage *row = NULL;
    *out_item = NULL;
    enum err e = row_of(t, SUBJECT_LOT, source->code, &row);
    if (e == ERR_OK && !source->tub && row != NULL)
        return ERR_OK;
    e = row_of(t, source->tub ? SUBJECT_TUB : SUBJECT_SUPPLY, source->code, &row);
    if (e != ERR_OK)
        return e;
    json_t *item = json_object();
    bool ok = item != NULL && put_text(item, "kind", source->tub ? "tub" : "supply") &&
              put_text(item, "code", source->code) && put_whole(item, "mass_g", source->mass_g);
    if (ok && source->tub)
        ok =
            put_text(item, "site", row != NULL ? ((const Knockbox__TubRow *)row)->from_site : NULL);
    else if (ok && row != NULL)
        ok = put_supply(item, (const Knockbox__SupplyRow *)row);
    *out_item = item;
    return ok ? ERR_OK : out_of_memory(t);
}

/* supply before tub, then by code: bytewise */
static int
by_source(const void *a, const void *b)
{
    const struct source *x = a, *y = b;
    return x->tub != y->tub ? (x->tub ? 1 : -1) : strcmp(x->code, y->code);
}

static enum err
put_back(struct trace *t, json_t *answer)
{
    json_t *back = json_array();
    enum err e = json_object_set_new(answer, "back", back) == 0 ? ERR_OK : out_of_memory(t);
    if (t->n_sources > 1)
        qsort(t->sources, t->n_sources, sizeof *t->sources, by_source);
    for (size_t i = 0; e == ERR_OK && i < t->n_sources; i++) {
        json_t *item = NULL;
        e = source_json(t, &t->sources[i], &item);
        if (e == ERR_OK && item != NULL && json_array_append(back, item) != 0)
            e = out_of_memory(t);
        json_decref(item);
    }
    return e;
}

/* One row of `forward`, with what it is sorted by. */
struct place {
    char *site, *lot;
    const char *state;
    int64_t count;
};

struct places {
    struct place *list;
    size_t n, cap;
};

static const char *
state_word(Knockbox__LotState state)
{
    switch (state) {
    case KNOCKBOX__LOT_STATE__LOT_STATE_ON_HAND:
        return "on-hand";
    case KNOCKBOX__LOT_STATE__LOT_STATE_IN_TRANSIT:
        return "in-transit";
    case KNOCKBOX__LOT_STATE__LOT_STATE_SOLD:
        return "sold";
    default:
        return "lost";
    }
}

static enum err
add_place(struct trace *t, struct places *places, const char *lot, const Knockbox__LotSpot *spot)
{
    if (places->n == places->cap) {
        size_t more = places->cap == 0 ? 16 : places->cap * 2;
        struct place *bigger = realloc(places->list, more * sizeof *bigger);
        if (bigger == NULL)
            return out_of_memory(t);
        places->list = bigger;
        places->cap = more;
    }
    struct place *place = &places->list[places->n++];
    *place = (struct place){strdup(spot->site), strdup(lot), state_word(spot->state), spot->count};
    return place->site != NULL && place->lot != NULL ? ERR_OK : out_of_memory(t);
}

static int
by_place(const void *a, const void *b)
{
    const struct place *x = a, *y = b;
    int order = strcmp(x->site, y->site);
    if (order == 0)
        order = strcmp(x->lot, y->lot);
    return order != 0 ? order : strcmp(x->state, y->state);
}

/* Where one lot's bottles are, and how many nobody knows of. */
static enum err
put_lot(struct trace *t, const char *lot, struct places *places, json_t *unlocated)
{
    const ProtobufCMessage *row = NULL;
    enum err e = row_of(t, SUBJECT_LOT, lot, &row);
    const Knockbox__LotRow *l = (const Knockbox__LotRow *)row;
    if (e != ERR_OK || l == NULL)
        return e;
    t->made += l->made;
    t->located += l->located;
    for (size_t i = 0; e == ERR_OK && i < l->n_spots; i++)
        e = add_place(t, places, lot, l->spots[i]);
    if (e != ERR_OK || l->made == l->located)
        return e;
    json_t *item = json_object();
    bool ok = item != NULL && put_text(item, "lot", lot) &&
              put_whole(item, "count", l->made - l->located);
    ok = ok && json_array_append(unlocated, item) == 0;
    json_decref(item);
    return ok ? ERR_OK : out_of_memory(t);
}

static enum err
put_places(struct trace *t, const struct places *places, json_t *forward)
{
    if (places->n > 1)
        qsort(places->list, places->n, sizeof *places->list, by_place);
    for (size_t i = 0; i < places->n; i++) {
        const struct place *place = &places->list[i];
        json_t *item = json_object();
        bool ok = item != NULL && put_text(item, "site", place->site) &&
                  put_text(item, "lot", place->lot) && put_whole(item, "count", place->count) &&
                  put_text(item, "state", place->state) && json_array_append(forward, item) == 0;
        json_decref(item);
        if (!ok)
            return out_of_memory(t);
    }
    return ERR_OK;
}

static int
by_text(const void *a, const void *b)
{
    return strcmp(*(char *const *)a, *(char *const *)b);
}

static enum err
put_forward(struct trace *t, json_t *answer)
{
    char room[NUMBER_TEXT];
    struct places places = {NULL, 0, 0};
    json_t *forward = json_array(), *unlocated = json_array();
    enum err e = forward != NULL && unlocated != NULL ? ERR_OK : out_of_memory(t);
    if (t->ahead_lots.n > 1)
        qsort(t->ahead_lots.list, t->ahead_lots.n, sizeof *t->ahead_lots.list, by_text);
    for (size_t i = 0; e == ERR_OK && i < t->ahead_lots.n; i++)
        e = put_lot(t, t->ahead_lots.list[i], &places, unlocated);
    if (e == ERR_OK)
        e = put_places(t, &places, forward);
    if (e == ERR_OK &&
        (json_object_set(answer, "forward", forward) != 0 || !put_whole(answer, "made", t->made) ||
         !put_whole(answer, "located", t->located) ||
         !put_text(answer, "accounted_pct", number_pct_cut(t->located, t->made, room)) ||
         json_object_set(answer, "unlocated", unlocated) != 0))
        e = out_of_memory(t);
    for (size_t i = 0; i < places.n; i++) {
        free(places.list[i].site);
        free(places.list[i].lot);
    }
    free(places.list);
    json_decref(forward);
    json_decref(unlocated);
    return e;
}

/* ---- the whole */

/* What the code is: every class that knows it starts a walk. */
static enum err
begin(struct trace *t, const char *code)
{
    size_t tubs = 0, supplies = 0, lots = 0;
    const ProtobufCMessage *batch = NULL, *lot = NULL;
    enum err e = step_into_batches(t, SUBJECT_TUB, code, &tubs);
    if (e == ERR_OK)
        e = step_into_batches(t, SUBJECT_SUPPLY, code, &supplies);
    if (e == ERR_OK)
        e = row_of(t, SUBJECT_BATCH, code, &batch);
    bool is_batch = batch != NULL;
    if (e == ERR_OK && is_batch)
        e = add_code(t, &t->ahead_batches, code);
    if (e == ERR_OK && is_batch)
        e = add_code(t, &t->back_batches, code);
    if (e == ERR_OK)
        e = row_of(t, SUBJECT_LOT, code, &lot);
    bool is_lot = lot != NULL;
    if (e == ERR_OK && is_lot)
        e = add_code(t, &t->ahead_lots, code);
    if (e == ERR_OK && is_lot)
        e = step_back_from_lot(t, code);
    if (e == ERR_OK)
        e = step_into_batches(t, SUBJECT_LOT, code, &lots);
    if (e == ERR_OK && !is_batch && !is_lot && tubs + supplies + lots == 0)
        e = err_set(ERR_NOT_FOUND, t->why, "%s: no tub, supply, batch or lot has that code", code);
    return e;
}

enum err
trace_code(struct ledger *ledger, const char *code, json_t **out_trace, struct err_text *why)
{
    struct trace t = {.ledger = ledger, .why = why};
    json_t *answer = json_object();
    enum err e = arena_init(&t.arena, ARENA_BIG_RECORD, why);
    if (e == ERR_OK)
        e = begin(&t, code);
    if (e == ERR_OK)
        e = walk_ahead(&t);
    if (e == ERR_OK)
        e = walk_back(&t);
    if (e == ERR_OK && (answer == NULL || !put_text(answer, "code", code)))
        e = out_of_memory(&t);
    if (e == ERR_OK)
        e = put_back(&t, answer);
    if (e == ERR_OK)
        e = put_forward(&t, answer);
    arena_done(&t.arena);
    codes_done(&t.ahead_batches);
    codes_done(&t.ahead_lots);
    codes_done(&t.back_batches);
    for (size_t i = 0; i < t.n_sources; i++)
        free(t.sources[i].code);
    free(t.sources);
    if (e == ERR_OK)
        *out_trace = answer;
    else
        json_decref(answer);
    return e;
}
