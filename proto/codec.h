/* codec.h - bytes to messages and back, bounded.
 *
 * Decoding allocates from an arena that the caller sized; whatever a peer announces, it cannot
 * take more. A decoded message is lent: it lives until the arena is reset or done.
 */
#ifndef PROTO_CODEC_H
#define PROTO_CODEC_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <protobuf-c/protobuf-c.h>
#include "proto/err.h"

/* A bump allocator over one block. Never grows: a full arena refuses. */
struct arena {
    uint8_t *block;
    size_t size, used;
};

/* 64 bytes for each byte of a record: enough for whatever passes the checks, even a list of labels
 * of one letter, so that what a site could write a hub can read. */
enum {
    ARENA_RECORD = 256 * 1024,
    ARENA_BIG_RECORD = 4 * 1024 * 1024,
    ARENA_FRAME = 1024 * 1024
};

/* ERR_MEM. End with arena_done(). */
enum err arena_init(struct arena *arena, size_t size, struct err_text *why);
void arena_reset(struct arena *arena); /* everything decoded into it is gone */
void arena_done(struct arena *arena);
/* NULL when full. Aligned for any type, not cleared. */
void *arena_take(struct arena *arena, size_t size);

/* Decodes and checks: shape, presence, ranges, UTF-8 without NUL, known enum words, and (one
 * spelling) that packing again gives the same bytes. Unknown fields of a later version pass.
 * *out_message is lent until the arena is reset.
 * ERR_INPUT: not such a message; `why` names the field. ERR_MEM: more than the arena holds. */
enum err codec_decode(const ProtobufCMessageDescriptor *descriptor, const uint8_t *bytes,
                      size_t len, struct arena *arena, ProtobufCMessage **out_message,
                      struct err_text *why);

/* The same for bytes that this program stored itself after such a check: shape only. */
enum err codec_decode_trusted(const ProtobufCMessageDescriptor *descriptor, const uint8_t *bytes,
                              size_t len, struct arena *arena, ProtobufCMessage **out_message,
                              struct err_text *why);

/* The checks alone, on a message in memory. */
enum err codec_check(const ProtobufCMessage *message, struct err_text *why);

/* The same for a message that is still growing: what is missing outermost may come later. */
enum err codec_check_partial(const ProtobufCMessage *message, struct err_text *why);

/* Do both say the same, fields of a later version included? */
bool message_same(const ProtobufCMessage *a, const ProtobufCMessage *b);

/* Packs into `bytes` of `size`. ERR_INPUT: it does not fit ("... at most N bytes"). */
enum err codec_encode(const ProtobufCMessage *message, uint8_t *bytes, size_t size, size_t *out_len,
                      struct err_text *why);

#endif
