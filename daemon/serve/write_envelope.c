/* write_envelope.c - what the daemon itself says about a record: when, where, through whom. */
#include <stdio.h>
#include <string.h>
#include "daemon/base/zone.h"
#include "daemon/serve/write.h"

enum {
    BY_MOST = 16,
    DAY_MS = 86400000
};

/* A copy in the line's arena; NULL when it is full. */
static char *
keep(struct writing *writing, const char *text, size_t most)
{
    size_t len = strnlen(text, most);
    char *copy = arena_take(&writing->line, len + 1);
    if (copy != NULL) {
        memcpy(copy, text, len);
        copy[len] = '\0';
    }
    return copy;
}

/* "uid 1000 (mara)" signs as mara; "key 3f9a..." signs as nobody. */
static void
account_name(const char *via, char out[BY_MOST + 1])
{
    const char *open = strchr(via, '(');
    const char *close = open != NULL ? strchr(open, ')') : NULL;
    out[0] = '\0';
    if (close == NULL)
        return;
    size_t len = (size_t)(close - open - 1);
    if (len > BY_MOST)
        len = BY_MOST;
    memcpy(out, open + 1, len);
    out[len] = '\0';
}

static enum err
fill_when(struct writing *writing, struct draft *draft, struct err_text *why)
{
    Knockbox__Record *record = draft->record;
    if (!record->has_at_ms) {
        record->has_at_ms = true;
        record->at_ms = writing->now_ms;
    }
    const char *name = writing_zone(writing, draft->site, (int32_t)(record->at_ms / DAY_MS));
    const struct zone *zone = NULL;
    if (name[0] == '\0') {
        record->has_at_offset_min = true; /* no zone known yet: as the line says, else UTC */
        return ERR_OK;
    }
    enum err e = zone_find(name, &zone, why);
    if (e != ERR_OK)
        return e;
    record->has_at_offset_min = true;
    record->at_offset_min = zone_offset_min(zone, record->at_ms);
    record->zone = keep(writing, name, 64);
    return record->zone != NULL ? ERR_OK : err_set(ERR_MEM, why, "no memory for this record");
}

static enum err
fill_who(struct writing *writing, struct draft *draft, struct err_text *why)
{
    Knockbox__Record *record = draft->record;
    const char *via = writing->call->caller->via;
    char name[BY_MOST + 1];
    account_name(via, name);
    if (record->by == NULL && name[0] != '\0')
        record->by = keep(writing, name, BY_MOST);
    record->via = keep(writing, via, 64);
    return record->via != NULL ? ERR_OK : err_set(ERR_MEM, why, "no memory for this record");
}

static enum err
fill_machine(struct writing *writing, struct draft *draft, struct err_text *why)
{
    Knockbox__Record *record = draft->record;
    const struct clock *clock = &writing->call->serve->options.clock;
    record->has_logged_ms = true;
    record->logged_ms = writing->now_ms;
    record->has_mono_ms = true;
    record->mono_ms = clock->mono_ms(clock->owner);
    record->has_clock = true;
    record->clock = clock->synchronised(clock->owner) ? KNOCKBOX__CLOCK__CLOCK_SYNCHRONISED
                                                      : KNOCKBOX__CLOCK__CLOCK_UNKNOWN;
    record->has_boot = true;
    record->boot.len = sizeof clock->boot;
    record->boot.data = (uint8_t *)keep(writing, "12345678", sizeof clock->boot);
    if (record->boot.data == NULL)
        return err_set(ERR_MEM, why, "no memory for this record");
    memcpy(record->boot.data, clock->boot, sizeof clock->boot);
    return ERR_OK;
}

static enum err
fill_id(struct writing *writing, struct draft *draft, struct err_text *why)
{
    Knockbox__Record *record = draft->record;
    if (record->has_id)
        return ERR_OK;
    record->id.data = arena_take(&writing->line, ID_SIZE);
    if (record->id.data == NULL)
        return err_set(ERR_MEM, why, "no memory for this record");
    clock_new_id(&writing->call->serve->options.clock, record->id.data);
    record->id.len = ID_SIZE;
    record->has_id = true;
    return ERR_OK;
}

enum err
draft_envelope(struct writing *writing, struct draft *draft, struct err_text *why)
{
    draft->record->site = keep(writing, draft->site, SITE_SIZE);
    if (draft->record->site == NULL)
        return err_set(ERR_MEM, why, "no memory for this record");
    enum err e = fill_when(writing, draft, why);
    if (e == ERR_OK)
        e = fill_who(writing, draft, why);
    if (e == ERR_OK)
        e = fill_machine(writing, draft, why);
    return e == ERR_OK ? fill_id(writing, draft, why) : e;
}
