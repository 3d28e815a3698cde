/* word_write.c - `write`: lines become records, all or nothing, or the good ones.
 *
 * `brief`: the answer has the numbers, and no list of what was written.
 */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/serve/alcohol.h"
#include "daemon/serve/show.h"
#include "daemon/serve/words.h"
#include "daemon/serve/write.h"
#include "proto/when.h"

enum {
    REFUSED_MOST = 200,
    LISTED_MOST = 100,
    HASH_TEXT = 2 * HASH_SIZE + 1
};

/* What was written into one epoch: first and last number. */
struct range {
    char site[SITE_SIZE];
    uint32_t epoch;
    uint64_t first, last;
};

/* What came of the lines so far. */
struct result {
    size_t written, already;
    struct range *ranges;
    size_t n_ranges;
    json_t *records; /* of the first `listed_most` written ones */
    size_t listed_most;
    json_t *refused; /* one object a bad line */
    bool own_day;    /* nothing of the catalogue is among them: the ledger may wait */
    enum err worst;
    struct err_text first_why; /* of the first bad line */
};

static char *
print_hash(const uint8_t hash[HASH_SIZE], char out[HASH_TEXT])
{
    static const char digits[] = "0123456789abcdef";
    for (size_t i = 0; i < HASH_SIZE; i++) {
        out[2 * i] = digits[hash[i] >> 4];
        out[2 * i + 1] = digits[hash[i] & 15];
    }
    out[HASH_TEXT - 1] = '\0';
    return out;
}

static enum err
note_range(struct result *result, const char *site, const struct stored *stored,
           struct err_text *why)
{
    for (size_t i = 0; i < result->n_ranges; i++) {
        struct range *r = &result->ranges[i];
        if (strcmp(r->site, site) == 0 && r->epoch == stored->epoch) {
            r->last = stored->seq;
            return ERR_OK;
        }
    }
    struct range *grown = realloc(result->ranges, (result->n_ranges + 1) * sizeof *grown);
    if (grown == NULL)
        return err_set(ERR_MEM, why, "no memory for the answer");
    result->ranges = grown;
    struct range *r = &grown[result->n_ranges++];
    *r = (struct range){.epoch = stored->epoch, .first = stored->seq, .last = stored->seq};
    memcpy(r->site, site, strnlen(site, SITE_SIZE - 1));
    return ERR_OK;
}

/* An order of what is made on spirit says so at once. */
static void
mark_order(const struct writing *writing, const struct draft *draft, json_t *line)
{
    const struct serve_options *options = &writing->call->serve->options;
    if (draft->kind->number != KNOCKBOX__RECORD__BODY_ORDER)
        return;
    const char *product = draft->record->order->product;
    int32_t today = show_today(writing->call, options->site);
    if (alcohol_in_product(ledger_catalogue(options->ledger), product, today))
        (void)json_object_set_new(line, "alcoholic", json_true());
}

static enum err
note_written(struct writing *writing, struct result *result, const struct draft *draft,
             const struct stored *stored, struct err_text *why)
{
    char id[ID_TEXT], hash[HASH_TEXT];
    if (json_array_size(result->records) < result->listed_most) {
        json_t *line =
            json_pack("{s:s, s:I, s:I, s:s, s:s}", "site", draft->site, "epoch",
                      (json_int_t)stored->epoch, "seq", (json_int_t)stored->seq, "id",
                      id_print(draft->record->id.data, id), "hash", print_hash(stored->hash, hash));
        mark_order(writing, draft, line);
        if (json_array_append_new(result->records, line) != 0)
            return err_set(ERR_MEM, why, "no memory for the answer");
    }
    result->written++;
    result->own_day = result->own_day && draft->kind->group == KIND_SITE &&
                      draft->kind->number != KNOCKBOX__RECORD__BODY_CORRECT;
    return note_range(result, draft->site, stored, why);
}

/* ---- the same id again (report rule F5) */

/* What a line left out cannot differ. */
static void
take_unsaid(const struct draft *draft, const Knockbox__Record *stored)
{
    if (!draft->said_at)
        draft->record->at_ms = stored->at_ms;
    if (!draft->said_by)
        draft->record->by = stored->by;
}

static enum err
same_as_stored(struct writing *writing, const struct draft *draft, struct store_view *view,
               uint64_t lsn, struct err_text *why)
{
    struct stored stored;
    Knockbox__Record *old = NULL;
    char id[ID_TEXT];
    enum err e = writing_look_up(writing, why);
    if (e == ERR_OK)
        e = store_get(view, lsn, &stored, why);
    if (e == ERR_OK)
        e = record_decode(stored.bytes, stored.len, false, &writing->other, &old, why);
    if (e != ERR_OK)
        return e;
    take_unsaid(draft, old);
    if (record_same(old, draft->record))
        return ERR_OK;
    return err_input(why, "id", id_print(draft->record->id.data, id),
                     "an id of its own: the log has another record under this one");
}

/* *out_there: the log has this very statement already. */
static enum err
look_for_id(struct writing *writing, const struct draft *draft, struct store_view *view,
            bool *out_there, struct err_text *why)
{
    uint64_t lsn = 0;
    *out_there = false;
    if (!draft->said_id)
        return ERR_OK;
    enum err e = store_find_id(view, draft->record->id.data, &lsn, why);
    if (e == ERR_NOT_FOUND)
        return ERR_OK;
    if (e == ERR_OK)
        e = same_as_stored(writing, draft, view, lsn, why);
    *out_there = e == ERR_OK;
    return e;
}

/* ---- line by line */

static enum err
append(struct writing *writing, const struct draft *draft, struct store_txn *txn,
       struct result *result, struct err_text *why)
{
    struct stored stored = {0};
    bool there = false;
    enum err e = look_for_id(writing, draft, store_txn_view(txn), &there, why);
    if (e != ERR_OK)
        return e;
    if (there) {
        result->already++;
        return ERR_OK;
    }
    e = store_append(txn, draft->site, draft->record, &stored, why);
    if (e != ERR_OK)
        return e;
    draft_is_written(writing, draft);
    return note_written(writing, result, draft, &stored, why);
}

static bool
is_the_lines_fault(enum err e)
{
    return e == ERR_INPUT || e == ERR_DENIED || e == ERR_USAGE;
}

static enum err
note_refused(struct result *result, size_t line, enum err e, struct err_text *bad,
             struct err_text *why)
{
    json_t *entry =
        json_pack("{s:I, s:s, s:s, s:s, s:s, s:s}", "line", (json_int_t)line, "code", err_word(e),
                  "field", bad->field, "got", bad->got, "want", bad->want, "message", bad->s);
    if (json_array_append_new(result->refused, entry) != 0)
        return err_set(ERR_MEM, why, "no memory for the answer");
    if (result->worst == ERR_OK) {
        result->worst = e;
        result->first_why = *bad;
    }
    return ERR_OK;
}

static bool
is_blank(struct line line)
{
    for (size_t i = 0; i < line.len; i++)
        if (line.text[i] == '\0' || strchr(" \t\r", line.text[i]) == NULL)
            return false;
    return true;
}

/* The draft of line i. The one made last is there still: a request of one line, checked first and
 * then written, is read once. */
static enum err
draft_line(struct writing *writing, size_t i, struct draft *out_draft, struct err_text *why)
{
    if (writing->has_last && writing->last_line == i) {
        *out_draft = writing->last;
        return ERR_OK;
    }
    enum err e = writing_draft(writing, call_line(writing->call, i), out_draft, why);
    writing->has_last = e == ERR_OK;
    writing->last_line = i;
    writing->last = *out_draft;
    return e;
}

static enum err
take_line(struct writing *writing, size_t i, struct store_txn *txn, struct result *result,
          struct err_text *why)
{
    struct draft draft = {.record = NULL};
    if (is_blank(call_line(writing->call, i)))
        return ERR_OK;
    struct err_text bad = {.s = ""};
    enum err e = draft_line(writing, i, &draft, &bad);
    if (e == ERR_OK && writing->mode != WRITE_CHECK)
        e = append(writing, &draft, txn, result, &bad);
    if (is_the_lines_fault(e))
        return note_refused(result, i + 1, e, &bad, why);
    if (e != ERR_OK)
        *why = bad;
    return e;
}

static enum err
take_lines(struct writing *writing, struct store_txn *txn, bool keep_good, struct result *result,
           struct err_text *why)
{
    size_t n = call_lines(writing->call);
    enum err e = ERR_OK;
    for (size_t i = 0; i < n && e == ERR_OK; i++) {
        if (!keep_good && json_array_size(result->refused) >= REFUSED_MOST)
            break; /* enough to go on with; nothing will be written anyway */
        e = take_line(writing, i, txn, result, why);
    }
    return e;
}

/* ---- the answer */

static json_t *
ranges_json(const struct result *result)
{
    json_t *list = json_array();
    for (size_t i = 0; i < result->n_ranges; i++) {
        const struct range *r = &result->ranges[i];
        (void)json_array_append_new(
            list, json_pack("{s:s, s:I, s:I, s:I}", "site", r->site, "epoch", (json_int_t)r->epoch,
                            "first", (json_int_t)r->first, "last", (json_int_t)r->last));
    }
    return list;
}

/* What a person waits for at a close, printed at once: values built for it and printed by the
 * library would take as long as the append. A site's code needs no escapes in JSON. */
static enum err
send_brief(struct call *call, const struct result *result, struct err_text *why)
{
    const struct range *r = &result->ranges[0];
    char text[SITE_SIZE + 200];
    int len =
        snprintf(text, sizeof text,
                 "{\"written\":%zu,\"already\":%zu,\"numbers\":[{\"site\":\"%s\",\"epoch\":%" PRIu32
                 ",\"first\":%" PRIu64 ",\"last\":%" PRIu64 "}],\"records\":[],\"refused\":[]}",
                 result->written, result->already, r->site, r->epoch, r->first, r->last);
    return call_data(call, text, (size_t)len, why);
}

static enum err
send_result(struct call *call, struct result *result, bool nothing, struct err_text *why)
{
    if (result->listed_most == 0 && !nothing && result->n_ranges == 1 &&
        json_array_size(result->refused) == 0)
        return send_brief(call, result, why);
    return call_json(call,
                     json_pack("{s:I, s:I, s:o, s:O, s:O}", "written",
                               (json_int_t)(nothing ? 0 : result->written), "already",
                               (json_int_t)result->already, "numbers",
                               nothing ? json_array() : ranges_json(result), "records",
                               result->records, "refused", result->refused),
                     why);
}

/* All or nothing, and a line was bad: say which and why. */
static enum err
refuse_all(struct call *call, struct result *result, struct err_text *why)
{
    size_t bad = json_array_size(result->refused);
    json_int_t line =
        json_integer_value(json_object_get(json_array_get(result->refused, 0), "line"));
    (void)json_array_clear(result->records);
    enum err e = send_result(call, result, true, why);
    if (e != ERR_OK)
        return e;
    *why = result->first_why;
    if (call_lines(call) > 1)
        err_prefix(why, "line %lld: ", (long long)line);
    if (bad > 1) {
        size_t len = strlen(why->s);
        (void)snprintf(why->s + len, sizeof why->s - len, " (and %zu more bad lines)", bad - 1);
    }
    return result->worst;
}

static enum err
end_write(struct call *call, struct store_txn **txn, struct result *result, bool keep_good,
          struct err_text *why)
{
    bool nothing = !keep_good && result->worst != ERR_OK;
    enum err e = ERR_OK;
    if (*txn != NULL && (nothing || result->written == 0))
        store_abort(txn);
    else if (*txn != NULL)
        e = store_commit(txn, why);
    if (e != ERR_OK)
        return e;
    if (nothing)
        return refuse_all(call, result, why);
    if (result->written > 0) {
        if (result->own_day)
            call->serve->seen += result->written;
        if (call->serve->options.wrote != NULL)
            call->serve->options.wrote(call->serve->options.owner);
    }
    return send_result(call, result, false, why);
}

static enum err
parse_mode(const struct call *call, enum write_mode *out_mode, struct err_text *why)
{
    static const char *const names[] = {"log", "import", "check"};
    const char *mode = call_arg(call, "mode");
    for (unsigned i = 0; mode != NULL && i < sizeof names / sizeof names[0]; i++) {
        if (strcmp(mode, names[i]) == 0) {
            *out_mode = (enum write_mode)i;
            return ERR_OK;
        }
    }
    return err_input(why, "mode", mode, "log, import or check");
}

/* Looks at every line before the log is opened for writing: a check may ask the ledger, which
 * writes too, and there is one writer at a time. */
static enum err
check_first(struct writing *writing, struct result *result, struct err_text *why)
{
    enum write_mode mode = writing->mode;
    enum err e = serve_catalogue(writing->call->serve, why);
    if (e == ERR_DAMAGED)
        e = ERR_OK; /* a record that rotted: the catalogue as it was; writing goes on */
    if (mode == WRITE_IMPORT || e != ERR_OK)
        return e;
    writing->mode = WRITE_CHECK;
    e = take_lines(writing, NULL, false, result, why);
    writing->mode = mode;
    writing->checked = true;
    return e;
}

static enum err
write_lines(struct writing *writing, struct result *result, struct err_text *why)
{
    struct call *call = writing->call;
    bool keep_good = writing->mode == WRITE_IMPORT && call_flag(call, "keep_good");
    struct store_txn *txn = NULL;
    enum err e = writing_read_sites(writing, why);
    if (e == ERR_OK)
        e = check_first(writing, result, why);
    if (e == ERR_OK && writing->mode != WRITE_CHECK && result->worst == ERR_OK) {
        e = store_begin(call->serve->options.store, &txn, why);
        if (e == ERR_OK)
            e = take_lines(writing, txn, keep_good, result, why);
    }
    if (e == ERR_OK)
        e = end_write(call, &txn, result, keep_good, why);
    store_abort(&txn);
    return e;
}

enum err
word_write(struct call *call, struct err_text *why)
{
    struct writing writing = {.call = NULL};
    struct result result = {.records = json_array(), .refused = json_array(), .own_day = true};
    enum write_mode mode = WRITE_LOG;
    enum err e = parse_mode(call, &mode, why);
    if (e == ERR_OK && call_lines(call) == 0)
        e = err_set(ERR_INPUT, why, "no records were given");
    if (e == ERR_OK && (result.records == NULL || result.refused == NULL))
        e = err_set(ERR_MEM, why, "no memory for the answer");
    if (e == ERR_OK)
        e = writing_init(&writing, call, why);
    writing.mode = mode;
    writing.force = call_flag(call, "force");
    writing.loose = call_flag(call, "loose");
    result.listed_most = call_flag(call, "brief") ? 0 : LISTED_MOST;
    if (e == ERR_OK)
        e = write_lines(&writing, &result, why);
    writing_done(&writing);
    json_decref(result.records);
    json_decref(result.refused);
    free(result.ranges);
    return e;
}
