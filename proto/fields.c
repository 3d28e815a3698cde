/* fields.c - finds the rule of a message and the words of an enum by descriptor. */
#include "proto/fields.h"
#include "proto/fields_table.h"

#include <assert.h>
#include <stddef.h>
#include <string.h>

/* A hash of descriptors, filled before main() and only read after that. */
enum {
    SLOTS = 512
};
static struct {
    const void *descriptor;
    unsigned index;
} slots[SLOTS];

static unsigned
first_slot(const void *descriptor)
{
    return (unsigned)(((uintptr_t)descriptor >> 3) * UINT64_C(0x9E3779B97F4A7C15) >> 55);
}

static void
put_slot(const void *descriptor, unsigned index)
{
    unsigned at = first_slot(descriptor);
    while (slots[at].descriptor != NULL)
        at = (at + 1) % SLOTS;
    slots[at].descriptor = descriptor;
    slots[at].index = index;
}

__attribute__((constructor)) static void
fill_slots(void)
{
    assert(fields_messages_n + fields_enums_n < SLOTS / 2);
    for (unsigned i = 0; i < fields_messages_n; i++)
        put_slot(fields_messages[i].descriptor, i);
    for (unsigned i = 0; i < fields_enums_n; i++)
        put_slot(fields_enums[i].descriptor, i);
}

/* The slot that holds the descriptor, or an empty one. */
static unsigned
find_slot(const void *descriptor)
{
    unsigned at = first_slot(descriptor);
    while (slots[at].descriptor != NULL && slots[at].descriptor != descriptor)
        at = (at + 1) % SLOTS;
    return at;
}

const struct message_rule *
message_rule(const ProtobufCMessageDescriptor *descriptor)
{
    unsigned at = find_slot(descriptor);
    return slots[at].descriptor != NULL ? &fields_messages[slots[at].index] : NULL;
}

bool
field_is_present(const ProtobufCFieldDescriptor *field, const ProtobufCMessage *message)
{
    const uint8_t *base = (const uint8_t *)message;
    if (field->label == PROTOBUF_C_LABEL_REPEATED)
        return *(const size_t *)(const void *)(base + field->quantifier_offset) > 0;
    if ((field->flags & PROTOBUF_C_FIELD_FLAG_ONEOF) != 0)
        return *(const uint32_t *)(const void *)(base + field->quantifier_offset) == field->id;
    if (field->type == PROTOBUF_C_TYPE_STRING || field->type == PROTOBUF_C_TYPE_MESSAGE)
        return *(const void *const *)(const void *)(base + field->offset) != NULL;
    return *(const protobuf_c_boolean *)(const void *)(base + field->quantifier_offset) != 0;
}

size_t
field_entry_size(ProtobufCType type)
{
    switch (type) {
    case PROTOBUF_C_TYPE_INT64:
    case PROTOBUF_C_TYPE_SINT64:
    case PROTOBUF_C_TYPE_UINT64:
        return sizeof(int64_t);
    case PROTOBUF_C_TYPE_STRING:
    case PROTOBUF_C_TYPE_MESSAGE:
        return sizeof(void *);
    case PROTOBUF_C_TYPE_BYTES:
        return sizeof(ProtobufCBinaryData);
    default:
        return sizeof(int32_t);
    }
}

const struct message_rule *
message_rules(unsigned *out_n)
{
    *out_n = fields_messages_n;
    return fields_messages;
}

static const char *const *
words_of(const ProtobufCEnumDescriptor *descriptor)
{
    unsigned at = find_slot(descriptor);
    return slots[at].descriptor != NULL ? fields_enums[slots[at].index].words : NULL;
}

const char *
enum_word(const ProtobufCEnumDescriptor *descriptor, int value)
{
    const char *const *words = words_of(descriptor);
    if (words == NULL)
        return NULL;
    for (unsigned i = 0; i < descriptor->n_values; i++)
        if (descriptor->values[i].value == value)
            return words[i];
    return NULL;
}

bool
enum_value(const ProtobufCEnumDescriptor *descriptor, const char *word, int *out_value)
{
    const char *const *words = words_of(descriptor);
    if (words == NULL)
        return false;
    for (unsigned i = 0; i < descriptor->n_values; i++) {
        if (strcmp(words[i], word) != 0)
            continue;
        *out_value = descriptor->values[i].value;
        return true;
    }
    return false;
}
