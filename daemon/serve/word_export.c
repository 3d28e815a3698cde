/* word_export.c - `export`: records as JSON lines, by site, epoch and number, a page at a time.
 *
 * A page ends after PAGE_ROWS records or PAGE_BYTES, so the daemon never works long for one reader
 * and no old snapshot is held. The last frame's data is {"next": "SITE EPOCH MARK SEQ"} when there
 * is more: give it back as `after`.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/serve/show.h"
#include "daemon/serve/words.h"
#include "proto/nearest.h"
#include "proto/when.h"

enum {
    PAGE_ROWS = 10000,
    PAGE_BYTES = 1024 * 1024,
    MARK_TEXT = 2 * MARK_SIZE + 1,
    NEXT_TEXT = SITE_SIZE + MARK_TEXT + 48,
};

struct export
{
    struct call *call;
    struct store_view *view;
    struct arena arena;
    const char *site; /* NULL: every one */
    const struct kind *kind;
    int32_t from, to; /* days, inclusive */
    char *buffer;     /* lines not yet sent */
    size_t used, sent, rows;
    char next[NEXT_TEXT]; /* "" as long as the page goes on */
};

static void
mark_print(const uint8_t mark[MARK_SIZE], char out[MARK_TEXT])
{
    for (size_t i = 0; i < MARK_SIZE; i++)
        (void)snprintf(out + 2 * i, 3, "%02x", mark[i]);
}

static enum err
flush(struct export *export, struct err_text *why)
{
    enum err e = call_data(export->call, export->buffer, export->used, why);
    export->sent += export->used;
    export->used = 0;
    return e;
}

static enum err
put_line(struct export *export, json_t *line, struct err_text *why)
{
    char *text = json_dumps(line, JSON_COMPACT);
    size_t len = text != NULL ? strlen(text) : 0;
    enum err e = text != NULL ? ERR_OK : err_set(ERR_MEM, why, "no memory for a line");
    if (e == ERR_OK && export->used + len + 1 > SERVE_PIECE)
        e = flush(export, why);
    if (e == ERR_OK && len + 1 > SERVE_PIECE) {
        e = call_data(export->call, text, len, why); /* a big one goes by itself */
        export->sent += len;
        len = 0;
    }
    if (e == ERR_OK) {
        memcpy(export->buffer + export->used, text, len);
        export->buffer[export->used + len] = '\n';
        export->used += len + 1;
    }
    free(text);
    return e;
}

/* The business day of a record, of a `close` the day that it closes. */
static int32_t
day_of(const struct export *export, const Knockbox__Record *record)
{
    if (record->body_case == KNOCKBOX__RECORD__BODY_CLOSE)
        return record->close->day;
    return catalogue_business_day(ledger_catalogue(export->call->serve->options.ledger),
                                  record->site, record->at_ms, record->at_offset_min);
}

static bool
is_wanted(const struct export *export, const Knockbox__Record *record)
{
    if (export->kind != NULL && (uint32_t)record->body_case != export->kind->number)
        return false;
    if (export->from == INT32_MIN && export->to == INT32_MAX)
        return true;
    int32_t day = day_of(export, record);
    return export->from <= day && day <= export->to;
}

static enum err
put_record(struct export *export, uint64_t lsn, struct err_text *why)
{
    struct stored stored;
    Knockbox__Record *record = NULL;
    json_t *line = NULL;
    enum err e = store_get(export->view, lsn, &stored, why);
    arena_reset(&export->arena);
    if (e == ERR_OK)
        e = record_decode(stored.bytes, stored.len, false, &export->arena, &record, why);
    if (e != ERR_OK || !is_wanted(export, record))
        return e;
    e = record_to_json(record, stored.hash, stored.held_ms, &line, why);
    if (e == ERR_OK)
        e = put_line(export, line, why);
    json_decref(line);
    return e;
}

/* Records of one log from `seq` on, until its end or the page's. */
static enum err
put_log(struct export *export, const struct log_mark *log, uint64_t seq, struct err_text *why)
{
    enum err e = ERR_OK;
    for (; seq <= log->seq && e == ERR_OK; seq++) {
        uint64_t lsn = 0;
        if (export->rows++ == PAGE_ROWS || export->sent + export->used > PAGE_BYTES) {
            char mark[MARK_TEXT];
            mark_print(log->mark, mark);
            (void)snprintf(export->next, sizeof export->next, "%s %u %s %llu", log->site,
                           log->epoch, mark, (unsigned long long)seq);
            return ERR_OK;
        }
        e = store_find_seq(export->view, log->site, log->epoch, log->mark, seq, &lsn, why);
        if (e == ERR_NOT_FOUND && log->partial)
            e = ERR_OK; /* the hub's log seen from a café has gaps */
        else if (e == ERR_OK)
            e = put_record(export, lsn, why);
    }
    return e;
}

/* Where the page before ended: the log in the list, and the number to go on with. */
static bool
find_after(const char *after, const struct log_mark *logs, size_t n, size_t *out_log,
           uint64_t *out_seq)
{
    char site[SITE_SIZE], mark[MARK_TEXT], own[MARK_TEXT];
    unsigned epoch = 0;
    unsigned long long seq = 0;
    if (sscanf(after, "%64s %u %16s %llu", site, &epoch, mark, &seq) != 4)
        return false;
    for (size_t i = 0; i < n; i++) {
        mark_print(logs[i].mark, own);
        if (strcmp(logs[i].site, site) != 0 || logs[i].epoch != epoch || strcmp(own, mark) != 0)
            continue;
        *out_log = i;
        *out_seq = seq;
        return true;
    }
    return false;
}

static enum err
put_logs(struct export *export, const struct log_mark *logs, size_t n, struct err_text *why)
{
    const char *after = call_arg(export->call, "after");
    size_t i = 0;
    uint64_t seq = 1;
    enum err e = ERR_OK;
    if (after != NULL && !find_after(after, logs, n, &i, &seq))
        return err_input(why, "after", after, "what the page before gave as `next`");
    for (; i < n && e == ERR_OK && export->next[0] == '\0'; i++, seq = 1)
        e = put_log(export, &logs[i], seq, why);
    return e == ERR_OK ? flush(export, why) : e;
}

static enum err
put_all(struct export *export, struct err_text *why)
{
    size_t n = 0;
    struct log_mark *logs = NULL;
    enum err e = show_logs(export->view, export->site, &logs, &n, why);
    if (e == ERR_OK)
        e = put_logs(export, logs, n, why);
    free(logs);
    return e;
}

static enum err
parse_kind(const struct call *call, const struct kind **out_kind, struct err_text *why)
{
    const char *word = call_arg(call, "kind");
    if (word == NULL || (*out_kind = kind_by_word(word)) != NULL)
        return ERR_OK;
    struct nearest nearest = {word, NULL, 0};
    unsigned n;
    const struct kind *all = kinds(&n);
    char want[128];
    for (unsigned i = 0; i < n; i++)
        nearest_offer(&nearest, all[i].word);
    (void)snprintf(want, sizeof want, "a kind of record, such as %s",
                   nearest.best != NULL ? nearest.best : "tub or close");
    return err_input(why, "kind", word, want);
}

static enum err
parse_filters(struct export *export, struct err_text *why)
{
    export->site = call_arg(export->call, "site");
    export->from = INT32_MIN;
    export->to = INT32_MAX;
    enum err e = call_day(export->call, "from", &export->from, why);
    if (e == ERR_OK)
        e = call_day(export->call, "to", &export->to, why);
    return e == ERR_OK ? parse_kind(export->call, &export->kind, why) : e;
}

static enum err
export_open(struct export *export, struct err_text *why)
{
    enum err e = parse_filters(export, why);
    if (e == ERR_OK)
        e = ledger_catch_up(export->call->serve->options.ledger, why);
    if (e == ERR_FULL && export->from == INT32_MIN && export->to == INT32_MAX)
        e = ERR_OK; /* the logs are read, not the books that wait for room */
    if (e == ERR_OK)
        e = arena_init(&export->arena, ARENA_BIG_RECORD, why);
    if (e == ERR_OK && (export->buffer = malloc(SERVE_PIECE + 1)) == NULL)
        e = err_set(ERR_MEM, why, "no memory to export");
    return e == ERR_OK ? store_look(export->call->serve->options.store, &export->view, why) : e;
}

enum err
word_export(struct call *call, struct err_text *why)
{
    struct export export = {.call = call};
    enum err e = export_open(&export, why);
    if (e == ERR_OK)
        e = put_all(&export, why);
    if (e == ERR_OK && export.next[0] != '\0')
        e = call_json(call, json_pack("{s:s}", "next", export.next), why);
    if (export.view != NULL)
        store_done(&export.view);
    arena_done(&export.arena);
    free(export.buffer);
    return e;
}
