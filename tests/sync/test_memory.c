/* test_memory.c - memory is short: each allocation of the machines of sync fails in turn, and once it
 * is there again every record gets to the hub, once. Common practice, no source. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/sync/hub_machine.h"
#include "daemon/sync/site_machine.h"
#include "tests/fuzz/desk.h"
#include "tests/fuzz/lack.h"

enum {
    RECORDS = 5,
    FRAMES_MOST = 64,
    FRAME_SIZE = 4096,
    SECONDS_MOST = 90,
    CALLS_MOST = 2000
};

/* Frames on their way, one direction; what does not fit is lost. */
struct way {
    uint8_t bytes[FRAMES_MOST][FRAME_SIZE];
    size_t len[FRAMES_MOST];
    size_t n;
};

struct play {
    struct desk cafe, hub;
    struct site_machine *site;
    struct hub_machine *machine;
    struct way up, down;
    struct arena arena;
};

static bool
put(void *owner, const struct peer *peer, const Knockbox__Wire *message)
{
    struct way *way = owner;
    (void)peer;
    return way->n < FRAMES_MOST &&
           codec_encode(&message->base, way->bytes[way->n], FRAME_SIZE, &way->len[way->n], NULL) ==
               ERR_OK &&
           ++way->n > 0;
}

/* A coffee at the hub, else a note. */
static void
write_one(struct desk *desk, bool at_hub)
{
    struct store_txn *txn = NULL;
    struct stored stored;
    uint8_t id[16];
    Knockbox__Record record = KNOCKBOX__RECORD__INIT;
    Knockbox__Note note = KNOCKBOX__NOTE__INIT;
    Knockbox__Coffee coffee = KNOCKBOX__COFFEE__INIT;
    clock_new_id(&desk->clock, id);
    record.has_id = record.has_at_ms = record.has_logged_ms = true;
    record.id = (ProtobufCBinaryData){sizeof id, id};
    record.at_ms = record.logged_ms = desk->now_ms;
    note.text = coffee.code = (char *)"dawn";
    record.body_case = at_hub ? KNOCKBOX__RECORD__BODY_COFFEE : KNOCKBOX__RECORD__BODY_NOTE;
    if (at_hub)
        record.coffee = &coffee;
    else
        record.note = &note;
    cr_assert(store_begin(desk->store, &txn, NULL) == ERR_OK);
    cr_assert(store_append(txn, store_site(desk->store), &record, &stored, NULL) == ERR_OK);
    cr_assert(store_commit(&txn, NULL) == ERR_OK);
}

static void
begin(struct play *p)
{
    memset(p, 0, sizeof *p);
    desk_open(&p->cafe, "quayside");
    desk_open(&p->hub, "kitchen");
    for (int i = 0; i < RECORDS; i++)
        write_one(&p->cafe, false);
    write_one(&p->hub, true);
    cr_assert(arena_init(&p->arena, ARENA_FRAME, NULL) == ERR_OK);
}

/* What is not there yet; as a program does that is started again. */
static void
open_machines(struct play *p)
{
    struct hub_machine_options hub = {
        .store = p->hub.store, .clock = p->hub.clock, .wire = {put, &p->down}, .group = 1000};
    struct site_machine_options site = {.store = p->cafe.store,
                                        .clock = p->cafe.clock,
                                        .wire = {put, &p->up},
                                        .hub_site = "kitchen",
                                        .window = 4};
    if (p->machine == NULL && hub_machine_new(&hub, &p->machine, NULL) != ERR_OK)
        p->machine = NULL;
    if (p->site == NULL && site_machine_new(&site, &p->site, NULL) != ERR_OK)
        p->site = NULL;
    else if (p->site != NULL && !site_machine_link(p->site).online)
        (void)site_machine_online(p->site, NULL);
}

static void
deliver(struct play *p, struct way *way, bool to_hub)
{
    static struct way now;
    struct peer peer = {.len = 5};
    now = *way;
    way->n = 0;
    for (size_t i = 0; i < now.n; i++) {
        const Knockbox__Wire *message = NULL;
        if (wire_unpack(now.bytes[i], now.len[i], &p->arena, &message, NULL) != ERR_OK)
            continue;
        if (to_hub)
            hub_machine_message(p->machine, &peer, "quayside", message);
        else
            (void)site_machine_message(p->site, message, NULL); /* short of memory: said again */
    }
}

/* Machines and talk for some seconds; errors of memory are borne. */
static void
live(struct play *p, int seconds)
{
    open_machines(p);
    for (int i = 0; i < seconds && p->site != NULL && p->machine != NULL; i++) {
        for (int round = 0; round < 8; round++) {
            deliver(p, &p->up, true);
            (void)hub_machine_flush(p->machine, NULL);
            deliver(p, &p->down, false);
        }
        p->cafe.now_ms += 1000;
        p->hub.now_ms += 1000;
        (void)site_machine_tick(p->site, NULL);
        hub_machine_tick(p->machine);
    }
}

static uint64_t
held(struct desk *desk, const char *site)
{
    struct store_view *view = NULL;
    struct log_mark *logs = NULL;
    uint64_t n = 0;
    size_t n_logs = 0;
    cr_assert(store_look(desk->store, &view, NULL) == ERR_OK);
    cr_assert(wire_logs(view, site, &logs, &n_logs, NULL) == ERR_OK);
    for (size_t i = 0; i < n_logs; i++)
        n += logs[i].seq;
    store_done(&view);
    free(logs);
    return n;
}

static void
end(struct play *p, unsigned n)
{
    uint64_t checked = 0;
    cr_assert(eq(u64, held(&p->hub, "quayside"), RECORDS), "allocation %u", n);
    cr_assert(eq(u64, held(&p->cafe, "kitchen"), 1), "allocation %u", n);
    cr_assert(store_verify(p->hub.store, &checked, NULL) == ERR_OK, "allocation %u", n);
    cr_assert(store_verify(p->cafe.store, &checked, NULL) == ERR_OK, "allocation %u", n);
    site_machine_free(p->site);
    hub_machine_free(p->machine);
    desk_close(&p->cafe);
    desk_close(&p->hub);
    arena_done(&p->arena);
}

Test(memory, each_allocation_of_sync_may_fail_and_nothing_is_lost, .timeout = 100)
{
    static struct play p;
    unsigned n = 0;
    for (bool failed = true; failed;) {
        n++;
        cr_assert(n < CALLS_MOST);
        begin(&p);
        lack_at(n);
        live(&p, 2);
        failed = lack_end();
        live(&p, SECONDS_MOST);
        end(&p, n);
    }
    cr_assert(n > 20, "only %u allocations were tried", n);
}
