/* fuzz_hub.c - what machines of cafés may say to a hub, in any order.
 *
 * Input: pieces `who 1, len 2, frame`. who: bits 0 and 1 the connection, bit 2 which of two sites,
 * bits 6 and 7 what comes after it: nothing, a commit, a second of time, half a minute. Whatever is
 * said, every chain in the store verifies at the end and belongs to one of the two sites.
 */
#include <stdlib.h>
#include <string.h>

#include "daemon/sync/hub_machine.h"
#include "tests/fuzz/desk.h"
#include "tests/fuzz/fuzz.h"

enum {
    PIECES_MOST = 40
};

static const char *const sites[] = {"quayside", "harbour"};

static bool
drop(void *owner, const struct peer *peer, const Knockbox__Wire *message)
{
    static uint8_t frame[WIRE_MOST];
    size_t len = 0;
    (void)owner;
    (void)peer;
    if (codec_encode(&message->base, frame, sizeof frame, &len, NULL) != ERR_OK)
        abort(); /* an answer that does not fit a frame */
    return true;
}

static void
after(struct hub_machine *machine, struct desk *desk, unsigned what)
{
    struct err_text why = {.s = ""};
    if (what == 1 && hub_machine_flush(machine, &why) != ERR_OK)
        abort();
    if (what < 2)
        return;
    desk->now_ms += what == 2 ? 1000 : 30000;
    hub_machine_tick(machine);
}

static void
deliver(struct hub_machine *machine, uint8_t who, const uint8_t *bytes, size_t len)
{
    static struct arena arena;
    struct err_text why = {.s = ""};
    const Knockbox__Wire *message = NULL;
    struct peer peer = {.len = 5, .id = {0, who & 3}};
    const char *site = sites[who >> 2 & 1];
    peer.id[2] = (uint8_t)(who >> 2 & 1); /* a connection is of one key */
    if (arena.block == NULL && arena_init(&arena, ARENA_FRAME, &why) != ERR_OK)
        abort();
    if (wire_unpack(bytes, len, &arena, &message, &why) == ERR_OK &&
        message->what_case != KNOCKBOX__WIRE__WHAT_JOIN &&
        message->what_case != KNOCKBOX__WIRE__WHAT_REQUEST)
        hub_machine_message(machine, &peer, site, message);
}

static void
expect_whole(struct store *store)
{
    struct err_text why = {.s = ""};
    uint64_t checked = 0;
    if (store_verify(store, &checked, &why) != ERR_OK)
        abort();
}

int
LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct err_text why = {.s = ""};
    struct desk desk;
    struct hub_machine *machine = NULL;
    const uint8_t *bytes = NULL;
    uint8_t who = 0;
    size_t len = 0;
    desk_open(&desk, "kitchen");
    struct hub_machine_options options = {
        .store = desk.store, .clock = desk.clock, .wire = {drop, NULL}, .group = 1000};
    if (hub_machine_new(&options, &machine, &why) != ERR_OK)
        abort();
    for (int i = 0; i < PIECES_MOST && next_piece(&data, &size, &who, &bytes, &len); i++) {
        deliver(machine, who, bytes, len);
        if (hub_machine_full(machine))
            after(machine, &desk, 1);
        after(machine, &desk, who >> 6);
    }
    after(machine, &desk, 1);
    struct hub_site heard[4];
    if (hub_machine_sites(machine, heard, 4) > 2)
        abort();
    hub_machine_free(machine);
    expect_whole(desk.store);
    desk_close(&desk);
    return 0;
}
