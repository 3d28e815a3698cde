/* json_write.c - a message to a JSON object. */
#include "proto/json.h"

#include <inttypes.h>
#include <stdint.h>
#include <stdio.h>

#include "proto/fields.h"
#include "proto/text.h"
#include "proto/when.h"

/* A new value, or NULL when memory is short. */
static json_t *write_message(const ProtobufCMessage *message, int offset_min);

static json_t *
write_int(const struct field_rule *rule, int64_t value, int offset_min)
{
    char text[WHEN_TEXT];
    if (rule->type == FIELD_INSTANT)
        return json_string(when_print(value, offset_min, text));
    if (rule->type == FIELD_DAY)
        return json_string(day_print((int32_t)value, text));
    return json_integer(value);
}

static json_t *
write_string(const struct field_rule *rule, const char *text)
{
    return rule->type == FIELD_JSON ? json_loads(text, 0, NULL) : json_string(text);
}

/* Longer bytes than any field of ours are not for JSON: null. */
static json_t *
write_bytes(const struct field_rule *rule, const ProtobufCBinaryData *bytes)
{
    enum {
        BYTES_MOST = 64
    };
    char text[2 * BYTES_MOST + 1];
    if (bytes->len > BYTES_MOST)
        return json_null();
    if (rule->type == FIELD_UUID && bytes->len == UUID_SIZE)
        return json_string(uuid_print(bytes->data, text));
    return json_string(hex_print(bytes->data, bytes->len, text));
}

static json_t *
write_word(const ProtobufCEnumDescriptor *words, int value)
{
    const char *word = enum_word(words, value);
    return word != NULL ? json_string(word) : json_integer(value);
}

static json_t *
write_value(const ProtobufCFieldDescriptor *field, const struct field_rule *rule, const void *value,
            int offset_min)
{
    switch (field->type) {
    case PROTOBUF_C_TYPE_STRING:
        return write_string(rule, *(const char *const *)value);
    case PROTOBUF_C_TYPE_BYTES:
        return write_bytes(rule, value);
    case PROTOBUF_C_TYPE_BOOL:
        return json_boolean(*(const protobuf_c_boolean *)value);
    case PROTOBUF_C_TYPE_ENUM:
        return write_word(field->descriptor, *(const int *)value);
    case PROTOBUF_C_TYPE_MESSAGE:
        return write_message(*(const ProtobufCMessage *const *)value, offset_min);
    case PROTOBUF_C_TYPE_INT64:
    case PROTOBUF_C_TYPE_SINT64:
    case PROTOBUF_C_TYPE_UINT64:
        return write_int(rule, *(const int64_t *)value, offset_min);
    case PROTOBUF_C_TYPE_UINT32:
        return write_int(rule, *(const uint32_t *)value, offset_min);
    default:
        return write_int(rule, *(const int32_t *)value, offset_min);
    }
}

static json_t *
write_list(const ProtobufCFieldDescriptor *field, const struct field_rule *rule,
           const uint8_t *base, int offset_min)
{
    size_t n = *(const size_t *)(base + field->quantifier_offset);
    const uint8_t *entries = *(const uint8_t *const *)(base + field->offset);
    json_t *list = json_array();
    for (size_t i = 0; list != NULL && i < n; i++) {
        const uint8_t *entry = entries + i * field_entry_size(field->type);
        if (json_array_append_new(list, write_value(field, rule, entry, offset_min)) == 0)
            continue;
        json_decref(list);
        list = NULL;
    }
    return list;
}

/* The name of an entry of a map: its first field as text. */
static const char *
entry_name(const ProtobufCMessage *entry)
{
    const ProtobufCFieldDescriptor *field = &entry->descriptor->fields[0];
    const uint8_t *value = (const uint8_t *)entry + field->offset;
    if (field->type == PROTOBUF_C_TYPE_ENUM)
        return enum_word(field->descriptor, *(const int *)(const void *)value);
    return *(const char *const *)(const void *)value;
}

static json_t *
write_map(const ProtobufCFieldDescriptor *field, const uint8_t *base, int offset_min)
{
    size_t n = *(const size_t *)(base + field->quantifier_offset);
    const ProtobufCMessage *const *entries =
        *(const ProtobufCMessage *const *const *)(base + field->offset);
    json_t *map = json_object();
    for (size_t i = 0; map != NULL && i < n; i++) {
        const ProtobufCFieldDescriptor *second = &entries[i]->descriptor->fields[1];
        const struct field_rule *rule = &message_rule(entries[i]->descriptor)->fields[1];
        const uint8_t *value = (const uint8_t *)entries[i] + second->offset;
        const char *name = entry_name(entries[i]);
        if (name != NULL &&
            json_object_set_new(map, name, write_value(second, rule, value, offset_min)) == 0)
            continue;
        json_decref(map);
        map = NULL;
    }
    return map;
}

/* Puts every field that is there into the object; false when memory is short. */
static bool
write_fields(const ProtobufCMessage *message, int offset_min, json_t *object)
{
    const uint8_t *base = (const uint8_t *)message;
    const struct message_rule *rules = message_rule(message->descriptor);
    for (unsigned i = 0; i < message->descriptor->n_fields; i++) {
        const ProtobufCFieldDescriptor *field = &message->descriptor->fields[i];
        const struct field_rule *rule = &rules->fields[i];
        if (!field_is_present(field, message))
            continue;
        bool list = field->label == PROTOBUF_C_LABEL_REPEATED;
        json_t *value = list ? write_list(field, rule, base, offset_min)
                             : write_value(field, rule, base + field->offset, offset_min);
        if (json_object_set_new(object, rule->json, value) != 0)
            return false;
    }
    return true;
}

static json_t *
write_message(const ProtobufCMessage *message, int offset_min)
{
    const struct message_rule *rules = message_rule(message->descriptor);
    const ProtobufCFieldDescriptor *first = message->descriptor->fields;
    if (rules->list)
        return write_list(first, &rules->fields[0], (const uint8_t *)message, offset_min);
    if (rules->map)
        return write_map(first, (const uint8_t *)message, offset_min);
    json_t *object = json_object();
    if (object != NULL && write_fields(message, offset_min, object))
        return object;
    json_decref(object);
    return NULL;
}

enum err
json_from_message(const ProtobufCMessage *message, int offset_min, json_t *object,
                  struct err_text *why)
{
    if (write_fields(message, offset_min, object))
        return ERR_OK;
    return err_set(ERR_MEM, why, "no memory to write JSON");
}
