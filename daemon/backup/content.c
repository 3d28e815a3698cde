/* content.c - the judge of a backup's rows. */
#include "daemon/backup/content.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

const char backup_magic[PART_MAGIC] = "knockbox backup";

void
content_init(struct content *c, const char *name)
{
    memset(c, 0, sizeof *c);
    c->name = name;
}

void
content_done(struct content *c)
{
    free(c->logs);
    c->logs = NULL;
    c->n_logs = c->room = 0;
}

static enum err
damaged(const struct content *c, const char *what, struct err_text *why)
{
    return err_set(ERR_DAMAGED, why, "%.300s: %s", c->name, what);
}

static bool
is_called(const struct part_row *row, const char *name)
{
    return row->key_len == strlen(name) && memcmp(row->key, name, row->key_len) == 0;
}

/* ---- about: text, for people and for what is counted */

static enum err
take_about(struct content *c, const struct part_row *row, struct err_text *why)
{
    char text[64] = "";
    size_t len = row->value_len < sizeof text - 1 ? row->value_len : sizeof text - 1;
    (void)why;
    memcpy(text, row->value, len);
    if (is_called(row, ABOUT_MADE))
        c->made_ms = strtoll(text, NULL, 10);
    else if (is_called(row, ABOUT_BY))
        memcpy(c->made_by, text, sizeof c->made_by);
    else if (is_called(row, ABOUT_RECORDS))
        c->said_records = strtoull(text, NULL, 10);
    return ERR_OK; /* other names are of later releases, for people only */
}

/* ---- rows of the store */

static enum err
take_number(const struct content *c, const uint8_t *value, size_t len, uint64_t *out,
            struct err_text *why)
{
    if (len != 8)
        return damaged(c, "a head row is not what was written", why);
    *out = get_number(value, 8);
    return ERR_OK;
}

static enum err
take_meta(struct content *c, const struct part_row *row, struct err_text *why)
{
    size_t len = 0;
    if (!value_open(row->key, row->key_len, row->value, row->value_len, &len))
        return damaged(c, "a head row is not what was written", why);
    if (is_called(row, "format"))
        return take_number(c, row->value, len, &c->format, why);
    if (is_called(row, "reads_from"))
        return take_number(c, row->value, len, &c->reads_from, why);
    if (is_called(row, "site")) {
        if (len == 0 || len >= SITE_SIZE)
            return damaged(c, "a head row is not what was written", why);
        memcpy(c->site, row->value, len);
        c->site[len] = '\0';
    }
    if (is_called(row, "generation")) {
        if (len != MARK_SIZE)
            return damaged(c, "a head row is not what was written", why);
        memcpy(c->generation, row->value, len);
        c->has_generation = true;
    }
    return ERR_OK;
}

static enum err
room_for_log(struct content *c, struct err_text *why)
{
    if (c->n_logs < c->room)
        return ERR_OK;
    uint32_t room = c->room != 0 ? c->room * 2 : 64;
    struct content_log *more = realloc(c->logs, room * sizeof *more);
    if (more == NULL)
        return err_set(ERR_MEM, why, "out of memory for %" PRIu32 " logs", room);
    c->logs = more;
    c->room = room;
    return ERR_OK;
}

static enum err
take_log(struct content *c, const struct part_row *row, struct err_text *why)
{
    enum err e = room_for_log(c, why);
    if (e != ERR_OK)
        return e;
    struct content_log *log = &c->logs[c->n_logs];
    memset(log, 0, sizeof *log);
    if (row->key_len != 4 || get_number(row->key, 4) != (uint64_t)c->n_logs + 1 ||
        !log_unpack(row->value, row->value_len, &log->head))
        return damaged(c, "the head of a log is not what was written", why);
    c->n_logs++;
    return ERR_OK;
}

static enum err
take_note(struct content *c, const struct part_row *row, struct err_text *why)
{
    size_t len = 0;
    c->notes++;
    return value_open(row->key, row->key_len, row->value, row->value_len, &len)
               ? ERR_OK
               : damaged(c, "a noted value is not what was written", why);
}

static enum err
take_record(struct content *c, const struct part_row *row, struct err_text *why)
{
    uint32_t number = 0;
    uint64_t lsn = c->records + 1;
    bool fits = row->key_len == LSN_KEY && get_number(row->key, LSN_KEY) == lsn &&
                row_log(row->value, row->value_len, &number) && number >= 1 && number <= c->n_logs;
    struct content_log *log = fits ? &c->logs[number - 1] : NULL;
    if (log == NULL || !row_unpack(lsn, row->value, row->value_len, log->head.partial, &c->record))
        return err_set(ERR_DAMAGED, why,
                       "%.300s: record with arrival number %" PRIu64 " is not what was written",
                       c->name, lsn);
    const char *what = chain_fault(&log->end, &c->record);
    if (what != NULL)
        return err_set(ERR_DAMAGED, why,
                       "%.300s: site %s, epoch %" PRIu32 ", record %" PRIu64 ": %s", c->name,
                       log->head.site, log->head.epoch, c->record.seq, what);
    if (c->record.seq == log->head.seq && memcmp(c->record.hash, log->head.hash, HASH_SIZE) != 0)
        return err_set(ERR_DAMAGED, why,
                       "%.300s: site %s, epoch %" PRIu32 ": its head does not fit record %" PRIu64,
                       c->name, log->head.site, log->head.epoch, c->record.seq);
    chain_follow(&log->end, &c->record);
    c->records = lsn;
    c->held_ms = c->record.held_ms > c->held_ms ? c->record.held_ms : c->held_ms;
    return ERR_OK;
}

static enum err
check_format(const struct content *c, struct err_text *why)
{
    if (c->format == 0 || c->reads_from == 0 || c->site[0] == '\0' || !c->has_generation)
        return damaged(c, "the head rows are not all there", why);
    if (c->format == STORE_FORMAT)
        return ERR_OK;
    return err_set(ERR_FORMAT, why,
                   "%.300s holds a store of format %" PRIu64
                   ", this program (%s) knows formats up to %d: use the newer release",
                   c->name, c->format, KNOCKBOX_VERSION, STORE_FORMAT);
}

enum err
content_row(struct content *c, const struct part_row *row, struct err_text *why)
{
    static const char order[] = {PART_ABOUT,   PART_META,   PART_LOGS,  PART_NOTES,
                                 PART_RECORDS, PART_OUTBOX, PART_FILES, '\0'};
    const char *was = c->at != 0 ? strchr(order, (int)c->at) : order;
    if (was == NULL || strchr(was, (int)row->kind) == NULL)
        return damaged(c, "its parts are not in order", why);
    bool past_meta = row->kind != PART_ABOUT && row->kind != PART_META;
    if (past_meta && (c->at == 0 || c->at == PART_ABOUT || c->at == PART_META)) {
        enum err e = check_format(c, why); /* before anything is taken apart by it */
        if (e != ERR_OK)
            return e;
    }
    c->at = row->kind;
    switch (row->kind) {
    case PART_ABOUT:
        return take_about(c, row, why);
    case PART_META:
        return take_meta(c, row, why);
    case PART_LOGS:
        return take_log(c, row, why);
    case PART_NOTES:
        return take_note(c, row, why);
    case PART_RECORDS:
        return take_record(c, row, why);
    case PART_OUTBOX:
        c->outbox++;
        return ERR_OK;
    case PART_FILES:
        return ERR_OK;
    default:
        return damaged(c, "it has rows of an unknown kind", why);
    }
}

enum err
content_end(const struct content *c, struct err_text *why)
{
    enum err e = check_format(c, why);
    if (e == ERR_OK && c->records != c->said_records)
        return err_set(ERR_DAMAGED, why, "%.300s: %" PRIu64 " records, %" PRIu64 " were written",
                       c->name, c->records, c->said_records);
    for (uint32_t i = 0; e == ERR_OK && i < c->n_logs; i++) {
        const struct content_log *log = &c->logs[i];
        /* of the newest record's log, held whole, the row may stay behind: store-format.md */
        bool lags = c->record.log == i + 1 && !log->head.partial && log->end.seq > log->head.seq;
        if (log->end.seq == log->head.seq || lags)
            continue;
        e = err_set(ERR_DAMAGED, why,
                    "%.300s: site %s, epoch %" PRIu32 ": its head names record %" PRIu64
                    ", the last one is %" PRIu64,
                    c->name, log->head.site, log->head.epoch, log->head.seq, log->end.seq);
    }
    return e;
}
