/* wire.c - helpers around the messages of sync.proto. */
#include "daemon/sync/wire.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/record/record.h"

enum err
wire_unpack(const uint8_t *bytes, size_t len, struct arena *arena,
            const Knockbox__Wire **out_message, struct err_text *why)
{
    ProtobufCMessage *message = NULL;
    if (len == 0 || len > WIRE_MOST)
        return err_set(ERR_INPUT, why, "a frame has 1 to %d bytes, this has %zu", WIRE_MOST, len);
    arena_reset(arena);
    enum err e = codec_decode(&knockbox__wire__descriptor, bytes, len, arena, &message, why);
    if (e == ERR_OK)
        *out_message = (const Knockbox__Wire *)message;
    return e;
}

void
wire_mark(const struct log_mark *place, Knockbox__Mark *out_mark)
{
    knockbox__mark__init(out_mark);
    out_mark->has_epoch = out_mark->has_mark = out_mark->has_seq = out_mark->has_hash = true;
    out_mark->epoch = place->epoch;
    out_mark->mark = (ProtobufCBinaryData){MARK_SIZE, (uint8_t *)place->mark};
    out_mark->seq = place->seq;
    out_mark->hash = (ProtobufCBinaryData){HASH_SIZE, (uint8_t *)place->hash};
}

void
wire_place(const Knockbox__Mark *mark, struct log_mark *out_place)
{
    memset(out_place, 0, sizeof *out_place);
    out_place->epoch = mark->epoch;
    out_place->seq = mark->seq;
    memcpy(out_place->mark, mark->mark.data, MARK_SIZE);
    memcpy(out_place->hash, mark->hash.data, HASH_SIZE);
}

bool
wire_same_log(const struct log_mark *a, const struct log_mark *b)
{
    return a->epoch == b->epoch && memcmp(a->mark, b->mark, MARK_SIZE) == 0;
}

enum err
wire_logs(struct store_view *view, const char *site, struct log_mark **out_logs, size_t *out_n,
          struct err_text *why)
{
    size_t n = 0;
    enum err e = store_marks(view, site, NULL, 0, &n, why);
    struct log_mark *logs = e == ERR_OK ? calloc(n + 1, sizeof *logs) : NULL;
    if (e == ERR_OK && logs == NULL)
        e = err_set(ERR_MEM, why, "out of memory");
    if (e == ERR_OK)
        e = store_marks(view, site, logs, n, &n, why);
    if (e != ERR_OK) {
        free(logs);
        return e;
    }
    *out_logs = logs;
    *out_n = n;
    return ERR_OK;
}

enum err
wire_hash_at(struct store_view *view, const char *site, const struct log_mark *log, uint64_t seq,
             uint8_t out_hash[HASH_SIZE], struct err_text *why)
{
    uint64_t lsn = 0;
    struct stored stored;
    if (seq == 0) {
        memset(out_hash, 0, HASH_SIZE);
        return ERR_OK;
    }
    enum err e = store_find_seq(view, site, log->epoch, log->mark, seq, &lsn, why);
    if (e == ERR_OK)
        e = store_get(view, lsn, &stored, why);
    if (e == ERR_OK)
        memcpy(out_hash, stored.hash, HASH_SIZE);
    return e;
}

enum err
wire_record(const ProtobufCBinaryData *bytes, const char *site, const struct log_mark *log,
            uint64_t seq, struct arena *arena, struct stored *out, struct err_text *why)
{
    Knockbox__Record *record = NULL;
    arena_reset(arena);
    enum err e = record_decode(bytes->data, bytes->len, true, arena, &record, why);
    if (e != ERR_OK)
        return e;
    bool fits = strcmp(record->site, site) == 0 && record->epoch == log->epoch &&
                memcmp(record->mark.data, log->mark, MARK_SIZE) == 0 && record->seq == seq;
    if (!fits)
        return err_set(ERR_INPUT, why, "record %llu says it is another one",
                       (unsigned long long)seq);
    memset(out, 0, sizeof *out);
    out->seq = seq;
    out->held_ms = record->has_held_ms ? record->held_ms : 0;
    memcpy(out->id, record->id.data, ID_SIZE);
    out->bytes = bytes->data;
    out->len = bytes->len;
    return ERR_OK;
}

void
wire_refuse(const struct wire *wire, const struct peer *peer, enum err code, const char *text)
{
    char words[500];
    Knockbox__Wire message = KNOCKBOX__WIRE__INIT;
    Knockbox__Refuse refuse = KNOCKBOX__REFUSE__INIT;
    (void)snprintf(words, sizeof words, "%.480s", text);
    refuse.has_code = refuse.has_version = true;
    refuse.code = (uint32_t)code;
    refuse.version = WIRE_VERSION;
    refuse.text = words;
    message.what_case = KNOCKBOX__WIRE__WHAT_REFUSE;
    message.refuse = &refuse;
    (void)wire->send(wire->owner, peer, &message);
}

enum err
wire_check_version(uint32_t version, const char *who, struct err_text *why)
{
    if (version > WIRE_VERSION)
        return err_set(ERR_FORMAT, why,
                       "%s speaks version %u of the protocol, this side speaks up to %d: upgrade "
                       "this side first",
                       who, version, WIRE_VERSION);
    if (version < WIRE_OLDEST)
        return err_set(ERR_FORMAT, why,
                       "%s speaks version %u of the protocol, this side speaks %d and later: "
                       "upgrade %s",
                       who, version, WIRE_OLDEST, who);
    return ERR_OK;
}

bool
wire_can_fall_back(const Knockbox__Refuse *refuse, uint32_t spoken)
{
    return refuse->code == ERR_FORMAT && refuse->has_version && refuse->version < spoken &&
           refuse->version >= WIRE_OLDEST;
}
