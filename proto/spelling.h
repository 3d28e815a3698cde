/* spelling.h - has a message its one spelling: would packing it again give the same bytes?
 */
#ifndef PROTO_SPELLING_H
#define PROTO_SPELLING_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <protobuf-c/protobuf-c.h>

/* `bytes` have been unpacked as such a message without an error. Looks at the bytes instead of
 * packing, in a third of the time: fields in rising order, each once unless repeated, numbers in
 * their shortest form and inside their width, no NUL in strings, unknown fields last. */
bool spelling_good(const ProtobufCMessageDescriptor *descriptor, const uint8_t *bytes, size_t len);

#endif
