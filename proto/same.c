/* same.c - do two messages say the same? */
#include "proto/codec.h"

#include <string.h>

#include "proto/fields.h"

static bool
bytes_same(const ProtobufCBinaryData *a, const ProtobufCBinaryData *b)
{
    return a->len == b->len && (a->len == 0 || memcmp(a->data, b->data, a->len) == 0);
}

static bool
value_same(const ProtobufCFieldDescriptor *field, const void *a, const void *b)
{
    switch (field->type) {
    case PROTOBUF_C_TYPE_STRING:
        return strcmp(*(const char *const *)a, *(const char *const *)b) == 0;
    case PROTOBUF_C_TYPE_BYTES:
        return bytes_same(a, b);
    case PROTOBUF_C_TYPE_MESSAGE:
        return message_same(*(const ProtobufCMessage *const *)a,
                            *(const ProtobufCMessage *const *)b);
    default:
        return memcmp(a, b, field_entry_size(field->type)) == 0;
    }
}

static bool
list_same(const ProtobufCFieldDescriptor *field, const uint8_t *a, const uint8_t *b)
{
    size_t n = *(const size_t *)(const void *)(a + field->quantifier_offset);
    if (n != *(const size_t *)(const void *)(b + field->quantifier_offset))
        return false;
    const uint8_t *a_entries = *(const uint8_t *const *)(const void *)(a + field->offset);
    const uint8_t *b_entries = *(const uint8_t *const *)(const void *)(b + field->offset);
    size_t size = field_entry_size(field->type);
    for (size_t i = 0; i < n; i++)
        if (!value_same(field, a_entries + i * size, b_entries + i * size))
            return false;
    return true;
}

static bool
field_same(const ProtobufCFieldDescriptor *field, const ProtobufCMessage *a,
           const ProtobufCMessage *b)
{
    const uint8_t *a_base = (const uint8_t *)a;
    const uint8_t *b_base = (const uint8_t *)b;
    bool present = field_is_present(field, a);
    if (present != field_is_present(field, b))
        return false;
    if (!present)
        return true;
    if (field->label == PROTOBUF_C_LABEL_REPEATED)
        return list_same(field, a_base, b_base);
    return value_same(field, a_base + field->offset, b_base + field->offset);
}

/* Fields of a later version. */
static bool
unknown_same(const ProtobufCMessage *a, const ProtobufCMessage *b)
{
    if (a->n_unknown_fields != b->n_unknown_fields)
        return false;
    for (unsigned i = 0; i < a->n_unknown_fields; i++) {
        const ProtobufCMessageUnknownField *x = &a->unknown_fields[i];
        const ProtobufCMessageUnknownField *y = &b->unknown_fields[i];
        if (x->tag != y->tag || x->len != y->len || memcmp(x->data, y->data, x->len) != 0)
            return false;
    }
    return true;
}

bool
message_same(const ProtobufCMessage *a, const ProtobufCMessage *b)
{
    if (a->descriptor != b->descriptor)
        return false;
    for (unsigned i = 0; i < a->descriptor->n_fields; i++)
        if (!field_same(&a->descriptor->fields[i], a, b))
            return false;
    return unknown_same(a, b);
}
