/* write.c - one line of JSON becomes a record that this machine may append. */
#include "daemon/serve/write.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "proto/json.h"

enum err
writing_init(struct writing *writing, struct call *call, struct err_text *why)
{
    const struct clock *clock = &call->serve->options.clock;
    *writing = (struct writing){.call = call, .now_ms = clock->now_ms(clock->owner)};
    return arena_init(&writing->line, ARENA_BIG_RECORD, why);
}

/* Most lines look nothing up; two arenas at once are so large that giving them back would cost a
 * system call each time. */
enum err
writing_look_up(struct writing *writing, struct err_text *why)
{
    if (writing->other.block == NULL)
        return arena_init(&writing->other, ARENA_BIG_RECORD, why);
    arena_reset(&writing->other);
    return ERR_OK;
}

void
writing_done(struct writing *writing)
{
    arena_done(&writing->line);
    arena_done(&writing->other);
    free(writing->sites);
    free(writing->states);
    labels_done(&writing->fresh);
}

static enum err
remember_site(struct writing *writing, const Knockbox__Site *site, struct err_text *why)
{
    if (writing->n_sites == SITES_MOST)
        return err_set(ERR_INPUT, why, "more than %d site lines in one import", SITES_MOST);
    struct new_site *grown =
        realloc(writing->sites, (writing->n_sites + 1) * sizeof *writing->sites);
    if (grown == NULL)
        return err_set(ERR_MEM, why, "no memory for the sites of this import");
    writing->sites = grown;
    struct new_site *s = &grown[writing->n_sites++];
    *s = (struct new_site){.has_from = site->has_from, .from = site->from};
    (void)snprintf(s->code, sizeof s->code, "%s", site->code);
    (void)snprintf(s->zone, sizeof s->zone, "%s", site->zone);
    return ERR_OK;
}

/* A `site` line has a role; other lines need not be parsed twice. */
static bool
may_be_site(struct line line)
{
    return memmem(line.text, line.len, "\"role\"", 6) != NULL;
}

enum err
writing_read_sites(struct writing *writing, struct err_text *why)
{
    enum err e = ERR_OK;
    for (size_t i = 0; i < call_lines(writing->call) && e == ERR_OK; i++) {
        struct line line = call_line(writing->call, i);
        json_t *json = NULL;
        Knockbox__Record *record = NULL;
        struct err_text later; /* a bad line is told in its turn */
        if (!may_be_site(line) || json_parse(line.text, line.len, &json, &later) != ERR_OK)
            continue;
        arena_reset(&writing->line);
        if (record_from_json(json, &writing->line, &record, &later) == ERR_OK &&
            record->body_case == KNOCKBOX__RECORD__BODY_SITE_)
            e = remember_site(writing, record->site_, why);
        json_decref(json);
    }
    return e;
}

static enum err
check_writer(const struct writing *writing, const struct draft *draft, struct err_text *why)
{
    const struct caller *caller = writing->call->caller;
    unsigned writers = draft->kind->writers;
    if (writing->mode == WRITE_IMPORT)
        writers |= ROLE_BIT_OFFICE | ROLE_BIT_OPERATOR; /* who keys in what was on paper */
    if ((writers & caller->roles) != 0)
        return ERR_OK;
    return err_set(ERR_DENIED, why, "%s may not write a %s",
                   caller->via[0] != '\0' ? caller->via : "this account", draft->kind->word);
}

static enum err
draft_from_json(struct writing *writing, json_t *json, struct draft *draft, struct err_text *why)
{
    enum err e = writing->loose ? loose_values(writing, json, why) : ERR_OK;
    if (e == ERR_OK)
        e = record_from_json(json, &writing->line, &draft->record, why);
    if (e != ERR_OK)
        return e;
    draft->kind = kind_by_number((uint32_t)draft->record->body_case);
    if (draft->kind == NULL)
        return err_set(ERR_INPUT, why, "this daemon does not know that kind of record");
    draft->said_at = draft->record->has_at_ms;
    draft->said_by = draft->record->by != NULL;
    draft->said_id = draft->record->has_id;
    return ERR_OK;
}

enum err
writing_draft(struct writing *writing, struct line line, struct draft *out_draft,
              struct err_text *why)
{
    json_t *json = NULL;
    struct draft draft = {.record = NULL};
    arena_reset(&writing->line);
    enum err e = json_parse(line.text, line.len, &json, why);
    if (e == ERR_OK)
        e = draft_from_json(writing, json, &draft, why);
    json_decref(json);
    if (e == ERR_OK)
        e = check_writer(writing, &draft, why);
    if (e == ERR_OK)
        e = draft_site(writing, &draft, why);
    if (e == ERR_OK)
        e = draft_envelope(writing, &draft, why);
    if (e == ERR_OK && !writing->checked && !writing->force)
        e = draft_check(writing, &draft, why);
    if (e == ERR_OK)
        *out_draft = draft;
    return e;
}
