/* fields_table.h - the tables inside fields.gen.c; fields.c is their only reader.
 */
#ifndef PROTO_FIELDS_TABLE_H
#define PROTO_FIELDS_TABLE_H

#include "proto/fields.h"

struct enum_rule {
    const ProtobufCEnumDescriptor *descriptor;
    const char *const *words; /* in the order of descriptor->values: rising numbers */
};

extern const struct message_rule fields_messages[];
extern const unsigned fields_messages_n;
extern const struct enum_rule fields_enums[];
extern const unsigned fields_enums_n;

#endif
