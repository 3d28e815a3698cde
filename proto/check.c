/* check.c - what unpacking does not check: presence, ranges, letters, known words. */
#include "proto/codec.h"

#include "proto/fields.h"
#include "proto/place.h"
#include "proto/text.h"
#include "proto/want.h"
#include "proto/when.h"

static enum err
refuse(const ProtobufCFieldDescriptor *field, const struct field_rule *rule, const void *value,
       const struct place *place, struct err_text *why)
{
    char path[PLACE_TEXT];
    char got[GOT_TEXT];
    char want[WANT_TEXT];
    (void)place_print(place, path);
    return err_input(why, path, value != NULL ? field_got(field, rule, value, got) : NULL,
                     field_want(field, rule, want));
}

static bool
currency_good(const char *text)
{
    for (int i = 0; i < 3; i++)
        if (text[i] < 'A' || text[i] > 'Z')
            return false;
    return text[3] == '\0';
}

static bool
decimal_in_range(const char *text, const struct field_rule *rule)
{
    if (!decimal_text_good(text))
        return false;
    return rule->least_text[0] == '\0' || (decimal_text_compare(text, rule->least_text) >= 0 &&
                                           decimal_text_compare(text, rule->most_text) <= 0);
}

static bool
string_good(const char *text, const struct field_rule *rule)
{
    int32_t month = 0;
    switch (rule->type) {
    case FIELD_CODE:
        return text_good(text, TEXT_CODE, 1, (size_t)rule->most);
    case FIELD_TEXT:
        return text_good(text, TEXT_FREE, (size_t)rule->least, (size_t)rule->most);
    case FIELD_DECIMAL:
        return decimal_in_range(text, rule);
    case FIELD_MONTH:
        return month_parse(text, &month);
    case FIELD_HHMM:
        return hhmm_minutes(text) >= 0;
    case FIELD_CURRENCY:
        return currency_good(text);
    default: /* FIELD_JSON: daemon/record reads it in full */
        return text[0] == '{' && text_good(text, TEXT_FREE, 2, SIZE_MAX);
    }
}

static bool
int_good(int64_t value, const struct field_rule *rule)
{
    switch (rule->type) {
    case FIELD_INSTANT:
        return value >= 0 && value <= WHEN_MOST_MS;
    case FIELD_DAY:
        return value >= DAY_LEAST && value <= DAY_MOST;
    default:
        return !rule->ranged || (value >= rule->least && value <= rule->most);
    }
}

static bool
value_good(const ProtobufCFieldDescriptor *field, const struct field_rule *rule, const void *value)
{
    switch (field->type) {
    case PROTOBUF_C_TYPE_STRING:
        return string_good(*(const char *const *)value, rule);
    case PROTOBUF_C_TYPE_BYTES:
        return rule->type == FIELD_PLAIN ||
               ((const ProtobufCBinaryData *)value)->len == (size_t)rule->most;
    case PROTOBUF_C_TYPE_INT64:
    case PROTOBUF_C_TYPE_SINT64:
        return int_good(*(const int64_t *)value, rule);
    case PROTOBUF_C_TYPE_UINT64:
        return *(const uint64_t *)value <= INT64_MAX &&
               int_good((int64_t) * (const uint64_t *)value, rule);
    case PROTOBUF_C_TYPE_UINT32:
        return int_good(*(const uint32_t *)value, rule);
    case PROTOBUF_C_TYPE_ENUM:
        return protobuf_c_enum_descriptor_get_value(field->descriptor, *(const int *)value) != NULL;
    case PROTOBUF_C_TYPE_BOOL:
        return (*(const protobuf_c_boolean *)value & ~1) == 0;
    default:
        return int_good(*(const int32_t *)value, rule);
    }
}

static enum err check_message(const ProtobufCMessage *message, const struct place *up, bool partial,
                              struct err_text *why);

static enum err
check_value(const ProtobufCFieldDescriptor *field, const struct field_rule *rule, const void *value,
            const struct place *place, struct err_text *why)
{
    if (field->type == PROTOBUF_C_TYPE_MESSAGE)
        return check_message(*(const ProtobufCMessage *const *)value, place, false, why);
    if (!value_good(field, rule, value))
        return refuse(field, rule, value, place, why);
    return ERR_OK;
}

static enum err
check_list(const ProtobufCFieldDescriptor *field, const struct field_rule *rule,
           const uint8_t *base, const struct place *place, struct err_text *why)
{
    size_t n = *(const size_t *)(base + field->quantifier_offset);
    char path[PLACE_TEXT];
    if (n == 0 && rule->required)
        return err_input(why, place_print(place, path), NULL, "at least one");
    const uint8_t *entries = *(const uint8_t *const *)(base + field->offset);
    struct place entry = *place;
    entry.in_list = true;
    for (; entry.entry < n; entry.entry++) {
        enum err e = check_value(field, rule, entries + entry.entry * field_entry_size(field->type),
                                 &entry, why);
        if (e != ERR_OK)
            return e;
    }
    return ERR_OK;
}

static enum err
check_field(const ProtobufCFieldDescriptor *field, const struct field_rule *rule,
            const ProtobufCMessage *message, const struct place *place, struct err_text *why)
{
    const uint8_t *base = (const uint8_t *)message;
    if (field->label == PROTOBUF_C_LABEL_REPEATED)
        return check_list(field, rule, base, place, why);
    if (field_is_present(field, message))
        return check_value(field, rule, base + field->offset, place, why);
    return rule->required ? refuse(field, rule, NULL, place, why) : ERR_OK;
}

/* The member of the message's oneof that is set, NULL for none. */
static const ProtobufCFieldDescriptor *
set_member(const ProtobufCMessage *message, unsigned n_single)
{
    const ProtobufCMessageDescriptor *descriptor = message->descriptor;
    if (n_single == descriptor->n_fields)
        return NULL;
    size_t at = descriptor->fields[n_single].quantifier_offset;
    uint32_t number = *(const uint32_t *)(const void *)((const uint8_t *)message + at);
    return number != 0 ? protobuf_c_message_descriptor_get_field(descriptor, number) : NULL;
}

static enum err
check_message(const ProtobufCMessage *message, const struct place *up, bool partial,
              struct err_text *why)
{
    const ProtobufCFieldDescriptor *fields = message->descriptor->fields;
    const struct message_rule *rules = message_rule(message->descriptor);
    const ProtobufCFieldDescriptor *member = set_member(message, rules->n_single);
    struct place place = {up, "", 0, false};
    enum err e = ERR_OK;
    for (unsigned i = 0; i < rules->n_single && e == ERR_OK; i++) {
        if (partial && !field_is_present(&fields[i], message))
            continue;
        if (!rules->list && !rules->map)
            place.name = rules->fields[i].json;
        e = check_field(&fields[i], &rules->fields[i], message, &place, why);
    }
    if (e == ERR_OK && member != NULL) {
        place.name = rules->fields[member - fields].json;
        e = check_field(member, &rules->fields[member - fields], message, &place, why);
    }
    return e;
}

enum err
codec_check(const ProtobufCMessage *message, struct err_text *why)
{
    return check_message(message, NULL, false, why);
}

enum err
codec_check_partial(const ProtobufCMessage *message, struct err_text *why)
{
    return check_message(message, NULL, true, why);
}
