/* make_sessions.c DIR - a café and a hub talk; every frame into DIR, for the corpora and as golden
 * messages of this version: up.seed and down.seed in the form of fuzz_hub and fuzz_site, and the
 * first frame of each kind as KIND.bin. Run by hand when the protocol has a new version.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/sync/hub_machine.h"
#include "daemon/sync/site_machine.h"
#include "tests/fuzz/desk.h"

enum {
    FRAMES_MOST = 256
};

struct frame {
    uint8_t *bytes;
    size_t len;
};

struct way {
    struct frame frames[FRAMES_MOST];
    size_t n, read;
    FILE *session;
    const char *dir;
};

static void
must(enum err e, const struct err_text *why)
{
    if (e == ERR_OK)
        return;
    (void)fprintf(stderr, "%s\n", why->s);
    exit(EXIT_FAILURE);
}

static FILE *
create(const char *dir, const char *name)
{
    char path[512];
    (void)snprintf(path, sizeof path, "%s/%s", dir, name);
    FILE *file = fopen(path, "wb");
    if (file == NULL)
        exit(EXIT_FAILURE);
    return file;
}

static const char *
kind_of(const Knockbox__Wire *message)
{
    for (size_t i = 0; i < message->base.descriptor->n_fields; i++)
        if (message->base.descriptor->fields[i].id == (uint32_t)message->what_case)
            return message->base.descriptor->fields[i].name;
    return "none";
}

static void
keep_golden(const char *dir, const Knockbox__Wire *message, const struct frame *frame)
{
    char name[64], path[600];
    (void)snprintf(name, sizeof name, "%s.bin", kind_of(message));
    (void)snprintf(path, sizeof path, "%s/%s", dir, name);
    FILE *file = fopen(path, "rb");
    if (file == NULL) {
        file = create(dir, name);
        (void)fwrite(frame->bytes, 1, frame->len, file);
    }
    (void)fclose(file);
}

static bool
put(void *owner, const struct peer *peer, const Knockbox__Wire *message)
{
    static uint8_t scratch[WIRE_MOST];
    struct way *way = owner;
    struct frame *frame = &way->frames[way->n];
    (void)peer;
    if (way->n == FRAMES_MOST ||
        codec_encode(&message->base, scratch, sizeof scratch, &frame->len, NULL) != ERR_OK)
        return false;
    frame->bytes = malloc(frame->len + 1);
    if (frame->bytes == NULL)
        return false;
    memcpy(frame->bytes, scratch, frame->len);
    uint8_t head[3] = {0x40, (uint8_t)(frame->len >> 8), (uint8_t)frame->len};
    if (way->session != NULL) {
        (void)fwrite(head, 1, sizeof head, way->session);
        (void)fwrite(frame->bytes, 1, frame->len, way->session);
        keep_golden(way->dir, message, frame);
    }
    way->n++;
    return true;
}

/* A note of the café, a coffee of the hub. */
static void
write_one(struct desk *desk, const char *text)
{
    struct err_text why = {.s = ""};
    struct store_txn *txn = NULL;
    struct stored stored;
    uint8_t id[16];
    Knockbox__Record record = KNOCKBOX__RECORD__INIT;
    Knockbox__Note note = KNOCKBOX__NOTE__INIT;
    Knockbox__Coffee coffee = KNOCKBOX__COFFEE__INIT;
    bool is_hub = strcmp(store_site(desk->store), "kitchen") == 0;
    clock_new_id(&desk->clock, id);
    record.has_id = record.has_at_ms = record.has_logged_ms = true;
    record.id = (ProtobufCBinaryData){sizeof id, id};
    record.at_ms = record.logged_ms = desk->now_ms;
    note.text = coffee.code = (char *)text;
    record.body_case = is_hub ? KNOCKBOX__RECORD__BODY_COFFEE : KNOCKBOX__RECORD__BODY_NOTE;
    if (is_hub)
        record.coffee = &coffee;
    else
        record.note = &note;
    must(store_begin(desk->store, &txn, &why), &why);
    must(store_append(txn, store_site(desk->store), &record, &stored, &why), &why);
    must(store_commit(&txn, &why), &why);
}

struct play {
    struct desk cafe, hub;
    struct site_machine *site;
    struct hub_machine *machine;
    struct way up, down;
    struct arena arena;
};

static const Knockbox__Wire *
next(struct play *p, struct way *way)
{
    struct err_text why = {.s = ""};
    const Knockbox__Wire *message = NULL;
    struct frame *frame = &way->frames[way->read++];
    must(wire_unpack(frame->bytes, frame->len, &p->arena, &message, &why), &why);
    return message;
}

static void
talk(struct play *p)
{
    struct err_text why = {.s = ""};
    struct peer peer = {.len = 5};
    while (p->up.read < p->up.n || p->down.read < p->down.n) {
        while (p->up.read < p->up.n)
            hub_machine_message(p->machine, &peer, "quayside", next(p, &p->up));
        must(hub_machine_flush(p->machine, &why), &why);
        while (p->down.read < p->down.n)
            must(site_machine_message(p->site, next(p, &p->down), &why), &why);
    }
}

static void
pass(struct play *p, int seconds)
{
    struct err_text why = {.s = ""};
    for (int i = 0; i < seconds; i++) {
        p->cafe.now_ms += 1000;
        p->hub.now_ms += 1000;
        must(site_machine_tick(p->site, &why), &why);
        hub_machine_tick(p->machine);
        talk(p);
    }
}

/* The café's disk is put back to what it was before it had the last records. */
static void
lose_card(struct play *p)
{
    struct err_text why = {.s = ""};
    site_machine_free(p->site);
    desk_close(&p->cafe);
    desk_open(&p->cafe, "quayside");
    p->cafe.now_ms = p->hub.now_ms;
    struct site_machine_options options = {.store = p->cafe.store,
                                           .clock = p->cafe.clock,
                                           .wire = {put, &p->up},
                                           .hub_site = "kitchen",
                                           .window = 4};
    must(site_machine_new(&options, &p->site, &why), &why);
    must(site_machine_online(p->site, &why), &why);
}

/* Kinds that machines of cafés do not say. */
static void
keep_others(struct way *way)
{
    static uint8_t key[32] = {0x4B};
    Knockbox__Wire wire = KNOCKBOX__WIRE__INIT;
    Knockbox__Join join = KNOCKBOX__JOIN__INIT;
    Knockbox__Joined joined = KNOCKBOX__JOINED__INIT;
    Knockbox__Refuse refuse = KNOCKBOX__REFUSE__INIT;
    Knockbox__Request request = KNOCKBOX__REQUEST__INIT;
    Knockbox__Reply reply = KNOCKBOX__REPLY__INIT;
    Knockbox__Renew renew = KNOCKBOX__RENEW__INIT;
    Knockbox__Renewed renewed = KNOCKBOX__RENEWED__INIT;
    Knockbox__Arg arg = KNOCKBOX__ARG__INIT, *args = &arg;
    ProtobufCBinaryData line = {sizeof "{}" - 1, (uint8_t *)"{}"};
    join.has_version = join.has_key = joined.has_first_epoch = refuse.has_code = true;
    join.version = 1;
    join.key = (ProtobufCBinaryData){sizeof key, key};
    wire.what_case = KNOCKBOX__WIRE__WHAT_JOIN;
    wire.join = &join;
    (void)put(way, NULL, &wire);
    renew.has_key = renewed.has_key = renewed.has_code = true;
    renew.key = renewed.key = join.key;
    wire.what_case = KNOCKBOX__WIRE__WHAT_RENEW;
    wire.renew = &renew;
    (void)put(way, NULL, &wire);
    wire.what_case = KNOCKBOX__WIRE__WHAT_RENEWED;
    wire.renewed = &renewed;
    (void)put(way, NULL, &wire);
    joined.site = (char *)"quayside";
    joined.hub_site = (char *)"kitchen";
    joined.role = (char *)"site";
    joined.first_epoch = 1;
    wire.what_case = KNOCKBOX__WIRE__WHAT_JOINED;
    wire.joined = &joined;
    (void)put(way, NULL, &wire);
    refuse.code = 1;
    refuse.text = (char *)"no";
    wire.what_case = KNOCKBOX__WIRE__WHAT_REFUSE;
    wire.refuse = &refuse;
    (void)put(way, NULL, &wire);
    request.has_version = request.has_number = reply.has_number = reply.has_code = true;
    request.version = request.number = reply.number = 1;
    request.word = (char *)"freezer";
    arg.name = (char *)"site";
    arg.value = (char *)"quayside";
    request.n_args = request.n_lines = 1;
    request.args = &args;
    request.lines = &line;
    wire.what_case = KNOCKBOX__WIRE__WHAT_REQUEST;
    wire.request = &request;
    (void)put(way, NULL, &wire);
    reply.has_data = true;
    reply.data = line;
    wire.what_case = KNOCKBOX__WIRE__WHAT_REPLY;
    wire.reply = &reply;
    (void)put(way, NULL, &wire);
}

int
main(int argc, char **argv)
{
    static struct play p;
    struct err_text why = {.s = ""};
    if (argc != 2)
        return EXIT_FAILURE;
    must(arena_init(&p.arena, ARENA_FRAME, &why), &why);
    desk_open(&p.cafe, "quayside");
    desk_open(&p.hub, "kitchen");
    p.up = (struct way){.session = create(argv[1], "up.seed"), .dir = argv[1]};
    p.down = (struct way){.session = create(argv[1], "down.seed"), .dir = argv[1]};
    struct hub_machine_options hub = {
        .store = p.hub.store, .clock = p.hub.clock, .wire = {put, &p.down}, .group = 1000};
    struct site_machine_options site = {.store = p.cafe.store,
                                        .clock = p.cafe.clock,
                                        .wire = {put, &p.up},
                                        .hub_site = "kitchen",
                                        .window = 4};
    must(hub_machine_new(&hub, &p.machine, &why), &why);
    for (int i = 0; i < 3; i++)
        write_one(&p.cafe, "the freezer hums");
    must(site_machine_new(&site, &p.site, &why), &why);
    must(site_machine_online(p.site, &why), &why);
    talk(&p);
    write_one(&p.hub, "house-dark");
    hub_machine_wrote(p.machine);
    talk(&p);
    pass(&p, 12);
    lose_card(&p);
    talk(&p);
    pass(&p, 2);
    keep_others(&p.up);
    (void)fclose(p.up.session);
    (void)fclose(p.down.session);
    site_machine_free(p.site);
    hub_machine_free(p.machine);
    desk_close(&p.cafe);
    desk_close(&p.hub);
    arena_done(&p.arena);
    return EXIT_SUCCESS;
}
