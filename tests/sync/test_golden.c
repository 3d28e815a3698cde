/* test_golden.c - every kind of message as version 1 sent it is still read, and packs to the same
 * bytes; what a later version adds is skipped.
 *
 * tests/golden/v1/wire/KIND.bin were made by `make_sessions FOLDER` (tests/fuzz).
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/sync/wire.h"

static struct arena arena;
static uint8_t bytes[WIRE_MOST], again[WIRE_MOST];

static size_t
read_golden(const char *kind)
{
    char path[512];
    (void)snprintf(path, sizeof path, "%s/tests/golden/v1/wire/%s.bin", TEST_SOURCE, kind);
    FILE *file = fopen(path, "rb");
    cr_assert(file != NULL, "%s", path);
    size_t len = fread(bytes, 1, sizeof bytes, file);
    (void)fclose(file);
    return len;
}

static const Knockbox__Wire *
unpack(const char *kind, size_t len)
{
    struct err_text why = {.s = ""};
    const Knockbox__Wire *message = NULL;
    cr_assert(wire_unpack(bytes, len, &arena, &message, &why) == ERR_OK, "%s: %s", kind, why.s);
    return message;
}

static const ProtobufCFieldDescriptor *
kind_at(unsigned i)
{
    return &knockbox__wire__descriptor.fields[i];
}

Test(golden, every_message_of_version_1_is_read_and_packs_to_its_bytes)
{
    cr_assert(arena_init(&arena, ARENA_FRAME, NULL) == ERR_OK);
    for (unsigned i = 0; i < knockbox__wire__descriptor.n_fields; i++) {
        const char *kind = kind_at(i)->name;
        size_t len = read_golden(kind), out = 0;
        const Knockbox__Wire *message = unpack(kind, len);
        cr_expect(eq(u32, (uint32_t)message->what_case, kind_at(i)->id), "%s", kind);
        cr_assert(codec_encode(&message->base, again, sizeof again, &out, NULL) == ERR_OK);
        cr_expect(out == len && memcmp(bytes, again, len) == 0, "%s", kind);
    }
    arena_done(&arena);
}

/* Field 99 with the text "later", at the end of the message inside the frame. */
static size_t
add_a_field_of_later(size_t len)
{
    static const uint8_t later[] = {0x9A, 0x06, 5, 'l', 'a', 't', 'e', 'r'};
    size_t at = 1, head; /* a tag, then the length of the rest */
    while (bytes[at - 1] & 0x80)
        at++;
    for (head = at; bytes[head] & 0x80;)
        head++;
    head++;
    size_t body = len - head, more = body + sizeof later;
    memmove(again, bytes + head, body);
    for (; more > 0x7F; more >>= 7)
        bytes[at++] = (uint8_t)(more | 0x80);
    bytes[at++] = (uint8_t)more;
    memcpy(bytes + at, again, body);
    memcpy(bytes + at + body, later, sizeof later);
    return at + body + sizeof later;
}

Test(golden, a_field_of_a_later_version_changes_nothing)
{
    cr_assert(arena_init(&arena, ARENA_FRAME, NULL) == ERR_OK);
    for (unsigned i = 0; i < knockbox__wire__descriptor.n_fields; i++) {
        const char *kind = kind_at(i)->name;
        size_t len = add_a_field_of_later(read_golden(kind));
        cr_expect(eq(u32, (uint32_t)unpack(kind, len)->what_case, kind_at(i)->id), "%s", kind);
    }
    arena_done(&arena);
}

Test(golden, a_kind_of_a_later_version_is_a_message_that_says_nothing)
{
    static const uint8_t later[] = {0x9A, 0x06, 5, 'l', 'a', 't', 'e', 'r'};
    cr_assert(arena_init(&arena, ARENA_FRAME, NULL) == ERR_OK);
    memcpy(bytes, later, sizeof later);
    cr_expect(eq(u32, (uint32_t)unpack("later", sizeof later)->what_case, 0u));
    arena_done(&arena);
}
