/* lean.c - see lean.h. */
#include "daemon/ledger/lean.h"

#include <string.h>

enum {
    FIELD_SITE = 1,
    FIELD_ID = 5,
    FIELD_AT = 6,
    FIELD_OFFSET = 7,
    FIELD_ZONE = 8,
    FIRST_BODY = 32,
    TEXTS_MOST = 16384,
};

/* ---- protobuf wire format, one field after the other */

struct field {
    uint32_t number;
    uint64_t value;      /* of a varint */
    const uint8_t *data; /* of a field with a length */
    size_t len;
};

static bool
take_varint(const uint8_t **p, const uint8_t *end, uint64_t *out)
{
    *out = 0;
    for (unsigned shift = 0; *p < end && shift < 64; shift += 7) {
        uint8_t byte = *(*p)++;
        *out |= (uint64_t)(byte & 0x7F) << shift;
        if (byte < 0x80)
            return true;
    }
    return false;
}

static bool
take_field(const uint8_t **p, const uint8_t *end, struct field *out)
{
    uint64_t tag = 0, len = 0;
    *out = (struct field){.number = 0};
    if (!take_varint(p, end, &tag))
        return false;
    out->number = (uint32_t)(tag >> 3);
    out->data = *p;
    switch (tag & 7) {
    case 0:
        return take_varint(p, end, &out->value);
    case 1:
        len = 8;
        break;
    case 2:
        if (!take_varint(p, end, &len))
            return false;
        break;
    case 5:
        len = 4;
        break;
    default:
        return false;
    }
    if (len > (uint64_t)(end - *p))
        return false;
    out->data = *p;
    out->len = (size_t)len;
    *p += len;
    return true;
}

uint32_t
lean_kind(const uint8_t *bytes, size_t len)
{
    const uint8_t *p = bytes, *end = bytes + len;
    struct field field;
    while (p < end && take_field(&p, end, &field))
        if (field.number >= FIRST_BODY && kind_by_number(field.number) != NULL)
            return field.number;
    return 0;
}

/* ---- texts */

/* When there are more than could be sites and zones, the rest go as the record goes. */
static char *
shared_text(struct lean_texts *texts, uint32_t *last, const struct field *field,
            struct arena *arena)
{
    uint32_t number = *last;
    if (number >= texts->all.n || texts->all.at[number].len != field->len ||
        memcmp(texts->all.at[number].s, field->data, field->len) != 0)
        number = texts_find(&texts->all, field->data, field->len);
    if (number == TEXTS_NONE && texts->all.n < TEXTS_MOST &&
        !texts_add(&texts->all, field->data, field->len, &number))
        return NULL;
    if (number != TEXTS_NONE) {
        *last = number;
        return (char *)(uintptr_t)texts->all.at[number].s;
    }
    char *copy = arena_take(arena, field->len + 1);
    if (copy != NULL) {
        memcpy(copy, field->data, field->len);
        copy[field->len] = '\0';
    }
    return copy;
}

/* ---- the record */

static int64_t
signed_of(uint64_t zigzag)
{
    return (int64_t)(zigzag >> 1) ^ -(int64_t)(zigzag & 1);
}

static enum err
set_id(Knockbox__Record *record, const struct field *field, struct arena *arena)
{
    record->id.data = arena_take(arena, field->len > 0 ? field->len : 1);
    if (record->id.data == NULL)
        return ERR_MEM;
    memcpy(record->id.data, field->data, field->len);
    record->id.len = field->len;
    record->has_id = 1;
    return ERR_OK;
}

static enum err
set_body(Knockbox__Record *record, const struct field *field, struct arena *arena,
         struct err_text *why)
{
    ProtobufCMessage *body = NULL;
    const struct kind *kind = kind_by_number(field->number);
    if (kind == NULL)
        return ERR_OK;
    enum err e = codec_decode_trusted(kind->descriptor, field->data, field->len, arena, &body, why);
    if (e != ERR_OK)
        return e;
    record->body_case = (Knockbox__Record__BodyCase)field->number;
    record->close = (Knockbox__Close *)(void *)body; /* all bodies are pointers in one union */
    return ERR_OK;
}

static enum err
set_field(Knockbox__Record *record, const struct field *field, struct lean_texts *texts,
          struct arena *arena, struct err_text *why)
{
    switch (field->number) {
    case FIELD_SITE:
        record->site = shared_text(texts, &texts->last_site, field, arena);
        return record->site != NULL ? ERR_OK : ERR_MEM;
    case FIELD_ZONE:
        record->zone = shared_text(texts, &texts->last_zone, field, arena);
        return record->zone != NULL ? ERR_OK : ERR_MEM;
    case FIELD_ID:
        return set_id(record, field, arena);
    case FIELD_AT:
        record->has_at_ms = 1;
        record->at_ms = signed_of(field->value);
        return ERR_OK;
    case FIELD_OFFSET:
        record->has_at_offset_min = 1;
        record->at_offset_min = (int32_t)signed_of(field->value);
        return ERR_OK;
    default:
        return field->number >= FIRST_BODY ? set_body(record, field, arena, why) : ERR_OK;
    }
}

enum err
lean_decode(const uint8_t *bytes, size_t len, struct lean_texts *texts, struct arena *arena,
            Knockbox__Record **out_record, struct err_text *why)
{
    const uint8_t *p = bytes, *end = bytes + len;
    struct field field;
    enum err e = ERR_OK;
    Knockbox__Record *record = arena_take(arena, sizeof *record);
    if (record == NULL)
        return err_set(ERR_MEM, why, "ledger: out of memory");
    knockbox__record__init(record);
    while (p < end && e == ERR_OK) {
        if (!take_field(&p, end, &field))
            return err_set(ERR_DAMAGED, why, "ledger: a stored record cannot be read");
        e = set_field(record, &field, texts, arena, why);
    }
    if (e == ERR_OK && record->site == NULL)
        return err_set(ERR_DAMAGED, why, "ledger: a stored record has no site");
    if (e == ERR_OK)
        *out_record = record;
    return e;
}
