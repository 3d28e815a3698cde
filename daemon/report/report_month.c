/* report_month.c - the month of a ledger, and the closing of periods. */
#include "daemon/report/report_months.h"
#include "daemon/report/gathered.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/record/record.h"
#include "daemon/report/base_year.h"
#include "proto/when.h"

static enum err
out_of_memory(struct err_text *why)
{
    return err_set(ERR_MEM, why, "out of memory for the report");
}

void
gathered_done(struct gathered *g)
{
    free(g->note);
    books_free(g->books);
    books_free(g->before);
    catalogue_free(g->catalogue);
    free(g->heads);
    free(g->marks);
    for (size_t i = 0; i < g->input.n_late; i++)
        free((char *)(uintptr_t)g->late[i].site);
    free(g->late);
    free(g->late_held_ms);
    free(g->corrections);
    corrected_done(g);
}

/* Room for one more; NULL: out of memory. */
static void *
room(void *items, size_t n, size_t *cap, size_t size)
{
    if (n < *cap)
        return items;
    size_t more = *cap == 0 ? 32 : *cap * 2;
    void *bigger = realloc(items, more * size);
    if (bigger != NULL)
        *cap = more;
    return bigger;
}

/* ---- corrections (Q3) */

struct correction_walk {
    struct gathered *g;
    struct ledger *ledger;
    int64_t held_most_ms;
    struct err_text *why;
    enum err e;
};

static bool
note_correction(void *owner, const struct posting *line)
{
    struct correction_walk *walk = owner;
    struct gathered *g = walk->g;
    struct correction found;
    uint8_t id[ID_SIZE];
    size_t n = g->input.n_corrections;
    if (!id_parse(line->key, id))
        return true;
    walk->e = ledger_correction(walk->ledger, id, walk->held_most_ms, &found, walk->why);
    if (walk->e == ERR_NOT_FOUND) {
        walk->e = ERR_OK;
        return true;
    }
    void *more = walk->e == ERR_OK
                     ? room(g->corrections, n, &g->cap_corrections, sizeof *g->corrections)
                     : NULL;
    if (more == NULL) {
        walk->e = walk->e != ERR_OK ? walk->e : out_of_memory(walk->why);
        return false;
    }
    g->corrections = more;
    struct report_correction *c = &g->corrections[g->input.n_corrections++];
    memset(c, 0, sizeof *c);
    (void)id_print(id, c->record);
    (void)id_print(found.by, c->by);
    c->is_void = found.is_void;
    (void)snprintf(c->reason, sizeof c->reason, "%s", found.reason);
    return true;
}

static int
by_record(const void *a, const void *b)
{
    return strcmp(((const struct report_correction *)a)->record,
                  ((const struct report_correction *)b)->record);
}

static enum err
gather_corrections(struct gathered *g, struct ledger *ledger, int64_t held_most_ms,
                   struct err_text *why)
{
    int32_t month = g->input.month;
    struct correction_walk walk = {g, ledger, held_most_ms, why, ERR_OK};
    books_walk(g->books, MEASURE_CORRECTION, month, month, note_correction, &walk);
    if (g->input.n_corrections > 1)
        qsort(g->corrections, g->input.n_corrections, sizeof *g->corrections, by_record);
    g->input.corrections = g->corrections;
    g->held_ms = held_most_ms;
    return walk.e == ERR_OK ? corrected_gather(g, ledger, why) : walk.e;
}

/* ---- late arrivals (R7) */

/* The mass that a record states, as far as one number can say it. */
static bool
mass_of(const Knockbox__Record *record, int64_t *out_g)
{
    switch (record->body_case) {
    case KNOCKBOX__RECORD__BODY_TUB:
        *out_g = record->tub->gross_g - record->tub->tare_g;
        return true;
    case KNOCKBOX__RECORD__BODY_CLOSE:
        *out_g = record->close->uncaptured_g;
        return record->close->has_uncaptured_g;
    case KNOCKBOX__RECORD__BODY_DISCARD:
        *out_g = record->discard->mass_g;
        return record->discard->has_mass_g;
    case KNOCKBOX__RECORD__BODY_RESIDUE:
        *out_g = record->residue->mass_g;
        return true;
    case KNOCKBOX__RECORD__BODY_COLLECTION:
        *out_g = record->collection->mass_g;
        return true;
    default:
        return false;
    }
}

struct late_walk {
    struct gathered *g;
    struct err_text *why;
    enum err e;
};

static bool
note_late(void *owner, const struct fact *fact)
{
    struct late_walk *walk = owner;
    struct gathered *g = walk->g;
    if (g->input.site != NULL && strcmp(g->input.site, fact->site) != 0)
        return true;
    size_t n = g->input.n_late;
    void *more = room(g->late, n, &g->cap_late, sizeof *g->late);
    void *held = room(g->late_held_ms, n, &g->cap_late_held, sizeof *g->late_held_ms);
    char *site = more != NULL && held != NULL ? strdup(fact->site) : NULL;
    g->late = more != NULL ? more : g->late;
    g->late_held_ms = held != NULL ? held : g->late_held_ms;
    if (site == NULL) {
        walk->e = out_of_memory(walk->why);
        return false;
    }
    struct report_late *late = &g->late[n];
    g->late_held_ms[n] = fact->held_ms;
    g->input.n_late++;
    memset(late, 0, sizeof *late);
    (void)id_print(fact->id, late->record);
    late->kind = fact->kind->word;
    late->site = site;
    late->month = fact->month;
    late->has_mass = mass_of(fact->record, &late->mass_g);
    return true;
}

static enum err
gather_late(struct gathered *g, struct ledger *ledger, struct err_text *why)
{
    struct late_walk walk = {g, why, ERR_OK};
    enum err e = ledger_late(ledger, g->input.month, note_late, &walk, why);
    g->input.late = g->late;
    return e != ERR_OK ? e : walk.e;
}

/* A restatement of an earlier month since then took some of them in. */
static enum err
drop_taken_in(struct gathered *g, struct ledger *ledger, struct err_text *why)
{
    size_t kept = 0;
    for (size_t i = 0; i < g->input.n_late; i++) {
        struct closing closing;
        enum err e = ledger_closing(ledger, g->late[i].month, INT64_MAX, &closing, why);
        if (e != ERR_OK && e != ERR_NOT_FOUND)
            return e;
        if (e == ERR_OK && g->late_held_ms[i] <= closing.held_ms)
            free((char *)(uintptr_t)g->late[i].site);
        else
            g->late[kept++] = g->late[i];
    }
    g->input.n_late = kept;
    return ERR_OK;
}

/* ---- heads */

static int
by_head(const void *a, const void *b)
{
    const struct report_head *x = a, *y = b;
    int order = strcmp(x->site, y->site);
    if (order != 0 || x->epoch == y->epoch)
        return order != 0 ? order : memcmp(x->hash, y->hash, HASH_SIZE);
    return x->epoch < y->epoch ? -1 : 1;
}

static void
set_heads(struct gathered *g, size_t all)
{
    size_t n = 0;
    for (size_t i = 0; i < all; i++)
        if (g->input.site == NULL || strcmp(g->input.site, g->heads[i].site) == 0)
            g->heads[n++] = g->heads[i];
    if (n > 1)
        qsort(g->heads, n, sizeof *g->heads, by_head);
    g->input.heads = g->heads;
    g->input.n_heads = n;
}

/* As the close wrote them. */
static enum err
heads_of_close(struct gathered *g, const Knockbox__Heads *heads, struct err_text *why)
{
    size_t n = 0, all = heads != NULL ? heads->n_v : 0;
    g->heads = calloc(all + 1, sizeof *g->heads);
    if (g->heads == NULL)
        return out_of_memory(why);
    for (size_t i = 0; i < all; i++) {
        const Knockbox__Head *head = heads->v[i];
        if (head->hash.len == HASH_SIZE)
            g->heads[n++] =
                (struct report_head){head->site, head->epoch, head->seq, head->hash.data};
    }
    set_heads(g, n);
    return ERR_OK;
}

/* As they are now: every epoch that has records. */
static enum err
heads_of_store(struct gathered *g, struct store *store, struct err_text *why)
{
    struct store_view *view = NULL;
    size_t n = 0, kept = 0;
    enum err e = store_look(store, &view, why);
    if (e == ERR_OK)
        e = store_marks(view, NULL, NULL, 0, &n, why);
    if (e == ERR_OK) {
        g->marks = calloc(n + 1, sizeof *g->marks);
        g->heads = calloc(n + 1, sizeof *g->heads);
        e = g->marks != NULL && g->heads != NULL ? store_marks(view, NULL, g->marks, n, &n, why)
                                                 : out_of_memory(why);
    }
    for (size_t i = 0; e == ERR_OK && i < n; i++)
        if (g->marks[i].seq > 0)
            g->heads[kept++] = (struct report_head){g->marks[i].site, g->marks[i].epoch,
                                                    g->marks[i].seq, g->marks[i].hash};
    set_heads(g, kept);
    store_done(&view);
    return e;
}

static enum err
heads_of_closing(struct gathered *g, struct err_text *why)
{
    char key[32], month[MONTH_TEXT];
    const Knockbox__Heads *heads = NULL;
    (void)month_print(g->input.month, month);
    if (g->closing.number == 0) {
        const Knockbox__PeriodClose *close = (const Knockbox__PeriodClose *)catalogue_at(
            g->catalogue, KNOCKBOX__RECORD__BODY_PERIOD_CLOSE, month, INT64_MAX);
        heads = close != NULL ? close->heads : NULL;
    } else {
        (void)snprintf(key, sizeof key, "%s|%d", month, (int)g->closing.number);
        const Knockbox__Restate *restate = (const Knockbox__Restate *)catalogue_at(
            g->catalogue, KNOCKBOX__RECORD__BODY_RESTATE, key, INT64_MAX);
        heads = restate != NULL ? restate->heads : NULL;
    }
    return heads_of_close(g, heads, why);
}

/* ---- one version of a month */

/* The books that the month before was closed from, as this version knows it. */
static enum err
gather_before(struct gathered *g, struct ledger *ledger, int64_t held_most_ms, struct err_text *why)
{
    struct closing before;
    struct catalogue *unused = NULL;
    enum err e = ledger_closing(ledger, g->input.month - 1, held_most_ms, &before, why);
    if (e == ERR_NOT_FOUND)
        return ERR_OK;
    if (e == ERR_OK)
        e = ledger_books(ledger, before.held_ms, &g->before, &unused, why);
    catalogue_free(unused);
    if (e == ERR_OK)
        e = site_only(&g->before, g->input.site, why);
    g->before_ms = before.held_ms;
    g->input.before = g->before;
    return e;
}

static enum err
gather(struct gathered *g, struct ledger *ledger, int64_t held_most_ms, struct err_text *why)
{
    const struct behind behind = {
        .held_most_ms = held_most_ms, .span = g->input.span, .classes = BEHIND_ALL};
    enum err e = g->input.span != NULL
                     ? ledger_behind(ledger, &behind, &g->books, &g->catalogue, why)
                     : ledger_books(ledger, held_most_ms, &g->books, &g->catalogue, why);
    if (e == ERR_OK)
        e = site_known(g, why);
    if (e == ERR_OK)
        e = site_only(&g->books, g->input.site, why);
    g->held_ms = held_most_ms;
    g->input.books = g->books;
    g->input.catalogue = g->catalogue;
    if (e == ERR_OK && g->input.span == NULL)
        e = gather_before(g, ledger, held_most_ms, why);
    return e == ERR_OK ? gather_corrections(g, ledger, held_most_ms, why) : e;
}

/* The version that a close or restatement made. */
static enum err
gather_closed(struct gathered *g, struct ledger *ledger, const struct closing *closing,
              struct err_text *why)
{
    g->closing = *closing;
    g->input.status = closing->number > 0 ? REPORT_RESTATED : REPORT_CLOSED;
    g->input.edition = g->closing.edition;
    g->input.restatement = closing->number;
    g->input.reason = g->closing.reason;
    g->input.tables = g->closing.tables;
    enum err e = gather(g, ledger, closing->held_ms, why);
    if (e == ERR_OK)
        e = gather_late(g, ledger, why);
    return e == ERR_OK ? heads_of_closing(g, why) : e;
}

static enum err
gather_open(struct gathered *g, struct ledger *ledger, struct store *store, struct err_text *why)
{
    enum err e = gather(g, ledger, INT64_MAX, why);
    if (e == ERR_OK)
        e = gather_late(g, ledger, why);
    return e == ERR_OK ? heads_of_store(g, store, why) : e;
}

/* All that is held, whatever is closed; which months are is said. */
static enum err
gather_span(struct gathered *g, struct ledger *ledger, struct store *store, struct err_text *why)
{
    const struct span *span = g->input.span;
    if (span->from > span->to || span->to - span->from >= SPAN_DAYS)
        return err_input(why, "to", NULL, "no day before --from, and at most 3660 days");
    enum err e = gather(g, ledger, INT64_MAX, why);
    if (e == ERR_OK)
        e = note_closed(g, ledger, why);
    return e == ERR_OK ? heads_of_store(g, store, why) : e;
}

static void
begin(struct gathered *g, struct store *store, const struct report_ask *ask)
{
    memset(g, 0, sizeof *g);
    g->input.month = ask->span != NULL ? SPAN_MONTH : ask->month;
    g->input.span = ask->span;
    g->input.site = ask->site;
    g->input.basis = ask->basis;
    g->input.hub_site = store_site(store);
}

/* ---- what a restatement changed */

static const struct column change_columns[] = {
    {"figure", "figure", "", false},
    {"before", "before", "", true},
    {"after", "now", "", true},
};

static const char *
cell_word(const struct cell *cell)
{
    return cell->type == CELL_TEXT ? cell->text : NULL;
}

static void
compare_section(struct table_model *model, const struct section *now, const struct section *then)
{
    for (size_t i = 0; i < now->n_columns && i < then->n_columns; i++) {
        const char *after = cell_word(table_cell(now, 0, i));
        const char *before = cell_word(table_cell(then, 0, i));
        if (!now->columns[i].number ||
            (after == NULL ? before == NULL : before != NULL && strcmp(after, before) == 0))
            continue;
        table_row(model);
        table_set(model, "figure",
                  table_text(model, "%s%s%s", now->path, now->path[0] != '\0' ? "." : "",
                             now->columns[i].key));
        table_set(model, "before", before);
        table_set(model, "after", after);
    }
}

/* Both versions of every single figure that differs; parts stand in the same order in both. */
static void
compare(struct table_model *model, const struct table_model *then)
{
    size_t n = table_count(model), j = 0;
    TABLE_SECTION(model, "restatement.changes", "What the restatement changed", SHAPE_ROWS,
                  change_columns);
    for (size_t i = 0; i < n && table_error(model, NULL) == ERR_OK; i++) {
        struct section now = *table_at(model, i); /* the list moves as it grows */
        if (now.shape != SHAPE_FIELDS || strcmp(now.path, "restatement") == 0)
            continue;
        while (j < table_count(then) && (table_at(then, j)->columns != now.columns))
            j++;
        if (j < table_count(then))
            compare_section(model, &now, table_at(then, j));
    }
}

/* The version that stood before this restatement; NULL when there was none. */
static enum err
model_before(struct ledger *ledger, struct store *store, const struct report_ask *ask,
             int64_t before_ms, struct table_model **out_model, struct err_text *why)
{
    struct gathered g;
    struct closing closing;
    *out_model = NULL;
    enum err e = ledger_closing(ledger, ask->month, before_ms, &closing, why);
    if (e == ERR_NOT_FOUND)
        return ERR_OK;
    if (e != ERR_OK)
        return e;
    begin(&g, store, ask);
    e = gather_closed(&g, ledger, &closing, why);
    if (e == ERR_OK)
        e = report_build(&g.input, out_model, why);
    gathered_done(&g);
    return e;
}

static enum err
add_changes(struct ledger *ledger, struct store *store, const struct report_ask *ask,
            int64_t before_ms, struct table_model *model, struct err_text *why)
{
    struct table_model *then = NULL;
    enum err e = model_before(ledger, store, ask, before_ms, &then, why);
    if (e == ERR_OK && then != NULL)
        compare(model, then);
    table_free(then);
    return e == ERR_OK ? table_error(model, why) : e;
}

/* ---- the month */

static enum err
build(struct gathered *g, struct ledger *ledger, struct store *store, const struct report_ask *ask,
      int64_t before_ms, struct table_model **out_model, struct err_text *why)
{
    struct table_model *model = NULL;
    enum err e = report_build(&g->input, &model, why);
    if (e == ERR_OK && g->input.status == REPORT_RESTATED)
        e = add_changes(ledger, store, ask, before_ms, model, why);
    if (e == ERR_OK)
        *out_model = model;
    else
        table_free(model);
    return e;
}

enum err
gathered_make(struct gathered *g, struct ledger *ledger, struct store *store,
              const struct report_ask *ask, struct err_text *why)
{
    struct closing closing;
    begin(g, store, ask);
    g->input.pictures = ask->pictures;
    if (ask->span != NULL)
        return gather_span(g, ledger, store, why);
    int64_t until_ms = ask->closed_by_ms != 0 ? ask->closed_by_ms : INT64_MAX;
    enum err e = ledger_closing(ledger, ask->month, until_ms, &closing, why);
    if (e == ERR_OK)
        e = gather_closed(g, ledger, &closing, why);
    else if (e == ERR_NOT_FOUND && ask->closed_by_ms == 0)
        e = gather_open(g, ledger, store, why);
    return e;
}

static enum err
as_it_stands(struct gathered *g, struct ledger *ledger, struct store *store,
             const struct report_ask *ask, struct table_model **out_model, struct err_text *why)
{
    enum err e = gathered_make(g, ledger, store, ask, why);
    bool open = g->input.status == REPORT_OPEN; /* what is closed prints the same for ever */
    int64_t before_ms = open ? INT64_MAX : g->closing.held_ms - 1;
    g->input.unknown = open ? ledger_unknown(ledger) : 0;
    return e == ERR_OK ? build(g, ledger, store, ask, before_ms, out_model, why) : e;
}

static enum err
as_if_closed(struct gathered *g, struct ledger *ledger, struct store *store,
             const struct report_ask *ask, struct table_model **out_model, struct err_text *why)
{
    struct closing last;
    begin(g, store, ask);
    g->input.pictures = ask->pictures;
    enum err e = ledger_closing(ledger, ask->month, INT64_MAX, &last, why);
    if (e != ERR_OK && e != ERR_NOT_FOUND)
        return e;
    g->input.status = e == ERR_OK ? REPORT_RESTATED : REPORT_CLOSED;
    g->input.restatement = e == ERR_OK ? last.number + 1 : 0;
    g->input.edition = ask->edition != NULL ? ask->edition : e == ERR_OK ? last.edition : NULL;
    g->input.reason = ask->reason;
    e = gather_open(g, ledger, store, why);
    if (e == ERR_OK)
        e = drop_taken_in(g, ledger, why);
    return e == ERR_OK ? build(g, ledger, store, ask, INT64_MAX, out_model, why) : e;
}

enum err
report_month(struct ledger *ledger, struct store *store, const struct report_ask *ask,
             struct table_model **out_model, struct err_text *why)
{
    struct gathered g;
    enum err e = ask->version == REPORT_AS_IT_STANDS
                     ? as_it_stands(&g, ledger, store, ask, out_model, why)
                     : as_if_closed(&g, ledger, store, ask, out_model, why);
    gathered_done(&g);
    if (e != ERR_OK || !ask->pictures || ask->span != NULL || ask->version != REPORT_AS_IT_STANDS)
        return e;
    e = report_months_add(ledger, store, ask, *out_model, why);
    if (e != ERR_OK) {
        table_free(*out_model);
        *out_model = NULL;
    }
    return e;
}

/* ---- closing */

/* Any record of a business day of the month? */
static bool
stop_at_first(void *owner, const struct posting *line)
{
    (void)line;
    *(bool *)owner = true;
    return false;
}

static enum err
has_records(struct ledger *ledger, int32_t month, bool *out_any, struct err_text *why)
{
    struct books *books = NULL;
    struct catalogue *catalogue = NULL;
    *out_any = false;
    enum err e = ledger_books(ledger, INT64_MAX, &books, &catalogue, why);
    if (e == ERR_OK)
        books_walk(books, MEASURE_RECORDS, month, month, stop_at_first, out_any);
    books_free(books);
    catalogue_free(catalogue);
    return e;
}

static enum err
refuse(struct err_text *why, int32_t month, const char *want)
{
    char text[MONTH_TEXT];
    return err_input(why, "month", month_print(month, text), want);
}

/* R6: over, and the month before closed when anything happened in it. */
static enum err
may_close(struct ledger *ledger, int32_t month, int32_t today, struct err_text *why)
{
    struct closing closing;
    bool any = false;
    if (today <= month_last_day(month))
        return refuse(why, month, "a month that is over");
    enum err e = ledger_closing(ledger, month, INT64_MAX, &closing, why);
    if (e == ERR_OK)
        return refuse(why, month, "a month that is still open (restate a closed one)");
    if (e != ERR_NOT_FOUND)
        return e;
    e = ledger_closing(ledger, month - 1, INT64_MAX, &closing, why);
    if (e != ERR_NOT_FOUND)
        return e;
    e = has_records(ledger, month - 1, &any, why);
    if (e == ERR_OK && any)
        e = refuse(why, month, "months closed in order: the one before is still open");
    return e;
}

static char *
arena_text(struct arena *arena, const char *text)
{
    size_t size = strlen(text) + 1;
    char *copy = arena_take(arena, size);
    return copy != NULL ? memcpy(copy, text, size) : NULL;
}

static bool
arena_bytes(struct arena *arena, const uint8_t *bytes, size_t len, ProtobufCBinaryData *out)
{
    out->data = arena_take(arena, len);
    out->len = len;
    return out->data != NULL && memcpy(out->data, bytes, len) != NULL;
}

static bool
fill_head(struct arena *arena, const struct log_mark *mark, Knockbox__Head *head)
{
    knockbox__head__init(head);
    head->site = arena_text(arena, mark->site);
    head->has_epoch = head->has_seq = head->has_hash = true;
    head->epoch = mark->epoch;
    head->seq = mark->seq;
    return head->site != NULL && arena_bytes(arena, mark->hash, HASH_SIZE, &head->hash);
}

/* The heads of the store now, into the arena. */
static enum err
make_heads(struct store *store, struct arena *arena, Knockbox__Heads **out_heads,
           struct err_text *why)
{
    struct gathered g;
    begin(&g, store, &(struct report_ask){.month = 0});
    enum err e = heads_of_store(&g, store, why);
    Knockbox__Heads *heads = arena_take(arena, sizeof *heads);
    Knockbox__Head **list = arena_take(arena, (g.input.n_heads + 1) * sizeof *list);
    if (e == ERR_OK && (heads == NULL || list == NULL))
        e = out_of_memory(why);
    for (size_t i = 0; e == ERR_OK && i < g.input.n_heads; i++) {
        struct log_mark mark = {.epoch = g.heads[i].epoch, .seq = g.heads[i].seq};
        (void)snprintf(mark.site, sizeof mark.site, "%s", g.heads[i].site);
        memcpy(mark.hash, g.heads[i].hash, HASH_SIZE);
        list[i] = arena_take(arena, sizeof *list[i]);
        if (list[i] == NULL || !fill_head(arena, &mark, list[i]))
            e = out_of_memory(why);
    }
    if (e == ERR_OK) {
        knockbox__heads__init(heads);
        heads->n_v = g.input.n_heads;
        heads->v = list;
        *out_heads = heads;
    }
    gathered_done(&g);
    return e;
}

/* The figures that a base year is summed from, as printed; those that the print has. */
static enum err
make_figures(const struct table_model *model, struct arena *arena, Knockbox__Figures **out_figures,
             struct err_text *why)
{
    Knockbox__Figures *figures = arena_take(arena, sizeof *figures);
    if (figures == NULL)
        return out_of_memory(why);
    knockbox__figures__init(figures);
    figures->v = arena_take(arena, BASE_FIGURES * sizeof *figures->v);
    if (figures->v == NULL)
        return out_of_memory(why);
    for (size_t i = 0; i < BASE_FIGURES; i++) {
        char name[64];
        const char *value = table_get(model, base_keys[i].path, base_keys[i].key);
        if (value == NULL) /* null in the print: nothing to sum */
            continue;
        Knockbox__Figure *figure = arena_take(arena, sizeof *figure);
        if (figure == NULL)
            return out_of_memory(why);
        knockbox__figure__init(figure);
        figure->key = arena_text(arena, base_key_print(&base_keys[i], name));
        figure->value = arena_text(arena, value);
        if (figure->key == NULL || figure->value == NULL)
            return out_of_memory(why);
        figures->v[figures->n_v++] = figure;
    }
    *out_figures = figures;
    return ERR_OK;
}

/* The hash, the edition and the figures of the print that the close would make. */
static enum err
make_hash(struct ledger *ledger, struct store *store, const struct report_ask *ask,
          struct arena *arena, ProtobufCBinaryData *out_hash, char **out_edition,
          Knockbox__Figures **out_figures, struct err_text *why)
{
    struct table_model *model = NULL;
    uint8_t hash[32];
    enum err e = report_month(ledger, store, ask, &model, why);
    if (e != ERR_OK)
        return e;
    const char *edition = table_get(model, "", "edition");
    e = report_hash(model, hash, why);
    if (e == ERR_OK && edition == NULL)
        e = err_input(why, "edition", NULL, "an edition of emission factors in the catalogue");
    if (e == ERR_OK) {
        *out_edition = arena_text(arena, edition);
        if (*out_edition == NULL || !arena_bytes(arena, hash, sizeof hash, out_hash))
            e = out_of_memory(why);
        else
            e = make_figures(model, arena, out_figures, why);
    }
    table_free(model);
    return e;
}

enum err
period_close_make(struct ledger *ledger, struct store *store, int32_t month, const char *edition,
                  int32_t today, struct arena *arena, Knockbox__PeriodClose **out_close,
                  struct err_text *why)
{
    char text[MONTH_TEXT];
    struct report_ask ask = {
        .month = month, .version = REPORT_AS_IF_CLOSED, .edition = edition, .reason = NULL};
    Knockbox__PeriodClose *close = arena_take(arena, sizeof *close);
    if (close == NULL)
        return out_of_memory(why);
    knockbox__period_close__init(close);
    close->month = arena_text(arena, month_print(month, text));
    enum err e = may_close(ledger, month, today, why);
    if (e == ERR_OK)
        e = make_hash(ledger, store, &ask, arena, &close->report_hash, &close->edition,
                      &close->figures, why);
    if (e == ERR_OK)
        e = make_heads(store, arena, &close->heads, why);
    if (e != ERR_OK)
        return e;
    close->has_report_hash = close->has_tables = true;
    close->tables = REPORT_TABLES;
    *out_close = close;
    return close->month != NULL ? ERR_OK : out_of_memory(why);
}

enum err
restate_make(struct ledger *ledger, struct store *store, int32_t month, const char *reason,
             const char *edition, struct arena *arena, Knockbox__Restate **out_restate,
             struct err_text *why)
{
    char text[MONTH_TEXT];
    struct closing last;
    struct report_ask ask = {
        .month = month, .version = REPORT_AS_IF_CLOSED, .edition = edition, .reason = reason};
    enum err e = ledger_closing(ledger, month, INT64_MAX, &last, why);
    if (e == ERR_NOT_FOUND)
        return refuse(why, month, "a closed month");
    Knockbox__Restate *restate = arena_take(arena, sizeof *restate);
    if (e == ERR_OK && restate == NULL)
        e = out_of_memory(why);
    if (e != ERR_OK)
        return e;
    knockbox__restate__init(restate);
    restate->month = arena_text(arena, month_print(month, text));
    restate->reason = arena_text(arena, reason);
    restate->has_number = restate->has_report_hash = restate->has_tables = true;
    restate->tables = REPORT_TABLES;
    restate->number = last.number + 1;
    e = make_hash(ledger, store, &ask, arena, &restate->report_hash, &restate->edition,
                  &restate->figures, why);
    if (e == ERR_OK)
        e = make_heads(store, arena, &restate->heads, why);
    if (e == ERR_OK && (restate->month == NULL || restate->reason == NULL))
        e = out_of_memory(why);
    if (e == ERR_OK)
        *out_restate = restate;
    return e;
}
