/* json.h - messages to JSON and back by one walk over the descriptors.
 *
 * Names, words, times and decimals as docs/records.md tells. Numbers are read as JSON integers or
 * as decimal text ("500"); written as JSON integers. Decimals are written as text and read as text
 * or as a JSON number that survives %.15g. Instants are written with `offset_min`.
 */
#ifndef PROTO_JSON_H
#define PROTO_JSON_H

#include <jansson.h>
#include <protobuf-c/protobuf-c.h>
#include "proto/codec.h"
#include "proto/err.h"

/* Parses one JSON object out of `len` bytes: strict, UTF-8, no duplicate names, depth bounded.
 * *out_object is yours (json_decref). ERR_INPUT with position in words. */
enum err json_parse(const char *text, size_t len, json_t **out_object, struct err_text *why);

/* Fills a new message in the arena from the object. A name that the message does not have is an
 * error ("gros_g: unknown field of tub, did you mean gross_g?"), so are wrong types, ranges, words.
 * Names in `skip` (NULL-ended list, may be NULL) are passed over.
 * *out_message is lent until the arena is reset and has passed codec_check(). */
enum err json_to_message(const json_t *object, const ProtobufCMessageDescriptor *descriptor,
                         const char *const *skip, struct arena *arena,
                         ProtobufCMessage **out_message, struct err_text *why);

/* The same for the names in `only` (NULL-ended) and no others; what the object leaves out is
 * absent, so the message has passed codec_check_partial(). */
enum err json_to_partial(const json_t *object, const ProtobufCMessageDescriptor *descriptor,
                         const char *const *only, struct arena *arena,
                         ProtobufCMessage **out_message, struct err_text *why);

/* The message's fields into `object` (which exists), in order of declaration.
 * ERR_MEM. */
enum err json_from_message(const ProtobufCMessage *message, int offset_min, json_t *object,
                           struct err_text *why);

#endif
