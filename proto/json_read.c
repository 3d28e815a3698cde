/* json_read.c - a JSON object to a message in an arena. */
#include "proto/json.h"

#include <errno.h>
#include <inttypes.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "proto/fields.h"
#include "proto/nearest.h"
#include "proto/place.h"
#include "proto/text.h"
#include "proto/want.h"
#include "proto/when.h"

/* What every step of the walk needs. */
struct reader {
    struct arena *arena;
    struct err_text *why;
};

/* One value on its way: JSON into the place of a field in memory. */
struct slot {
    const ProtobufCFieldDescriptor *field;
    const struct field_rule *rule;
    const struct place *place;
    void *to;
};

static enum err
no_room(struct reader *reader)
{
    return err_set(ERR_MEM, reader->why, "larger than a record may be (%zu bytes of memory)",
                   reader->arena->size);
}

/* A value as it was typed, for an error message. */
static void
typed(const json_t *json, char out[GOT_TEXT])
{
    char *text = NULL;
    if (!json_is_string(json))
        text = json_dumps(json, JSON_ENCODE_ANY | JSON_COMPACT | JSON_REAL_PRECISION(15));
    const char *shown = json_is_string(json) ? json_string_value(json) : text;
    (void)text_shown(shown != NULL ? shown : "?", out, GOT_TEXT);
    free(text);
}

/* Refuses the value; `want` NULL: what the field expects. */
static enum err
refuse(struct reader *reader, const struct slot *slot, const json_t *json, const char *hint)
{
    char path[PLACE_TEXT];
    char got[GOT_TEXT];
    char want[WANT_TEXT];
    (void)field_want(slot->field, slot->rule, want);
    size_t used = strlen(want);
    (void)snprintf(want + used, sizeof want - used, "%s", hint);
    typed(json, got);
    return err_input(reader->why, place_print(slot->place, path), got, want);
}

/* ", digits only, ..." when the text of a number holds more than a number. */
static const char *
number_hint(const char *text)
{
    if (strchr(text, ',') != NULL)
        return ", with a point and no comma";
    if (text[strspn(text, "+-.0123456789")] != '\0')
        return ", digits only, without a unit";
    return "";
}

static bool
parse_int(const char *text, int64_t *out)
{
    const char *digits = text + (*text == '-');
    if (*digits == '\0' || digits[strspn(digits, "0123456789")] != '\0')
        return false;
    errno = 0;
    *out = strtoll(text, NULL, 10);
    return errno == 0;
}

/* A whole number out of a JSON integer or a text of digits. */
static enum err
read_int(struct reader *reader, const struct slot *slot, const json_t *json, int64_t *out)
{
    if (json_is_integer(json)) {
        *out = json_integer_value(json);
        return ERR_OK;
    }
    const char *text = json_is_string(json) ? json_string_value(json) : NULL;
    if (text != NULL && parse_int(text, out))
        return ERR_OK;
    if (json_is_real(json))
        return refuse(reader, slot, json, ", a whole number");
    return refuse(reader, slot, json, text != NULL ? number_hint(text) : "");
}

/* Day and instant have a text of their own. */
static enum err
read_time(struct reader *reader, const struct slot *slot, const json_t *json, int64_t *out)
{
    int32_t day = 0;
    const char *text = json_is_string(json) ? json_string_value(json) : "";
    if (slot->rule->type == FIELD_INSTANT)
        return when_parse(text, out, NULL) ? ERR_OK : refuse(reader, slot, json, "");
    if (!day_parse(text, &day))
        return refuse(reader, slot, json, "");
    *out = day;
    return ERR_OK;
}

/* Puts a number into the field's own width; one that does not fit is out of any range. */
static enum err
put_int(struct reader *reader, const struct slot *slot, const json_t *json, int64_t value)
{
    bool fits = true;
    switch (slot->field->type) {
    case PROTOBUF_C_TYPE_INT64:
    case PROTOBUF_C_TYPE_SINT64:
        *(int64_t *)slot->to = value;
        break;
    case PROTOBUF_C_TYPE_UINT64:
        fits = value >= 0;
        *(uint64_t *)slot->to = (uint64_t)value;
        break;
    case PROTOBUF_C_TYPE_UINT32:
        fits = value >= 0 && value <= UINT32_MAX;
        *(uint32_t *)slot->to = (uint32_t)value;
        break;
    default:
        fits = value >= INT32_MIN && value <= INT32_MAX;
        *(int32_t *)slot->to = (int32_t)value;
    }
    return fits ? ERR_OK : refuse(reader, slot, json, "");
}

static enum err
read_number(struct reader *reader, const struct slot *slot, const json_t *json)
{
    int64_t value = 0;
    bool time = slot->rule->type == FIELD_INSTANT || slot->rule->type == FIELD_DAY;
    enum err e =
        time ? read_time(reader, slot, json, &value) : read_int(reader, slot, json, &value);
    return e == ERR_OK ? put_int(reader, slot, json, value) : e;
}

static enum err
read_word(struct reader *reader, const struct slot *slot, const json_t *json)
{
    const char *word = json_is_string(json) ? json_string_value(json) : "";
    if (!enum_value(slot->field->descriptor, word, slot->to))
        return refuse(reader, slot, json, "");
    return ERR_OK;
}

static enum err
read_bool(struct reader *reader, const struct slot *slot, const json_t *json)
{
    if (!json_is_boolean(json))
        return refuse(reader, slot, json, "");
    *(protobuf_c_boolean *)slot->to = json_is_true(json);
    return ERR_OK;
}

static enum err
put_text(struct reader *reader, const struct slot *slot, const char *text, size_t len)
{
    char *copy = arena_take(reader->arena, len + 1);
    if (copy == NULL)
        return no_room(reader);
    memcpy(copy, text, len + 1);
    *(char **)slot->to = copy;
    return ERR_OK;
}

/* A JSON number that a double holds exactly as typed (15 digits): -17.4 is "-17.4". */
static bool
print_real(double value, char out[GOT_TEXT])
{
    (void)snprintf(out, GOT_TEXT, "%.15g", value);
    char *end = NULL;
    return decimal_text_good(out) && !(strtod(out, &end) < value) && !(strtod(out, &end) > value);
}

static enum err
read_decimal(struct reader *reader, const struct slot *slot, const json_t *json)
{
    char text[GOT_TEXT];
    if (json_is_string(json)) {
        const char *given = json_string_value(json);
        if (!decimal_text_good(given))
            return refuse(reader, slot, json, number_hint(given));
        return put_text(reader, slot, given, strlen(given));
    }
    if (json_is_integer(json))
        (void)snprintf(text, sizeof text, "%" JSON_INTEGER_FORMAT, json_integer_value(json));
    else if (!json_is_real(json))
        return refuse(reader, slot, json, "");
    else if (!print_real(json_real_value(json), text))
        return refuse(reader, slot, json, ", as text with its digits");
    return put_text(reader, slot, text, strlen(text));
}

/* The text of one JSON object, without white space. */
static enum err
read_object_text(struct reader *reader, const struct slot *slot, const json_t *json)
{
    if (!json_is_object(json))
        return refuse(reader, slot, json, "");
    char *text = json_dumps(json, JSON_COMPACT | JSON_REAL_PRECISION(15));
    if (text == NULL)
        return no_room(reader);
    enum err e = put_text(reader, slot, text, strlen(text));
    free(text);
    return e;
}

static enum err
read_string(struct reader *reader, const struct slot *slot, const json_t *json)
{
    if (slot->rule->type == FIELD_DECIMAL)
        return read_decimal(reader, slot, json);
    if (slot->rule->type == FIELD_JSON)
        return read_object_text(reader, slot, json);
    if (!json_is_string(json))
        return refuse(reader, slot, json, ", in quotes");
    return put_text(reader, slot, json_string_value(json), json_string_length(json));
}

static enum err
read_bytes(struct reader *reader, const struct slot *slot, const json_t *json)
{
    const char *text = json_is_string(json) ? json_string_value(json) : "";
    size_t n = slot->rule->type == FIELD_PLAIN ? strlen(text) / 2 : (size_t)slot->rule->most;
    ProtobufCBinaryData *to = slot->to;
    to->data = arena_take(reader->arena, n);
    to->len = n;
    if (to->data == NULL)
        return no_room(reader);
    bool uuid = slot->rule->type == FIELD_UUID;
    if (uuid ? uuid_parse(text, to->data) : json_is_string(json) && hex_parse(text, n, to->data))
        return ERR_OK;
    return refuse(reader, slot, json, "");
}

static enum err read_message(struct reader *reader, const struct slot *slot, const json_t *json);

static enum err
read_value(struct reader *reader, const struct slot *slot, const json_t *json)
{
    switch (slot->field->type) {
    case PROTOBUF_C_TYPE_STRING:
        return read_string(reader, slot, json);
    case PROTOBUF_C_TYPE_BYTES:
        return read_bytes(reader, slot, json);
    case PROTOBUF_C_TYPE_BOOL:
        return read_bool(reader, slot, json);
    case PROTOBUF_C_TYPE_ENUM:
        return read_word(reader, slot, json);
    case PROTOBUF_C_TYPE_MESSAGE:
        return read_message(reader, slot, json);
    default:
        return read_number(reader, slot, json);
    }
}

/* Takes room for a repeated field's n entries and ties it to the message. */
static uint8_t *
begin_list(struct reader *reader, const ProtobufCFieldDescriptor *field, uint8_t *base, size_t n)
{
    size_t size = field_entry_size(field->type);
    uint8_t *entries = arena_take(reader->arena, n * size);
    if (entries == NULL)
        return NULL;
    memset(entries, 0, n * size);
    *(size_t *)(void *)(base + field->quantifier_offset) = n;
    *(uint8_t **)(void *)(base + field->offset) = entries;
    return entries;
}

static enum err
read_list(struct reader *reader, const struct slot *slot, uint8_t *base, const json_t *json)
{
    if (!json_is_array(json))
        return refuse(reader, slot, json, ", in a list: [...]");
    size_t n = json_array_size(json);
    uint8_t *entries = begin_list(reader, slot->field, base, n);
    if (entries == NULL)
        return no_room(reader);
    struct place place = *slot->place;
    place.in_list = true;
    struct slot entry = {slot->field, slot->rule, &place, entries};
    for (; place.entry < n; place.entry++) {
        enum err e = read_value(reader, &entry, json_array_get(json, place.entry));
        if (e != ERR_OK)
            return e;
        entry.to = (uint8_t *)entry.to + field_entry_size(slot->field->type);
    }
    return ERR_OK;
}

/* A name with its value as the entry of a map message: its two fields. */
static enum err
read_pair(struct reader *reader, const struct slot *slot, const char *name, json_t *value)
{
    const ProtobufCMessageDescriptor *descriptor = slot->field->descriptor;
    const struct message_rule *rules = message_rule(descriptor);
    json_t *key = json_string(name);
    json_t *object = json_object();
    enum err e = ERR_OK;
    if (json_object_set_new(object, rules->fields[0].json, key) != 0 ||
        json_object_set(object, rules->fields[1].json, value) != 0)
        e = no_room(reader);
    else
        e = read_value(reader, slot, object);
    json_decref(object);
    return e;
}

static enum err
read_map(struct reader *reader, const struct slot *slot, uint8_t *base, json_t *json)
{
    if (!json_is_object(json))
        return refuse(reader, slot, json, ": {\"name\": value, ...}");
    uint8_t *entries = begin_list(reader, slot->field, base, json_object_size(json));
    if (entries == NULL)
        return no_room(reader);
    struct slot entry = {slot->field, slot->rule, slot->place, entries};
    const char *name = NULL;
    json_t *value = NULL;
    json_object_foreach(json, name, value)
    {
        enum err e = read_pair(reader, &entry, name, value);
        if (e != ERR_OK)
            return e;
        entry.to = (uint8_t *)entry.to + sizeof(void *);
    }
    return ERR_OK;
}

/* One named value into its field of the message at `base`. */
static enum err
read_field(struct reader *reader, unsigned i, uint8_t *base, const struct place *place,
           const json_t *json)
{
    const ProtobufCMessageDescriptor *descriptor = ((ProtobufCMessage *)(void *)base)->descriptor;
    const ProtobufCFieldDescriptor *field = &descriptor->fields[i];
    struct slot slot = {field, &message_rule(descriptor)->fields[i], place, base + field->offset};
    if (field->label == PROTOBUF_C_LABEL_REPEATED)
        return read_list(reader, &slot, base, json);
    enum err e = read_value(reader, &slot, json);
    if (e != ERR_OK)
        return e;
    uint8_t *quantifier = base + field->quantifier_offset;
    if ((field->flags & PROTOBUF_C_FIELD_FLAG_ONEOF) != 0)
        *(uint32_t *)(void *)quantifier = field->id;
    else if (field->type != PROTOBUF_C_TYPE_STRING && field->type != PROTOBUF_C_TYPE_MESSAGE)
        *(protobuf_c_boolean *)(void *)quantifier = 1;
    return ERR_OK;
}

/* "gros_g: unknown field of tub, did you mean gross_g?" */
static enum err
unknown_name(struct reader *reader, const ProtobufCMessageDescriptor *descriptor, const char *name,
             const struct place *up)
{
    char word[64];
    char shown[PLACE_TEXT];
    char path[PLACE_TEXT];
    (void)text_shown(name, shown, sizeof shown);
    struct place place = {up, shown, 0, false};
    (void)place_print(&place, path);
    const struct message_rule *rules = message_rule(descriptor);
    struct nearest nearest = {name, NULL, 0};
    for (unsigned i = 0; i < descriptor->n_fields; i++)
        nearest_offer(&nearest, rules->fields[i].json);
    bool near = nearest.best != NULL;
    enum err e = err_set(ERR_INPUT, reader->why, "%s: unknown field of %s%s%s%s", path,
                         message_word(descriptor, word), near ? ", did you mean " : "",
                         near ? nearest.best : "", near ? "?" : "");
    if (reader->why != NULL) {
        (void)snprintf(reader->why->field, sizeof reader->why->field, "%s", path);
        (void)snprintf(reader->why->want, sizeof reader->why->want, "%s", near ? nearest.best : "");
    }
    return e;
}

static int
find_field(const ProtobufCMessageDescriptor *descriptor, const char *name)
{
    const struct message_rule *rules = message_rule(descriptor);
    for (unsigned i = 0; i < descriptor->n_fields; i++)
        if (strcmp(rules->fields[i].json, name) == 0)
            return (int)i;
    return -1;
}

static bool
is_skipped(const char *const *skip, const char *name)
{
    for (; skip != NULL && *skip != NULL; skip++)
        if (strcmp(*skip, name) == 0)
            return true;
    return false;
}

static enum err
read_object(struct reader *reader, uint8_t *base, const char *const *skip, const struct place *up,
            json_t *json)
{
    const ProtobufCMessageDescriptor *descriptor = ((ProtobufCMessage *)(void *)base)->descriptor;
    const char *name = NULL;
    json_t *value = NULL;
    json_object_foreach(json, name, value)
    {
        if (is_skipped(skip, name))
            continue;
        int i = find_field(descriptor, name);
        if (i < 0)
            return unknown_name(reader, descriptor, name, up);
        if (json_is_null(value))
            continue;
        struct place place = {up, name, 0, false};
        enum err e = read_field(reader, (unsigned)i, base, &place, value);
        if (e != ERR_OK)
            return e;
    }
    return ERR_OK;
}

static ProtobufCMessage *
new_message(struct reader *reader, const ProtobufCMessageDescriptor *descriptor)
{
    ProtobufCMessage *message = arena_take(reader->arena, descriptor->sizeof_message);
    if (message != NULL)
        protobuf_c_message_init(descriptor, message);
    return message;
}

static enum err
read_message(struct reader *reader, const struct slot *slot, const json_t *json)
{
    const ProtobufCMessageDescriptor *descriptor = slot->field->descriptor;
    const struct message_rule *rules = message_rule(descriptor);
    ProtobufCMessage *message = new_message(reader, descriptor);
    if (message == NULL)
        return no_room(reader);
    *(ProtobufCMessage **)slot->to = message;
    uint8_t *base = (uint8_t *)message;
    json_t *walked = (json_t *)json; /* jansson walks only what it may change */
    if (rules->list || rules->map) {
        struct slot entries = {&descriptor->fields[0], &rules->fields[0], slot->place, NULL};
        return rules->list ? read_list(reader, &entries, base, json)
                           : read_map(reader, &entries, base, walked);
    }
    if (!json_is_object(json))
        return refuse(reader, slot, json, ": {...}");
    return read_object(reader, base, NULL, slot->place, walked);
}

enum err
json_to_message(const json_t *object, const ProtobufCMessageDescriptor *descriptor,
                const char *const *skip, struct arena *arena, ProtobufCMessage **out_message,
                struct err_text *why)
{
    struct reader reader = {arena, why};
    ProtobufCMessage *message = new_message(&reader, descriptor);
    if (message == NULL)
        return no_room(&reader);
    enum err e = read_object(&reader, (uint8_t *)message, skip, NULL, (json_t *)object);
    if (e == ERR_OK)
        e = codec_check(message, why);
    if (e == ERR_OK)
        *out_message = message;
    return e;
}

enum err
json_to_partial(const json_t *object, const ProtobufCMessageDescriptor *descriptor,
                const char *const *only, struct arena *arena, ProtobufCMessage **out_message,
                struct err_text *why)
{
    struct reader reader = {arena, why};
    ProtobufCMessage *message = new_message(&reader, descriptor);
    if (message == NULL)
        return no_room(&reader);
    for (; *only != NULL; only++) {
        const json_t *value = json_object_get(object, *only);
        int i = find_field(descriptor, *only);
        struct place place = {NULL, *only, 0, false};
        if (value == NULL || json_is_null(value) || i < 0)
            continue;
        enum err e = read_field(&reader, (unsigned)i, (uint8_t *)message, &place, value);
        if (e != ERR_OK)
            return e;
    }
    enum err e = codec_check_partial(message, why);
    if (e == ERR_OK)
        *out_message = message;
    return e;
}
