/* fuzz_site.c - what a hub may say to a café, in any order.
 *
 * Input: pieces `what 1, len 2, frame`. what: bits 6 and 7 say what comes after it: nothing, a
 * record of the café's own, a second of time, a new connection. Whatever the hub says, the café's
 * own records are all there at the end and every chain verifies.
 */
#include <stdlib.h>
#include <string.h>

#include "daemon/sync/site_machine.h"
#include "tests/fuzz/desk.h"
#include "tests/fuzz/fuzz.h"

enum {
    PIECES_MOST = 40
};

struct cafe {
    struct desk desk;
    struct site_machine *machine;
    unsigned written;
};

static bool
drop(void *owner, const struct peer *peer, const Knockbox__Wire *message)
{
    static uint8_t frame[WIRE_MOST];
    size_t len = 0;
    (void)owner;
    (void)peer;
    if (codec_encode(&message->base, frame, sizeof frame, &len, NULL) != ERR_OK)
        abort();
    return true;
}

static void
must(enum err e)
{
    if (e != ERR_OK)
        abort();
}

/* A note of the café. */
static void
write_one(struct cafe *cafe)
{
    struct err_text why = {.s = ""};
    struct store_txn *txn = NULL;
    struct stored stored;
    uint8_t id[16];
    Knockbox__Record record = KNOCKBOX__RECORD__INIT;
    Knockbox__Note note = KNOCKBOX__NOTE__INIT;
    clock_new_id(&cafe->desk.clock, id);
    record.has_id = record.has_at_ms = record.has_logged_ms = true;
    record.id = (ProtobufCBinaryData){sizeof id, id};
    record.at_ms = record.logged_ms = cafe->desk.now_ms;
    note.text = (char *)"the freezer hums";
    record.body_case = KNOCKBOX__RECORD__BODY_NOTE;
    record.note = &note;
    must(store_begin(cafe->desk.store, &txn, &why));
    must(store_append(txn, "quayside", &record, &stored, &why));
    must(store_commit(&txn, &why));
    cafe->written++;
    if (cafe->machine != NULL)
        must(site_machine_wrote(cafe->machine, &why));
}

static void
after(struct cafe *cafe, unsigned what)
{
    struct err_text why = {.s = ""};
    if (what == 1) {
        write_one(cafe);
    } else if (what == 2) {
        cafe->desk.now_ms += 1000;
        must(site_machine_tick(cafe->machine, &why));
    } else if (what == 3) {
        site_machine_offline(cafe->machine);
        must(site_machine_online(cafe->machine, &why));
    }
}

static void
deliver(struct cafe *cafe, const uint8_t *bytes, size_t len)
{
    static struct arena arena;
    struct err_text why = {.s = ""};
    const Knockbox__Wire *message = NULL;
    if (arena.block == NULL && arena_init(&arena, ARENA_FRAME, &why) != ERR_OK)
        abort();
    if (wire_unpack(bytes, len, &arena, &message, &why) != ERR_OK)
        return;
    enum err e = site_machine_message(cafe->machine, message, &why);
    if (e == ERR_IO || e == ERR_DAMAGED || e == ERR_MEM)
        abort(); /* a hub's words must not end a café */
}

/* Own records are never fewer than were written. */
static void
expect_whole(struct cafe *cafe)
{
    struct err_text why = {.s = ""};
    struct store_view *view = NULL;
    struct log_mark *logs = NULL;
    uint64_t checked = 0, own = 0;
    size_t n = 0;
    must(store_verify(cafe->desk.store, &checked, &why));
    must(store_look(cafe->desk.store, &view, &why));
    must(wire_logs(view, "quayside", &logs, &n, &why));
    for (size_t i = 0; i < n; i++)
        own += logs[i].seq;
    store_done(&view);
    free(logs);
    if (own < cafe->written)
        abort();
}

int
LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct err_text why = {.s = ""};
    struct cafe cafe = {.machine = NULL};
    const uint8_t *bytes = NULL;
    uint8_t what = 0;
    size_t len = 0;
    desk_open(&cafe.desk, "quayside");
    for (int i = 0; i < 3; i++)
        write_one(&cafe);
    struct site_machine_options options = {.store = cafe.desk.store,
                                           .clock = cafe.desk.clock,
                                           .wire = {drop, NULL},
                                           .hub_site = "kitchen",
                                           .window = 4};
    must(site_machine_new(&options, &cafe.machine, &why));
    must(site_machine_online(cafe.machine, &why));
    for (int i = 0; i < PIECES_MOST && next_piece(&data, &size, &what, &bytes, &len); i++) {
        deliver(&cafe, bytes, len);
        after(&cafe, what >> 6);
    }
    site_machine_free(cafe.machine);
    expect_whole(&cafe);
    desk_close(&cafe.desk);
    return 0;
}
