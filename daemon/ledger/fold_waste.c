/* fold_waste.c - the waste of one site: what became waste, where it waits, where it ended.
 *
 * Report rules W1 to W6 and W9. Every mass that becomes waste goes into a stream. A stream that
 * settles at once ends there; one that settles on collection is a queue, oldest first, that
 * collections take from. A mass in a queue remembers whether it is residue, and of which batch.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/ledger/fold.h"
#include "daemon/ledger/grow.h"
#include "daemon/ledger/residue_pool.h"
#include "proto/fields.h"
#include "proto/ledger.pb-c.h"

struct piece {
    const struct fact *fact; /* since when it waits */
    const char *batch;       /* NULL: not residue; "": residue that nobody had booked */
    const struct fact *from; /* the record that brought it */
    int64_t mass_g;
};

struct queue {
    const char *stream;
    struct piece *pieces;
    size_t first, n, cap; /* pieces[first..n) hold something */
};

/* A fact, and the one whose moment counts: a discard dated before its tub counts at the tub (T6). */
struct event {
    const struct fact *fact, *when;
};

struct waste {
    const struct fold_input *input;
    struct outcome *outcome;
    struct err_text *why;
    struct event *events;
    size_t n_events, cap_events;
    const struct fact *now; /* the record that is taken in */
    struct queue *queues;
    size_t n_queues, cap_queues;
    struct residue_pool *pools; /* the site's own first */
    size_t n_pools, cap_pools;
    int32_t *days; /* closed already, ascending */
    size_t n_days, cap_days;
};

/* A mass on its way to a destination. */
struct ending {
    int32_t month;
    int destination;
    int material; /* 0: not known */
    bool onsite;
};

static enum err
out_of_memory(const struct waste *w)
{
    return err_set(ERR_MEM, w->why, "out of memory for the waste of %s", w->input->code);
}

/* ---- streams */

/* NULL: not stated, or not in the catalogue. */
static const Knockbox__Stream *
stream_of(const struct waste *w, const struct fact *fact, const char *code)
{
    if (code == NULL || code[0] == '\0')
        return NULL;
    return (const Knockbox__Stream *)catalogue_get(w->input->catalogue,
                                                   KNOCKBOX__RECORD__BODY_STREAM, code, fact->day);
}

/* Also of a record that moves nothing, such as a second discard of a tub that is gone: that nobody
 * knows the name is for people to settle, whatever else is amiss. */
static enum err
flag_unknown_stream(struct waste *w, const struct fact *fact, const char *code)
{
    if (code == NULL || code[0] == '\0' || stream_of(w, fact, code) != NULL)
        return ERR_OK;
    return outcome_flag(w->outcome, fact, "unknown-stream", code);
}

static enum err
queue_of(struct waste *w, const char *stream, struct queue **out_queue)
{
    for (size_t i = 0; i < w->n_queues; i++) {
        if (strcmp(w->queues[i].stream, stream) == 0) {
            *out_queue = &w->queues[i];
            return ERR_OK;
        }
    }
    void *room = grow_room(w->queues, w->n_queues, &w->cap_queues, sizeof *w->queues);
    if (room == NULL)
        return out_of_memory(w);
    w->queues = room;
    *out_queue = &w->queues[w->n_queues++];
    **out_queue = (struct queue){.stream = stream};
    return ERR_OK;
}

/* What a mass is part of until its end: its batch's residue, else what a record brought. */
static void
about(struct waste *w, const char *batch, const struct fact *from)
{
    outcome_about(w->outcome, batch != NULL && batch[0] != '\0' ? batch : NULL, from);
}

static enum err
queue_put(struct waste *w, const struct fact *fact, const char *stream, const char *batch,
          int64_t mass_g)
{
    struct queue *queue = NULL;
    enum err e = queue_of(w, stream, &queue);
    if (e != ERR_OK)
        return e;
    void *room = grow_room(queue->pieces, queue->n, &queue->cap, sizeof *queue->pieces);
    if (room == NULL)
        return out_of_memory(w);
    queue->pieces = room;
    queue->pieces[queue->n++] = (struct piece){fact, batch, w->now, mass_g};
    return ERR_OK;
}

/* ---- endings */

static enum err
post(struct waste *w, enum measure measure, int32_t month, const char *key, int64_t amount)
{
    return outcome_post(w->outcome, measure, month, w->input->code, key, amount);
}

static const char *
destination_word(int destination)
{
    const char *word = enum_word(&knockbox__destination__descriptor, destination);
    return word != NULL ? word : "unknown";
}

static enum err
post_residue(struct waste *w, const struct ending *ending, const char *batch, int64_t mass_g)
{
    char key[160];
    enum err e = post(w, MEASURE_RESIDUE_SETTLED, ending->month, "", mass_g);
    if (e != ERR_OK)
        return e;
    (void)snprintf(key, sizeof key, "%s|%s", batch, destination_word(ending->destination));
    return post(w, MEASURE_RESIDUE_TO, ending->month, key, mass_g);
}

static enum err
settle(struct waste *w, const struct ending *ending, const char *batch, int64_t mass_g)
{
    char key[96];
    const char *material =
        ending->material != 0 ? enum_word(&knockbox__material__descriptor, ending->material) : "";
    (void)snprintf(key, sizeof key, "%s|%s|%d", destination_word(ending->destination), material,
                   ending->onsite ? 1 : 0);
    enum err e = post(w, MEASURE_WASTE_TO, ending->month, key, mass_g);
    if (e == ERR_OK && batch != NULL && batch[0] != '\0')
        e = post_residue(w, ending, batch, mass_g);
    return e;
}

/* W2, W5: into the stream; to its end when that is at once or not known. */
static enum err
put(struct waste *w, const struct event *event, const char *stream, const char *batch,
    int64_t mass_g)
{
    const Knockbox__Stream *known = stream_of(w, event->fact, stream);
    if (known != NULL && known->settles == KNOCKBOX__SETTLES__SETTLES_ON_COLLECTION)
        return queue_put(w, event->when, stream, batch, mass_g);
    struct ending ending = {event->when->month, KNOCKBOX__DESTINATION__DESTINATION_UNKNOWN, 0,
                            false};
    if (known != NULL) {
        ending.destination = (int)known->destination;
        ending.material = (int)known->material;
        ending.onsite = known->has_onsite && known->onsite;
    }
    return settle(w, &ending, batch, mass_g);
}

static enum err
begin(struct waste *w, const struct event *event, const char *stream, int64_t mass_g)
{
    if (mass_g <= 0)
        return ERR_OK;
    about(w, NULL, w->now);
    enum err e = post(w, MEASURE_WASTE_BEGUN, event->when->month, "", mass_g);
    return e == ERR_OK ? put(w, event, stream, NULL, mass_g) : e;
}

/* ---- one function a kind */

/* R2: the first close of a day counts; *out_first tells. */
static enum err
note_day(struct waste *w, int32_t day, bool *out_first)
{
    size_t at = w->n_days;
    while (at > 0 && w->days[at - 1] >= day) /* closes come nearly in order of their days */
        at--;
    *out_first = at == w->n_days || w->days[at] != day;
    if (!*out_first)
        return ERR_OK;
    void *room = grow_room(w->days, w->n_days, &w->cap_days, sizeof *w->days);
    if (room == NULL)
        return out_of_memory(w);
    w->days = room;
    memmove(&w->days[at + 1], &w->days[at], (w->n_days - at) * sizeof *w->days);
    w->days[at] = day;
    w->n_days++;
    return ERR_OK;
}

static enum err
on_close(struct waste *w, const struct event *event)
{
    const Knockbox__Close *close = event->fact->record->close;
    bool first = false;
    enum err e = note_day(w, event->fact->day, &first);
    if (e != ERR_OK || !first)
        return e;
    e = flag_unknown_stream(w, event->fact, close->stream);
    if (e == ERR_OK && close->has_uncaptured_g)
        e = begin(w, event, close->stream, close->uncaptured_g);
    return e;
}

/* W1, W9: tubs and batches, and bottles or ingredients by mass. What a tub's discard by count
 * weighs, the tub's fold knows. */
static enum err
on_discard(struct waste *w, const struct event *event)
{
    const struct fact *fact = event->fact;
    const Knockbox__Discard *discard = fact->record->discard;
    bool is_tub = discard->what == KNOCKBOX__DISCARD_WHAT__DISCARD_WHAT_TUB;
    enum err e = flag_unknown_stream(w, fact, discard->stream);
    if (e != ERR_OK)
        return e;
    if (is_tub && w->input->first_fact(w->input->owner, SUBJECT_TUB, discard->code,
                                       KNOCKBOX__RECORD__BODY_TUB) == NULL)
        return ERR_OK; /* waits for its tub: the books have no such mass */
    int64_t mass_g = discard->has_mass_g ? discard->mass_g : is_tub ? fact->waste_g : 0;
    return begin(w, event, discard->stream, mass_g);
}

static enum err
on_strain(struct waste *w, const struct event *event)
{
    int64_t mass_g = event->fact->record->strain->residue_g;
    if (mass_g <= 0)
        return ERR_OK;
    about(w, event->fact->record->strain->batch, NULL);
    enum err e = post(w, MEASURE_RESIDUE_MADE, event->fact->month, "", mass_g);
    return e == ERR_OK ? post(w, MEASURE_WASTE_BEGUN, event->fact->month, "", mass_g) : e;
}

static enum err
pool_of(struct waste *w, const char *site, const struct residue_pool **out_pool)
{
    for (size_t i = 0; i < w->n_pools; i++) {
        if (strcmp(w->pools[i].site, site) == 0) {
            *out_pool = &w->pools[i];
            return ERR_OK;
        }
    }
    void *room = grow_room(w->pools, w->n_pools, &w->cap_pools, sizeof *w->pools);
    if (room == NULL)
        return out_of_memory(w);
    w->pools = room;
    struct residue_pool *pool = &w->pools[w->n_pools++];
    *out_pool = pool;
    return residue_pool_make(w->input, site, pool, w->why);
}

static enum err
put_residue(struct waste *w, const struct event *event, const char *batch, int64_t mass_g)
{
    const Knockbox__Residue *residue = event->fact->record->residue;
    enum err e = ERR_OK;
    about(w, batch, w->now);
    if (batch[0] == '\0') { /* W3 */
        bool named = residue->batch != NULL && residue->batch[0] != '\0';
        e = post(w, MEASURE_WASTE_GAP, event->fact->month, "", mass_g);
        if (e == ERR_OK)
            e = outcome_flag(w->outcome, event->fact, "residue-more-than-made",
                             named ? residue->batch : residue->stream);
    }
    return e == ERR_OK ? put(w, event, residue->stream, batch, mass_g) : e;
}

static enum err
on_residue(struct waste *w, const struct event *event)
{
    const Knockbox__Residue *residue = event->fact->record->residue;
    const char *site = w->input->code;
    enum err e = flag_unknown_stream(w, event->fact, residue->stream);
    if (e != ERR_OK)
        return e;
    if (residue->batch != NULL && residue->batch[0] != '\0')
        site = residue_home(w->input, residue->batch);
    if (site == NULL) /* nobody strained that batch */
        return put_residue(w, event, "", residue->mass_g);
    const struct residue_pool *pool = NULL;
    e = pool_of(w, site, &pool);
    size_t n = 0;
    const struct residue_take *takes =
        e == ERR_OK ? residue_pool_takes(pool, event->fact, &n) : NULL;
    for (size_t i = 0; e == ERR_OK && i < n; i++)
        e = put_residue(w, event, takes[i].batch, takes[i].mass_g);
    return e;
}

/* Up to `mass_g` from the front of the queue to the ending; *out_left_g is what it had not. */
static enum err
drain(struct waste *w, struct queue *queue, const struct ending *ending, int64_t mass_g,
      int64_t *out_left_g)
{
    enum err e = ERR_OK;
    while (e == ERR_OK && mass_g > 0 && queue->first < queue->n) {
        struct piece *piece = &queue->pieces[queue->first];
        int64_t part_g = piece->mass_g < mass_g ? piece->mass_g : mass_g;
        about(w, piece->batch, piece->from);
        e = settle(w, ending, piece->batch, part_g);
        piece->mass_g -= part_g;
        mass_g -= part_g;
        if (piece->mass_g == 0)
            queue->first++;
    }
    *out_left_g = mass_g;
    return e;
}

/* W3: the container is empty, so what the books still have in it is not there. */
static enum err
empty(struct waste *w, struct queue *queue, const struct fact *fact)
{
    enum err e = ERR_OK;
    for (; e == ERR_OK && queue->first < queue->n; queue->first++) {
        const struct piece *piece = &queue->pieces[queue->first];
        about(w, piece->batch, piece->from);
        e = post(w, MEASURE_WASTE_GAP, fact->month, "", -piece->mass_g);
        if (e == ERR_OK && piece->batch != NULL && piece->batch[0] != '\0')
            e = post(w, MEASURE_RESIDUE_SETTLED, fact->month, "", piece->mass_g);
    }
    return e;
}

static enum err
collect_more(struct waste *w, const struct event *event, const struct ending *ending,
             int64_t mass_g)
{
    about(w, NULL, w->now);
    enum err e = post(w, MEASURE_WASTE_GAP, ending->month, "", mass_g);
    if (e == ERR_OK)
        e = settle(w, ending, NULL, mass_g);
    if (e == ERR_OK)
        e = outcome_flag(w->outcome, event->fact, "collected-more",
                         event->fact->record->collection->stream);
    return e;
}

/* W3, W4. */
static enum err
on_collection(struct waste *w, const struct event *event)
{
    const Knockbox__Collection *c = event->fact->record->collection;
    const Knockbox__Stream *known = stream_of(w, event->fact, c->stream);
    enum err e = flag_unknown_stream(w, event->fact, c->stream);
    if (e != ERR_OK || (known != NULL && known->settles == KNOCKBOX__SETTLES__SETTLES_AT_ONCE))
        return e; /* a docket only */
    struct ending ending = {event->fact->month, (int)c->destination, 0, false};
    if (known != NULL)
        ending.material = (int)known->material;
    ending.onsite = c->has_onsite ? c->onsite : known != NULL && known->has_onsite && known->onsite;
    struct queue *queue = NULL;
    int64_t left_g = 0;
    e = queue_of(w, c->stream, &queue);
    if (e == ERR_OK)
        e = drain(w, queue, &ending, c->mass_g, &left_g);
    if (e == ERR_OK && left_g > 0)
        e = collect_more(w, event, &ending, left_g);
    if (e == ERR_OK && c->has_emptied && c->emptied)
        e = empty(w, queue, event->fact);
    return e;
}

static const struct {
    uint32_t kind;
    enum err (*on)(struct waste *w, const struct event *event);
} table[] = {
    {KNOCKBOX__RECORD__BODY_CLOSE, on_close},
    {KNOCKBOX__RECORD__BODY_DISCARD, on_discard},
    {KNOCKBOX__RECORD__BODY_STRAIN, on_strain},
    {KNOCKBOX__RECORD__BODY_RESIDUE, on_residue},
    {KNOCKBOX__RECORD__BODY_COLLECTION, on_collection},
};

static enum err
take_in(struct waste *w, const struct event *event)
{
    w->now = event->fact;
    outcome_by(w->outcome, event->fact);
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++)
        if (table[i].kind == event->fact->kind->number)
            return table[i].on(w, event);
    return ERR_OK;
}

/* ---- the order of events */

/* T6: not before the tub was there. */
static const struct fact *
moment_of(const struct waste *w, const struct fact *fact)
{
    if (fact->kind->number != KNOCKBOX__RECORD__BODY_DISCARD ||
        fact->record->discard->what != KNOCKBOX__DISCARD_WHAT__DISCARD_WHAT_TUB)
        return fact;
    const struct fact *tub = w->input->first_fact(
        w->input->owner, SUBJECT_TUB, fact->record->discard->code, KNOCKBOX__RECORD__BODY_TUB);
    return tub != NULL && fact_order(fact, tub) < 0 ? tub : fact;
}

static int
by_moment(const void *a, const void *b)
{
    const struct event *x = a, *y = b;
    int order = fact_order(x->when, y->when);
    return order != 0 ? order : fact_order(x->fact, y->fact);
}

static enum err
order_events(struct waste *w)
{
    bool sorted = true;
    for (size_t i = 0; i < w->input->n; i++) {
        void *room = grow_room(w->events, w->n_events, &w->cap_events, sizeof *w->events);
        if (room == NULL)
            return out_of_memory(w);
        w->events = room;
        const struct fact *fact = &w->input->facts[i];
        w->events[w->n_events] = (struct event){fact, moment_of(w, fact)};
        sorted = sorted && w->events[w->n_events].when == fact;
        w->n_events++;
    }
    if (!sorted)
        qsort(w->events, w->n_events, sizeof *w->events, by_moment);
    return ERR_OK;
}

/* ---- the row */

static void
fill_stream(const struct queue *queue, Knockbox__StreamRow *row)
{
    knockbox__stream_row__init(row);
    row->stream = (char *)(uintptr_t)queue->stream; /* only packed */
    row->has_waiting_g = row->has_residue_g = row->has_oldest_ms = true;
    row->oldest_ms = queue->pieces[queue->first].fact->at_ms;
    for (size_t i = queue->first; i < queue->n; i++) {
        row->waiting_g += queue->pieces[i].mass_g;
        if (queue->pieces[i].batch != NULL && queue->pieces[i].batch[0] != '\0')
            row->residue_g += queue->pieces[i].mass_g;
    }
}

static int
by_stream(const void *a, const void *b)
{
    return strcmp(((const struct queue *)a)->stream, ((const struct queue *)b)->stream);
}

static size_t
fill_streams(struct waste *w, Knockbox__StreamRow *rows, Knockbox__StreamRow **pointers)
{
    size_t n = 0;
    if (w->n_queues > 1)
        qsort(w->queues, w->n_queues, sizeof *w->queues, by_stream);
    for (size_t i = 0; i < w->n_queues; i++) {
        if (w->queues[i].first == w->queues[i].n)
            continue;
        pointers[n] = &rows[n];
        fill_stream(&w->queues[i], &rows[n++]);
    }
    return n;
}

static size_t
fill_residues(const struct residue_pool *pool, Knockbox__ResidueWait *rows,
              Knockbox__ResidueWait **pointers)
{
    size_t n = 0;
    for (size_t i = 0; i < pool->n_waits; i++) {
        if (pool->waits[i].mass_g == 0)
            continue;
        if (n > 0 && strcmp(rows[n - 1].batch, pool->waits[i].batch) == 0) {
            rows[n - 1].waiting_g += pool->waits[i].mass_g;
            continue;
        }
        knockbox__residue_wait__init(&rows[n]);
        rows[n].batch = (char *)(uintptr_t)pool->waits[i].batch; /* only packed */
        rows[n].has_waiting_g = true;
        rows[n].waiting_g = pool->waits[i].mass_g;
        pointers[n] = &rows[n];
        n++;
    }
    return n;
}

static enum err
give_row(struct waste *w)
{
    const struct residue_pool *pool = NULL;
    enum err e = pool_of(w, w->input->code, &pool);
    if (e != ERR_OK)
        return e;
    Knockbox__WasteRow row;
    knockbox__waste_row__init(&row);
    row.site = (char *)(uintptr_t)w->input->code; /* only packed */
    Knockbox__StreamRow *streams = calloc(w->n_queues + 1, sizeof *streams);
    row.streams = calloc(w->n_queues + 1, sizeof(Knockbox__StreamRow *));
    Knockbox__ResidueWait *residues = calloc(pool->n_waits + 1, sizeof *residues);
    row.residues = calloc(pool->n_waits + 1, sizeof(Knockbox__ResidueWait *));
    if (streams == NULL || row.streams == NULL || residues == NULL || row.residues == NULL) {
        e = out_of_memory(w);
    } else {
        row.n_streams = fill_streams(w, streams, row.streams);
        row.n_residues = fill_residues(pool, residues, row.residues);
        if (row.n_streams + row.n_residues > 0)
            e = outcome_row(w->outcome, &row.base);
    }
    free(streams);
    free(row.streams);
    free(residues);
    free(row.residues);
    return e;
}

static void
waste_done(struct waste *w)
{
    for (size_t i = 0; i < w->n_queues; i++)
        free(w->queues[i].pieces);
    for (size_t i = 0; i < w->n_pools; i++)
        residue_pool_done(&w->pools[i]);
    free(w->events);
    free(w->queues);
    free(w->pools);
    free(w->days);
}

enum err
fold_waste(const struct fold_input *input, struct outcome *outcome, struct err_text *why)
{
    struct waste w = {.input = input, .outcome = outcome, .why = why};
    const struct residue_pool *own = NULL;
    enum err e = pool_of(&w, input->code, &own);
    if (e == ERR_OK)
        e = order_events(&w);
    for (size_t i = 0; e == ERR_OK && i < w.n_events; i++)
        e = take_in(&w, &w.events[i]); /* NOLINT(clang-analyzer-unix.Malloc): waste_done() frees */
    if (e == ERR_OK)
        e = give_row(&w);
    waste_done(&w);
    return e;
}
