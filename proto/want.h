/* want.h - what a field expects, in words for people, and values as people type them.
 */
#ifndef PROTO_WANT_H
#define PROTO_WANT_H

#include <protobuf-c/protobuf-c.h>
#include "proto/fields.h"

enum {
    WANT_TEXT = 160,
    GOT_TEXT = 96
};

/* "1 to 60000 (grams)", "one of weighed, counted", "a day such as 2026-03-03". Returns `out`. */
char *field_want(const ProtobufCFieldDescriptor *field, const struct field_rule *rule,
                 char out[WANT_TEXT]);

/* One value of the field (member, or entry of a list) as JSON would say it, fit to print. */
char *field_got(const ProtobufCFieldDescriptor *field, const struct field_rule *rule,
                const void *value, char out[GOT_TEXT]);

/* "grams" for "g"; "" for none. */
const char *unit_word(const char *unit);

/* "period-close" for PeriodClose. Returns `out`. */
char *message_word(const ProtobufCMessageDescriptor *descriptor, char out[64]);

#endif
