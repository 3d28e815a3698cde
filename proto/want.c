/* want.c - the words of an error about a field. */
#include "proto/want.h"

#include <ctype.h>
#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "proto/text.h"
#include "proto/when.h"

static const struct {
    const char *unit, *word;
} units[] = {
    {"g", "grams"},
    {"mL", "millilitres"},
    {"mL at 20 Cel", "millilitres at 20 °C"},
    {"Cel", "degrees Celsius"},
    {"min", "minutes"},
    {"ms", "milliseconds"},
    {"s", "seconds"},
    {"h", "hours"},
    {"d", "days"},
    {"%", "per cent"},
    {"% vol at 20 Cel", "% vol at 20 °C"},
    {"g/L", "grams a litre"},
};

static const char *const examples[] = {
    [FIELD_CODE] = "a code: 1 to 64 bytes, no spaces or control characters",
    [FIELD_INSTANT] = "a time with its offset, such as 2026-03-03T21:40:00+00:00",
    [FIELD_DAY] = "a day that exists, such as 2026-03-03",
    [FIELD_MONTH] = "a month such as 2026-03",
    [FIELD_HHMM] = "a time of day such as 04:30",
    [FIELD_CURRENCY] = "a currency of three capital letters, such as GBP",
    [FIELD_UUID] = "an id such as 019cb9ed-90c0-7e93-abeb-6f152c2ece1a",
    [FIELD_JSON] = "a JSON object",
};

const char *
unit_word(const char *unit)
{
    for (size_t i = 0; i < sizeof units / sizeof units[0]; i++)
        if (strcmp(units[i].unit, unit) == 0)
            return units[i].word;
    return unit;
}

/* Puts text behind what stands in `out`, cut at its end. */
static void
add(char out[WANT_TEXT], const char *text)
{
    size_t used = strlen(out);
    (void)snprintf(out + used, WANT_TEXT - used, "%s", text);
}

static void
want_number(const struct field_rule *rule, char out[WANT_TEXT])
{
    bool decimal = rule->type == FIELD_DECIMAL;
    if (rule->least_text[0] != '\0') {
        add(out, rule->least_text);
        add(out, " to ");
        add(out, rule->most_text);
    } else {
        add(out, decimal ? "a number such as -17.4" : "a whole number");
    }
    if (rule->unit[0] != '\0') {
        add(out, " (");
        add(out, unit_word(rule->unit));
        add(out, ")");
    }
}

static void
want_word(const ProtobufCEnumDescriptor *words, char out[WANT_TEXT])
{
    add(out, words->n_values > 1 ? "one of " : "");
    for (unsigned i = 0; i < words->n_values; i++) {
        add(out, i > 0 ? ", " : "");
        add(out, enum_word(words, words->values[i].value));
    }
}

static void
want_text(const struct field_rule *rule, char out[WANT_TEXT])
{
    (void)snprintf(out, WANT_TEXT, "text of %s %" PRId64 " bytes in UTF-8",
                   rule->least > 0 ? "1 to" : "at most", rule->most);
}

static void
want_plain(const ProtobufCFieldDescriptor *field, const struct field_rule *rule,
           char out[WANT_TEXT])
{
    switch (field->type) {
    case PROTOBUF_C_TYPE_ENUM:
        want_word(field->descriptor, out);
        return;
    case PROTOBUF_C_TYPE_BOOL:
        add(out, "true or false");
        return;
    case PROTOBUF_C_TYPE_MESSAGE:
        add(out, message_rule(field->descriptor)->list ? "a list" : "an object");
        return;
    case PROTOBUF_C_TYPE_BYTES:
        add(out, "bytes");
        return;
    default:
        want_number(rule, out);
    }
}

char *
field_want(const ProtobufCFieldDescriptor *field, const struct field_rule *rule,
           char out[WANT_TEXT])
{
    out[0] = '\0';
    switch (rule->type) {
    case FIELD_PLAIN:
        want_plain(field, rule, out);
        break;
    case FIELD_DECIMAL:
        want_number(rule, out);
        break;
    case FIELD_TEXT:
        want_text(rule, out);
        break;
    case FIELD_HEX:
        (void)snprintf(out, WANT_TEXT, "%" PRId64 " bytes, %" PRId64 " hexadecimal digits",
                       rule->most, 2 * rule->most);
        break;
    default:
        add(out, examples[rule->type]);
    }
    return out;
}

static void
got_bytes(const ProtobufCBinaryData *bytes, char out[GOT_TEXT])
{
    enum {
        SHOWN = 40
    };
    if (bytes->len > SHOWN)
        (void)snprintf(out, GOT_TEXT, "%zu bytes", bytes->len);
    else
        (void)hex_print(bytes->data, bytes->len, out);
}

static void
got_int(const struct field_rule *rule, int64_t value, char out[GOT_TEXT])
{
    char text[WHEN_TEXT];
    if (rule->type == FIELD_DAY && value >= DAY_LEAST && value <= DAY_MOST)
        (void)snprintf(out, GOT_TEXT, "%s", day_print((int32_t)value, text));
    else if (rule->type == FIELD_INSTANT && value >= 0 && value <= WHEN_MOST_MS)
        (void)snprintf(out, GOT_TEXT, "%s", when_print(value, 0, text));
    else
        (void)snprintf(out, GOT_TEXT, "%" PRId64, value);
}

char *
field_got(const ProtobufCFieldDescriptor *field, const struct field_rule *rule, const void *value,
          char out[GOT_TEXT])
{
    out[0] = '\0';
    switch (field->type) {
    case PROTOBUF_C_TYPE_STRING:
        return text_shown(*(const char *const *)value, out, GOT_TEXT);
    case PROTOBUF_C_TYPE_BYTES:
        got_bytes(value, out);
        break;
    case PROTOBUF_C_TYPE_INT64:
    case PROTOBUF_C_TYPE_SINT64:
        got_int(rule, *(const int64_t *)value, out);
        break;
    case PROTOBUF_C_TYPE_UINT64:
        (void)snprintf(out, GOT_TEXT, "%" PRIu64, *(const uint64_t *)value);
        break;
    case PROTOBUF_C_TYPE_UINT32:
        (void)snprintf(out, GOT_TEXT, "%" PRIu32, *(const uint32_t *)value);
        break;
    case PROTOBUF_C_TYPE_MESSAGE:
        break;
    default: /* int32, sint32, bool and enum are all an int */
        got_int(rule, *(const int32_t *)value, out);
    }
    return out;
}

char *
message_word(const ProtobufCMessageDescriptor *descriptor, char out[64])
{
    size_t used = 0;
    for (const char *p = descriptor->short_name; *p != '\0' && used + 2 < 64; p++) {
        if (isupper((unsigned char)*p) && used > 0)
            out[used++] = '-';
        out[used++] = (char)tolower((unsigned char)*p);
    }
    out[used] = '\0';
    return out;
}
