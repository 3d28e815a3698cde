/* corrected.c - what corrections changed: old and new value of each field, by whom, when (Q3). */
#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/record/kind.h"
#include "daemon/record/record.h"
#include "daemon/report/gathered.h"
#include "proto/when.h"

static enum err
out_of_memory(struct err_text *why)
{
    return err_set(ERR_MEM, why, "out of memory for the report");
}

/* What belongs to the envelope; `at` may be corrected. */
static bool
is_envelope(const char *name)
{
    const char *const *names = record_envelope_names();
    for (size_t i = 0; names[i] != NULL; i++)
        if (strcmp(names[i], name) == 0)
            return strcmp(name, "at") != 0;
    return false;
}

/* Yours; a text as it is, all else as JSON. NULL too for nothing. */
static char *
value_text(const json_t *value)
{
    if (json_is_string(value))
        return strdup(json_string_value(value));
    return value != NULL ? json_dumps(value, JSON_ENCODE_ANY | JSON_COMPACT) : NULL;
}

struct changing {
    struct gathered *g;
    struct report_correction *correction;
};

static enum err
add_change(struct changing *c, const char *field, const json_t *before, const json_t *after,
           struct err_text *why)
{
    struct gathered *g = c->g;
    if (json_equal(before, after))
        return ERR_OK;
    if (g->input.n_changes == g->cap_changes) {
        size_t more = g->cap_changes * 2 + 32;
        struct report_change *bigger = realloc(g->changes, more * sizeof *bigger);
        if (bigger == NULL)
            return out_of_memory(why);
        g->changes = bigger;
        g->cap_changes = more;
    }
    struct report_change *change = &g->changes[g->input.n_changes++];
    memcpy(change->record, c->correction->record, sizeof change->record);
    change->field = strdup(field);
    change->before = value_text(before);
    change->after = value_text(after);
    bool whole = change->field != NULL && (before == NULL || change->before != NULL) &&
                 (after == NULL || change->after != NULL);
    return whole ? ERR_OK : out_of_memory(why);
}

/* Fields of the one line, then those that only the other has. A void (`now` NULL) moves nothing. */
static enum err
compare(struct changing *c, json_t *first, json_t *now, struct err_text *why)
{
    const char *name;
    json_t *value;
    enum err e = ERR_OK;
    json_object_foreach(first, name, value)
    {
        if (e == ERR_OK && !is_envelope(name) && (now != NULL || strcmp(name, "at") != 0))
            e = add_change(c, name, value, json_object_get(now, name), why);
    }
    json_object_foreach(now, name, value)
    {
        if (e == ERR_OK && !is_envelope(name) && json_object_get(first, name) == NULL)
            e = add_change(c, name, NULL, value, why);
    }
    return e;
}

static void
describe(struct report_correction *c, const struct corrected *corrected)
{
    const Knockbox__Record *by = corrected->by;
    const struct kind *kind = kind_by_number((uint32_t)corrected->first->body_case);
    c->kind = kind != NULL ? kind->word : NULL;
    (void)snprintf(c->site, sizeof c->site, "%s", corrected->first->site);
    (void)snprintf(c->who, sizeof c->who, "%s", by->by != NULL ? by->by : "");
    (void)when_print(by->at_ms, by->at_offset_min, c->at);
}

static enum err
see(void *owner, const struct corrected *corrected, struct err_text *why)
{
    struct changing *c = owner;
    json_t *first = NULL, *now = NULL;
    describe(c->correction, corrected);
    enum err e = record_to_json(corrected->first, NULL, -1, &first, why);
    if (e == ERR_OK && corrected->now != NULL)
        e = record_to_json(corrected->now, NULL, -1, &now, why);
    if (e == ERR_OK)
        e = compare(c, first, now, why);
    json_decref(first);
    json_decref(now);
    return e;
}

enum err
corrected_gather(struct gathered *g, struct ledger *ledger, struct err_text *why)
{
    enum err e = ERR_OK;
    for (size_t i = 0; e == ERR_OK && i < g->input.n_corrections; i++) {
        uint8_t id[ID_SIZE];
        struct changing c = {g, &g->corrections[i]};
        if (id_parse(g->corrections[i].record, id))
            e = ledger_corrected(ledger, id, g->held_ms, see, &c, why);
    }
    g->input.changes = g->changes;
    return e == ERR_NOT_FOUND ? ERR_OK : e;
}

void
corrected_done(struct gathered *g)
{
    for (size_t i = 0; i < g->input.n_changes; i++) {
        free(g->changes[i].field);
        free(g->changes[i].before);
        free(g->changes[i].after);
    }
    free(g->changes);
}
