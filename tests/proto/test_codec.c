/* test_codec.c - bytes to messages: what must pass, what hostile bytes must meet. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdlib.h>
#include <string.h>

#include "proto/codec.h"
#include "proto/record.pb-c.h"
#include "proto/sync.pb-c.h"

static struct arena arena;

static void
begin(void)
{
    (void)arena_init(&arena, ARENA_RECORD, NULL);
}

static void
end(void)
{
    arena_done(&arena);
}

TestSuite(codec, .init = begin, .fini = end);

static enum err
decode(const ProtobufCMessageDescriptor *descriptor, const char *bytes, size_t len,
       struct err_text *why)
{
    ProtobufCMessage *message = NULL;
    arena_reset(&arena);
    return codec_decode(descriptor, (const uint8_t *)bytes, len, &arena, &message, why);
}

#define NOTE(bytes) decode(&knockbox__note__descriptor, bytes, sizeof(bytes) - 1, &why)
#define MARK(bytes) decode(&knockbox__mark__descriptor, bytes, sizeof(bytes) - 1, &why)
#define MARK_TAIL \
    "\x12\x08"    \
    "mmmmmmmm"    \
    "\x18\x05"    \
    "\x22\x20"    \
    "hhhhhhhhhhhhhhhhhhhhhhhhhhhhhhhh"

Test(codec, a_well_spelled_message_passes)
{
    struct err_text why = {.s = ""};
    cr_expect(eq(int, NOTE("\x12\x05hello"), ERR_OK));
    cr_expect(eq(int, MARK("\x08\x01" MARK_TAIL), ERR_OK));
}

Test(codec, a_field_of_a_later_version_passes)
{
    struct err_text why = {.s = ""};
    cr_expect(eq(int, NOTE("\x12\x05hello\xF8\x07\x01"), ERR_OK));
}

Test(codec, a_missing_field_is_named)
{
    struct err_text why = {.s = ""};
    cr_expect(eq(int, NOTE(""), ERR_INPUT));
    cr_expect(eq(str, why.field, "text"));
    cr_expect(eq(str, why.s, "text: missing: expected text of 1 to 2000 bytes in UTF-8"));
}

Test(codec, a_nul_inside_a_string_is_refused)
{
    struct err_text why = {.s = ""};
    cr_expect(eq(int, NOTE("\x12\x05he\0lo"), ERR_INPUT));
}

Test(codec, bad_utf_8_and_controls_are_refused)
{
    struct err_text why = {.s = ""};
    cr_expect(eq(int, NOTE("\x12\x05he\xFFlo"), ERR_INPUT));
    cr_expect(eq(str, why.got, "he?lo"));
    cr_expect(eq(int, NOTE("\x12\x05he\x1Blo"), ERR_INPUT));
}

Test(codec, a_scalar_that_comes_twice_is_refused)
{
    struct err_text why = {.s = ""};
    cr_expect(eq(int, NOTE("\x12\x02hi\x12\x05hello"), ERR_INPUT));
    cr_expect(eq(int, MARK("\x08\x01\x08\x01" MARK_TAIL), ERR_INPUT));
}

Test(codec, a_number_over_its_32_bits_is_refused)
{
    struct err_text why = {.s = ""};
    cr_expect(eq(int, MARK("\x08\x85\x80\x80\x80\x10" MARK_TAIL), ERR_INPUT)); /* 2^32 + 5 */
}

Test(codec, other_spellings_of_the_same_message_are_refused)
{
    struct err_text why = {.s = ""};
    cr_expect(eq(int, MARK("\x08\x81\x00" MARK_TAIL), ERR_INPUT));    /* over-long varint */
    cr_expect(eq(int, MARK("\x88\x00\x01" MARK_TAIL), ERR_INPUT));    /* over-long tag */
    cr_expect(eq(int, MARK(MARK_TAIL "\x08\x01"), ERR_INPUT));        /* out of order */
    cr_expect(eq(int, NOTE("\xF8\x07\x01\x12\x05hello"), ERR_INPUT)); /* unknown field first */
    cr_expect(eq(int, NOTE("\x12\x85\x00hello"), ERR_INPUT));         /* over-long length */
}

Test(codec, cut_and_ill_typed_bytes_are_refused)
{
    struct err_text why = {.s = ""};
    cr_expect(eq(int, NOTE("\x12\x05hell"), ERR_INPUT));
    cr_expect(eq(int, NOTE("\x10\x05"), ERR_INPUT));      /* a number where text belongs */
    cr_expect(eq(int, NOTE("\x02\x05hello"), ERR_INPUT)); /* field 0 */
    cr_expect(eq(int, MARK("\x08\xFF\xFF\xFF\xFF\xFF\xFF\xFF\xFF\xFF\xFF\x01" MARK_TAIL),
                 ERR_INPUT));                                  /* 11 bytes of varint */
    cr_expect(eq(int, MARK("\x08\x00" MARK_TAIL), ERR_INPUT)); /* out of range */
    cr_expect(eq(str, why.s, "epoch: 0: expected 1 to 1000000"));
}

Test(codec, a_megabyte_of_empty_messages_hits_the_budget)
{
    struct err_text why = {.s = ""};
    size_t n = 1 << 20;
    char *bytes = malloc(n);
    for (size_t i = 0; i < n; i += 2)
        memcpy(bytes + i, "\x1A\x00", 2); /* Hello.marks */
    cr_expect(eq(int, decode(&knockbox__hello__descriptor, bytes, n, &why), ERR_MEM));
    for (size_t i = 0; i < n; i += 4)
        memcpy(bytes + i, "\xF8\x07\x81\x00", 4); /* unknown fields */
    cr_expect(eq(int, decode(&knockbox__hello__descriptor, bytes, n, &why), ERR_MEM));
    free(bytes);
}

Test(codec, every_arena_size_is_refused_or_enough)
{
    static const char bytes[] = "\x08\x01" MARK_TAIL "\xF8\x07\x01";
    bool passed = false;
    for (size_t size = 0; size < 1024; size++) {
        struct arena small;
        struct err_text why = {.s = ""};
        ProtobufCMessage *message = NULL;
        cr_assert(eq(int, arena_init(&small, size + 1, NULL), ERR_OK));
        enum err e = codec_decode(&knockbox__mark__descriptor, (const uint8_t *)bytes,
                                  sizeof bytes - 1, &small, &message, &why);
        cr_assert(e == ERR_MEM || e == ERR_OK, "size %zu: %s", size, why.s);
        passed = e == ERR_OK;
        arena_done(&small);
    }
    cr_expect(passed);
}

Test(codec, a_nested_field_is_named_by_its_path)
{
    struct err_text why = {.s = ""};
    Knockbox__ReceivedTub good = KNOCKBOX__RECEIVED_TUB__INIT;
    Knockbox__ReceivedTub heavy = KNOCKBOX__RECEIVED_TUB__INIT;
    good.tub = heavy.tub = "T-1";
    heavy.has_gross_g = 1;
    heavy.gross_g = 60001;
    Knockbox__ReceivedTub *tubs[] = {&good, &heavy};
    Knockbox__Receive receive = KNOCKBOX__RECEIVE__INIT;
    receive.n_tubs = 2;
    receive.tubs = tubs;
    cr_expect(eq(int, codec_check(&receive.base, &why), ERR_INPUT));
    cr_expect(eq(str, why.field, "tubs[1].gross_g"));
    cr_expect(eq(str, why.got, "60001"));
    cr_expect(eq(str, why.want, "0 to 60000 (grams)"));
    receive.n_tubs = 0;
    cr_expect(eq(int, codec_check(&receive.base, &why), ERR_INPUT));
    cr_expect(eq(str, why.s, "tubs: missing: expected at least one"));
}

Test(codec, packing_says_when_there_is_no_room)
{
    struct err_text why = {.s = ""};
    uint8_t bytes[8];
    size_t len = 0;
    Knockbox__Note note = KNOCKBOX__NOTE__INIT;
    note.text = "hello";
    cr_expect(eq(int, codec_encode(&note.base, bytes, sizeof bytes, &len, &why), ERR_OK));
    cr_expect(eq(sz, len, 7));
    note.text = "hello!!";
    cr_expect(eq(int, codec_encode(&note.base, bytes, sizeof bytes, &len, &why), ERR_INPUT));
    cr_expect(eq(str, why.s, "this note takes 9 bytes: expected at most 8 bytes"));
}
