/* record.c - a record and its two forms: bytes, and a line of JSON. */
#include "daemon/record/record.h"

#include <stdio.h>
#include <string.h>

#include "daemon/base/zone.h"
#include "proto/fields.h"
#include "proto/json.h"
#include "proto/nearest.h"
#include "proto/text.h"
#include "proto/when.h"

const char *const *
record_envelope_names(void)
{
    static const char *const names[] = {"site",  "epoch",  "seq",  "id",   "kind",
                                        "at",    "logged", "held", "boot", "mono_ms",
                                        "clock", "by",     "via",  "hash", NULL};
    return names;
}

/* ---- from JSON */

/* Of the envelope, what a line may state. */
static const char *const stated[] = {"site", "id", "at", "by", "held", NULL};

static void
set_body(Knockbox__Record *record, const struct kind *kind, ProtobufCMessage *body)
{
    record->body_case = (Knockbox__Record__BodyCase)kind->number;
    record->close = (Knockbox__Close *)(void *)body; /* all bodies are pointers in one union */
}

static enum err
unknown_kind(const char *word, struct err_text *why)
{
    char shown[64];
    char want[96] = "a kind of record such as tub";
    unsigned n = 0;
    const struct kind *all = kinds(&n);
    struct nearest nearest = {word, NULL, 0};
    for (unsigned i = 0; i < n; i++)
        nearest_offer(&nearest, all[i].word);
    if (nearest.best != NULL)
        (void)snprintf(want, sizeof want, "a kind of record, did you mean %s?", nearest.best);
    return err_input(why, "kind", text_shown(word, shown, sizeof shown), want);
}

static enum err
find_kind(const json_t *line, const struct kind **out_kind, struct err_text *why)
{
    const char *word = json_string_value(json_object_get(line, "kind"));
    if (word == NULL)
        return err_input(why, "kind", NULL, "a kind of record such as tub");
    *out_kind = kind_by_word(word);
    return *out_kind != NULL ? ERR_OK : unknown_kind(word, why);
}

/* A record out of the `envelope` names and all others, which are the body of its kind. */
static enum err
read_record(const json_t *object, const struct kind *kind, const char *const *envelope,
            const char *const *not_body, struct arena *arena, Knockbox__Record **out_record,
            struct err_text *why)
{
    ProtobufCMessage *record = NULL;
    ProtobufCMessage *body = NULL;
    enum err e = json_to_message(object, kind->descriptor, not_body, arena, &body, why);
    if (e == ERR_OK)
        e = json_to_partial(object, &knockbox__record__descriptor, envelope, arena, &record, why);
    if (e != ERR_OK)
        return e;
    set_body((Knockbox__Record *)(void *)record, kind, body);
    e = kind_check((Knockbox__Record *)(void *)record, why);
    if (e == ERR_OK)
        *out_record = (Knockbox__Record *)(void *)record;
    return e;
}

enum err
record_from_json(const json_t *line, struct arena *arena, Knockbox__Record **out_record,
                 struct err_text *why)
{
    const struct kind *kind = NULL;
    const struct zone *zone = NULL;
    Knockbox__Record *record = NULL;
    enum err e = find_kind(line, &kind, why);
    if (e == ERR_OK)
        e = read_record(line, kind, stated, record_envelope_names(), arena, &record, why);
    if (e == ERR_OK && record->body_case == KNOCKBOX__RECORD__BODY_SITE_)
        e = zone_find(record->site_->zone, &zone, why);
    if (e == ERR_OK)
        *out_record = record;
    return e;
}

enum err
record_from_correction(const char *body_json, const struct kind *kind, struct arena *arena,
                       Knockbox__Record **out_record, struct err_text *why)
{
    static const char *const moved[] = {"at", NULL};
    json_t *object = NULL;
    enum err e = json_parse(body_json, strlen(body_json), &object, why);
    if (e == ERR_OK)
        e = read_record(object, kind, moved, moved, arena, out_record, why);
    json_decref(object);
    return e;
}

/* ---- to JSON */

/* A line that grows; `failed` once memory was short. */
struct line {
    json_t *object;
    bool failed;
};

static void
put(struct line *line, const char *name, json_t *value)
{
    line->failed = json_object_set_new(line->object, name, value) != 0 || line->failed;
}

static void
put_text(struct line *line, const char *name, const char *text)
{
    if (text != NULL && text[0] != '\0')
        put(line, name, json_string(text));
}

/* An instant of a daemon's clock: in UTC, with Z. */
static void
put_utc(struct line *line, const char *name, bool has, int64_t ms)
{
    char text[WHEN_TEXT];
    if (!has)
        return;
    (void)when_print(ms, 0, text);
    memcpy(text + strlen(text) - strlen("+00:00"), "Z", 2);
    put_text(line, name, text);
}

static void
put_hex(struct line *line, const char *name, bool has, const uint8_t *bytes, size_t n)
{
    char text[2 * HASH_SIZE + 1];
    if (has && n <= HASH_SIZE)
        put_text(line, name, hex_print(bytes, n, text));
}

/* site epoch seq id kind at */
static void
put_first(struct line *line, const Knockbox__Record *record)
{
    char text[WHEN_TEXT];
    char id[ID_TEXT];
    const struct kind *kind = kind_by_number((uint32_t)record->body_case);
    put_text(line, "site", record->site);
    if (record->has_epoch)
        put(line, "epoch", json_integer(record->epoch));
    if (record->has_seq)
        put(line, "seq", json_integer((json_int_t)record->seq));
    if (record->has_id && record->id.len == ID_SIZE)
        put_text(line, "id", id_print(record->id.data, id));
    put_text(line, "kind", kind != NULL ? kind->word : NULL);
    if (record->has_at_ms)
        put_text(line, "at", when_print(record->at_ms, record->at_offset_min, text));
}

/* logged held boot mono_ms clock by via hash */
static void
put_second(struct line *line, const Knockbox__Record *record, const uint8_t *hash, int64_t held_ms)
{
    bool held_beside = held_ms >= 0;
    put_utc(line, "logged", record->has_logged_ms, record->logged_ms);
    put_utc(line, "held", held_beside || record->has_held_ms,
            held_beside ? held_ms : record->held_ms);
    put_hex(line, "boot", record->has_boot, record->boot.data, record->boot.len);
    if (record->has_mono_ms)
        put(line, "mono_ms", json_integer((json_int_t)record->mono_ms));
    if (record->has_clock)
        put_text(line, "clock", enum_word(&knockbox__clock__descriptor, (int)record->clock));
    put_text(line, "by", record->by);
    put_text(line, "via", record->via);
    put_hex(line, "hash", hash != NULL, hash, HASH_SIZE);
}

enum err
record_to_json(const Knockbox__Record *record, const uint8_t hash[HASH_SIZE], int64_t held_ms,
               json_t **out_line, struct err_text *why)
{
    struct line line = {json_object(), false};
    const ProtobufCMessage *body = record_body(record);
    put_first(&line, record);
    put_second(&line, record, hash, held_ms);
    enum err e = ERR_OK;
    if (line.object == NULL || line.failed)
        e = err_set(ERR_MEM, why, "no memory to write a record");
    else if (body != NULL)
        e = json_from_message(body, record->at_offset_min, line.object, why);
    if (e == ERR_OK)
        *out_line = line.object;
    else
        json_decref(line.object);
    return e;
}

/* ---- bytes */

static enum err
check_body_there(const Knockbox__Record *record, size_t len, struct err_text *why)
{
    const struct kind *kind = kind_by_number((uint32_t)record->body_case);
    if (kind == NULL && record->base.n_unknown_fields == 0)
        return err_input(why, "kind", NULL, "a record of some kind");
    if (kind != NULL && !kind->big && len > RECORD_MAX)
        return err_set(ERR_INPUT, why, "this %s takes %zu bytes: expected at most %d", kind->word,
                       len, RECORD_MAX);
    return kind_check(record, why);
}

enum err
record_decode(const uint8_t *bytes, size_t len, bool check, struct arena *arena,
              Knockbox__Record **out_record, struct err_text *why)
{
    const ProtobufCMessageDescriptor *descriptor = &knockbox__record__descriptor;
    ProtobufCMessage *message = NULL;
    if (len > RECORD_BIG_MAX)
        return err_set(ERR_INPUT, why, "a record of %zu bytes: expected at most %d", len,
                       RECORD_BIG_MAX);
    enum err e = check ? codec_decode(descriptor, bytes, len, arena, &message, why)
                       : codec_decode_trusted(descriptor, bytes, len, arena, &message, why);
    if (e != ERR_OK)
        return e;
    Knockbox__Record *record = (Knockbox__Record *)(void *)message;
    e = check ? check_body_there(record, len, why) : ERR_OK;
    if (e == ERR_OK)
        *out_record = record;
    return e;
}

/* ---- sameness and names */

static bool
text_same(const char *a, const char *b)
{
    return a == NULL || b == NULL ? a == b : strcmp(a, b) == 0;
}

bool
record_same(const Knockbox__Record *a, const Knockbox__Record *b)
{
    const ProtobufCMessage *body_a = record_body(a);
    const ProtobufCMessage *body_b = record_body(b);
    if (a->body_case != b->body_case || !text_same(a->site, b->site) || !text_same(a->by, b->by))
        return false;
    if (a->has_at_ms != b->has_at_ms || a->at_ms != b->at_ms)
        return false;
    return body_a == NULL ? false : message_same(body_a, body_b);
}

char *
id_print(const uint8_t id[ID_SIZE], char out[ID_TEXT])
{
    return uuid_print(id, out);
}

bool
id_parse(const char *text, uint8_t out_id[ID_SIZE])
{
    return uuid_parse(text, out_id);
}
