/* spelling.c - one walk over the bytes of a message. */
#include "proto/spelling.h"

#include <string.h>

/* Bytes still to be read. */
struct bytes {
    const uint8_t *at, *end;
};

/* A number in base 128 and in its shortest form; false otherwise. */
static bool
take_varint(struct bytes *bytes, uint64_t *out)
{
    enum {
        LAST_SHIFT = 63
    };
    uint64_t value = 0;
    if (bytes->at < bytes->end && *bytes->at < 0x80) { /* nearly all tags and lengths */
        *out = *bytes->at++;
        return true;
    }
    for (int shift = 0; shift <= LAST_SHIFT && bytes->at < bytes->end; shift += 7) {
        uint8_t byte = *bytes->at++;
        value |= (uint64_t)(byte & 0x7F) << shift;
        if (byte >= 0x80)
            continue;
        *out = value;
        bool shortest = byte != 0 || shift == 0;
        return shortest && (shift < LAST_SHIFT || byte == 1);
    }
    return false;
}

static bool
skip(struct bytes *bytes, uint64_t n)
{
    if (n > (uint64_t)(bytes->end - bytes->at))
        return false;
    bytes->at += n;
    return true;
}

/* A later version's field stays as it came, whatever form its numbers have. */
static bool
skip_unknown(struct bytes *bytes, unsigned wire_type)
{
    uint64_t n = 0;
    unsigned shift = 0;
    if (wire_type == PROTOBUF_C_WIRE_TYPE_32BIT || wire_type == PROTOBUF_C_WIRE_TYPE_64BIT)
        return skip(bytes, wire_type == PROTOBUF_C_WIRE_TYPE_32BIT ? 4 : 8);
    for (bool more = true; more; shift += 7) {
        if (bytes->at == bytes->end || shift > 63)
            return false;
        n |= (uint64_t)(*bytes->at & 0x7F) << shift;
        more = *bytes->at++ >= 0x80;
    }
    return wire_type != PROTOBUF_C_WIRE_TYPE_LENGTH_PREFIXED || skip(bytes, n);
}

static bool
number_good(struct bytes *bytes, ProtobufCType type)
{
    uint64_t value = 0;
    if (!take_varint(bytes, &value))
        return false;
    switch (type) {
    case PROTOBUF_C_TYPE_BOOL:
        return value <= 1;
    case PROTOBUF_C_TYPE_UINT32:
    case PROTOBUF_C_TYPE_SINT32:
        return value <= UINT32_MAX;
    case PROTOBUF_C_TYPE_INT32:
    case PROTOBUF_C_TYPE_ENUM:
        return value == (uint64_t)(int64_t)(int32_t)value;
    default:
        return true;
    }
}

/* Text, bytes or a message behind their length. */
static bool
block_good(struct bytes *bytes, const ProtobufCFieldDescriptor *field)
{
    uint64_t n = 0;
    const uint8_t *begin = NULL;
    if (!take_varint(bytes, &n))
        return false;
    begin = bytes->at;
    if (!skip(bytes, n))
        return false;
    if (field->type == PROTOBUF_C_TYPE_MESSAGE)
        return spelling_good(field->descriptor, begin, n);
    return field->type != PROTOBUF_C_TYPE_STRING || memchr(begin, 0, n) == NULL;
}

static bool
value_good(struct bytes *bytes, const ProtobufCFieldDescriptor *field, unsigned wire_type)
{
    switch (field->type) {
    case PROTOBUF_C_TYPE_STRING:
    case PROTOBUF_C_TYPE_BYTES:
    case PROTOBUF_C_TYPE_MESSAGE:
        return wire_type == PROTOBUF_C_WIRE_TYPE_LENGTH_PREFIXED && block_good(bytes, field);
    case PROTOBUF_C_TYPE_FIXED32:
    case PROTOBUF_C_TYPE_SFIXED32:
    case PROTOBUF_C_TYPE_FLOAT:
        return wire_type == PROTOBUF_C_WIRE_TYPE_32BIT && skip(bytes, 4);
    case PROTOBUF_C_TYPE_FIXED64:
    case PROTOBUF_C_TYPE_SFIXED64:
    case PROTOBUF_C_TYPE_DOUBLE:
        return wire_type == PROTOBUF_C_WIRE_TYPE_64BIT && skip(bytes, 8);
    default: /* a packed list is another spelling: we pack none */
        return wire_type == PROTOBUF_C_WIRE_TYPE_VARINT && number_good(bytes, field->type);
    }
}

/* May `field` come after `last` (NULL: it is the first)? `member` is set once a oneof has its one. */
static bool
order_good(const ProtobufCFieldDescriptor *field, const ProtobufCFieldDescriptor *last,
           bool *member)
{
    bool repeated = field->label == PROTOBUF_C_LABEL_REPEATED;
    if (last != NULL && (field->id < last->id || (field == last && !repeated)))
        return false;
    if ((field->flags & PROTOBUF_C_FIELD_FLAG_ONEOF) == 0)
        return true;
    bool first = !*member;
    *member = true;
    return first;
}

/* The field with a number; `before` (NULL at the start) is the one before it in the bytes, and the
 * next one in the schema is looked at first. */
static const ProtobufCFieldDescriptor *
field_of(const ProtobufCMessageDescriptor *descriptor, const ProtobufCFieldDescriptor *before,
         unsigned number)
{
    const ProtobufCFieldDescriptor *next = before != NULL ? before + 1 : descriptor->fields;
    if (next < descriptor->fields + descriptor->n_fields && next->id == number)
        return next;
    return protobuf_c_message_descriptor_get_field(descriptor, number);
}

bool
spelling_good(const ProtobufCMessageDescriptor *descriptor, const uint8_t *bytes, size_t len)
{
    struct bytes left = {bytes, bytes + len};
    const ProtobufCFieldDescriptor *last = NULL;
    bool member = false;
    bool unknown = false;
    while (left.at < left.end) {
        uint64_t tag = 0;
        if (!take_varint(&left, &tag) || tag >> 3 > UINT32_MAX) /* as far as the library goes */
            return false;
        const ProtobufCFieldDescriptor *field = field_of(descriptor, last, (unsigned)(tag >> 3));
        unsigned wire_type = (unsigned)(tag & 7);
        if (field == NULL) {
            unknown = true;
            if (!skip_unknown(&left, wire_type))
                return false;
            continue;
        }
        if (unknown || !order_good(field, last, &member) || !value_good(&left, field, wire_type))
            return false;
        last = field;
    }
    return true;
}
