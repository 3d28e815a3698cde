/* fuzz_frame.c - one frame of the network or one packet of the local socket: whatever passes packs
 * again to the same bytes. */
#include <stdlib.h>
#include <string.h>

#include "daemon/sync/wire.h"
#include "tests/fuzz/fuzz.h"

/* Marks are read without a second look at their sizes: the codec's rules hold them. */
static void
expect_marks(const Knockbox__Wire *message)
{
    struct log_mark place;
    if (message->what_case == KNOCKBOX__WIRE__WHAT_HELLO)
        for (size_t i = 0; i < message->hello->n_marks; i++)
            wire_place(message->hello->marks[i], &place);
    if (message->what_case == KNOCKBOX__WIRE__WHAT_ACK)
        wire_place(message->ack->held, &place);
}

int
LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static struct arena arena; /* kept: making it anew costs more than what is tried */
    static uint8_t again[WIRE_MOST];
    struct err_text why = {.s = ""};
    const Knockbox__Wire *message = NULL;
    size_t len = 0;
    if (arena.block == NULL && arena_init(&arena, ARENA_FRAME, &why) != ERR_OK)
        return 0;
    enum err e = wire_unpack(data, size, &arena, &message, &why);
    if (e != ERR_OK && why.s[0] == '\0')
        abort(); /* a refusal without words */
    if (e != ERR_OK)
        return 0;
    expect_marks(message);
    if (codec_encode(&message->base, again, sizeof again, &len, &why) != ERR_OK || len != size ||
        memcmp(again, data, size) != 0)
        abort();
    return 0;
}
