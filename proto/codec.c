/* codec.c - unpacking into an arena, with all checks or none. */
#include "proto/codec.h"

#include <stdbool.h>

#include "proto/spelling.h"
#include "proto/want.h"

/* What protobuf-c calls for memory. */
struct source {
    struct arena *arena;
    bool full;
};

static void *
take(void *owner, size_t size)
{
    struct source *source = owner;
    void *block = arena_take(source->arena, size);
    source->full = source->full || block == NULL;
    return block;
}

static void
give_back(void *owner, void *block)
{
    (void)owner; /* all goes when the arena is reset */
    (void)block;
}

enum err
codec_decode_trusted(const ProtobufCMessageDescriptor *descriptor, const uint8_t *bytes, size_t len,
                     struct arena *arena, ProtobufCMessage **out_message, struct err_text *why)
{
    char word[64];
    struct source source = {arena, false};
    ProtobufCAllocator allocator = {take, give_back, &source};
    ProtobufCMessage *message = protobuf_c_message_unpack(descriptor, &allocator, len, bytes);
    if (message != NULL) {
        *out_message = message;
        return ERR_OK;
    }
    (void)message_word(descriptor, word);
    if (source.full)
        return err_set(ERR_MEM, why, "a %s of %zu bytes takes more than the %zu bytes allowed",
                       word, len, arena->size);
    return err_set(ERR_INPUT, why, "these %zu bytes are no %s", len, word);
}

static enum err
check_spelling(const ProtobufCMessageDescriptor *descriptor, const uint8_t *bytes, size_t len,
               struct err_text *why)
{
    char word[64];
    if (spelling_good(descriptor, bytes, len))
        return ERR_OK;
    return err_set(ERR_INPUT, why, "this %s is not spelled in the one way that counts",
                   message_word(descriptor, word));
}

enum err
codec_decode(const ProtobufCMessageDescriptor *descriptor, const uint8_t *bytes, size_t len,
             struct arena *arena, ProtobufCMessage **out_message, struct err_text *why)
{
    ProtobufCMessage *message = NULL;
    enum err e = codec_decode_trusted(descriptor, bytes, len, arena, &message, why);
    if (e == ERR_OK)
        e = codec_check(message, why);
    if (e == ERR_OK)
        e = check_spelling(descriptor, bytes, len, why);
    if (e == ERR_OK)
        *out_message = message;
    return e;
}

enum err
codec_encode(const ProtobufCMessage *message, uint8_t *bytes, size_t size, size_t *out_len,
             struct err_text *why)
{
    char word[64];
    size_t len = protobuf_c_message_get_packed_size(message);
    if (len > size)
        return err_set(ERR_INPUT, why, "this %s takes %zu bytes: expected at most %zu bytes",
                       message_word(message->descriptor, word), len, size);
    *out_len = protobuf_c_message_pack(message, bytes);
    return ERR_OK;
}
