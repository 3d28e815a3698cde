/* fields.h - what the .proto files say about each field beyond its type.
 *
 * Grown at build time from the `//:` remarks of the .proto files by proto/fields.awk, in the
 * order of ProtobufCMessageDescriptor.fields, so rule i belongs to field i.
 */
#ifndef PROTO_FIELDS_H
#define PROTO_FIELDS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <protobuf-c/protobuf-c.h>

enum field_type {
    FIELD_PLAIN,    /* number, bool, enum, bytes or message without more to say */
    FIELD_CODE,     /* 1..64 bytes, no white space, no control characters */
    FIELD_TEXT,     /* at most `most` bytes */
    FIELD_DECIMAL,  /* exact decimal as text */
    FIELD_INSTANT,  /* ms since 1970 UTC, JSON RFC 3339 */
    FIELD_DAY,      /* days since 1970-01-01, JSON YYYY-MM-DD */
    FIELD_MONTH,    /* YYYY-MM */
    FIELD_HHMM,     /* HH:MM */
    FIELD_CURRENCY, /* AAA */
    FIELD_UUID,     /* 16 bytes */
    FIELD_HEX,      /* `most` bytes */
    FIELD_JSON,     /* text that holds one JSON object */
};

struct field_rule {
    const char *json; /* name in JSON: without _ms for instants, without a trailing _ */
    enum field_type type;
    bool required;
    bool ranged;         /* least and most hold for the number */
    int64_t least, most; /* inclusive; of text, code, uuid and hex: the size in bytes */
    const char *least_text, *most_text; /* the range as declared, "" for none; decimals use it */
    const char *unit;                   /* "g", "mL", "Cel", "min", ...; "" for none */
    const char *doc;                    /* words for docs/records.md; "" for none */
};

struct message_rule {
    const ProtobufCMessageDescriptor *descriptor;
    const struct field_rule *fields; /* descriptor->n_fields of them, same order */
    unsigned n_single; /* fields[n_single] and those behind it are the members of its oneof */
    bool list, map;    /* JSON is the array / the object of field `v` */
    const char *doc;
};

/* The rules of a message; never NULL for a message of our .proto files. */
const struct message_rule *message_rule(const ProtobufCMessageDescriptor *descriptor);

/* Is the field there: set, a list with entries, the member of its oneof that is set? */
bool field_is_present(const ProtobufCFieldDescriptor *field, const ProtobufCMessage *message);

/* Bytes from one entry of a repeated field of the type to the next. */
size_t field_entry_size(ProtobufCType type);

/* All messages in the order of declaration; *out_n of them. For docs and tests. */
const struct message_rule *message_rules(unsigned *out_n);

/* The JSON word of an enum value ("paper-change", "animal_feed", "<="), NULL when unknown;
 * and back: false when there is no such word. */
const char *enum_word(const ProtobufCEnumDescriptor *descriptor, int value);
bool enum_value(const ProtobufCEnumDescriptor *descriptor, const char *word, int *out_value);

#endif
