/* world.c - the play behind the scenario tests. */
#include "tests/world/world.h"

#include <criterion/criterion.h>
#include <dirent.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "daemon/record/kind.h"
#include "daemon/record/record.h"
#include "daemon/sync/hub_machine.h"
#include "daemon/sync/site_machine.h"
#include "proto/json.h"

enum {
    QUEUE_MOST = 4096,
    IDS_MOST = 200000,
    SETTLE_STEPS = 200000,
    SETTLE_MS = 25000 /* longer than any patience of the machines */
};

struct message {
    uint8_t *bytes;
    size_t len;
    unsigned connection; /* of the café when it was sent: an old one is dead */
    int64_t due_ms;      /* not delivered before */
};

struct queue {
    struct message items[QUEUE_MOST];
    unsigned n;
};

/* One machine with a store: the hub or a café. */
struct box {
    struct world *world;
    char dir[128], site[32];
    struct clock clock;
    int64_t shift_ms;
    struct store *store;
    struct site_machine *site_machine;
    struct hub_machine *hub_machine;
    struct queue up, down; /* of a café */
    bool joined;
    unsigned connection, delivered, cut_after;
    int number;
};

struct world {
    char dir[64];
    uint64_t random;
    int64_t now_ms;
    struct box hub, cafes[WORLD_CAFES];
    unsigned n;
    unsigned drop, twice, out_of_order;
    unsigned hold_in, repeat_in; /* counted down by each message that is sent; 0: none */
    int64_t hold_ms, repeat_ms;
    unsigned stirring;  /* messages delivered that are no beat */
    int64_t stirred_ms; /* when something other than a beat was last delivered or written */
    /* Every record that was acknowledged to a person: id and whose. */
    struct written {
        uint8_t id[16];
        int site; /* café number whose site it is, WORLD_HUB */
        bool hidden;
    } * written;
    unsigned n_written;
    struct arena arena;
    uint8_t frame[WIRE_MOST];
};

#define must(call)                                                           \
    do {                                                                     \
        struct err_text must_why = {.s = ""};                                \
        struct err_text *why = &must_why;                                    \
        enum err must_e = (call);                                            \
        cr_assert(must_e == ERR_OK, "%s: %d %s", #call, must_e, must_why.s); \
        (void)why;                                                           \
    } while (0)

uint64_t
world_seed(uint64_t standard)
{
    const char *text = getenv("TEST_SEED");
    return text != NULL ? strtoull(text, NULL, 10) : standard;
}

/* splitmix64 (Steele, Lea, Flood 2014) */
static uint64_t
next_random(struct world *w)
{
    uint64_t z = w->random += UINT64_C(0x9E3779B97F4A7C15);
    z = (z ^ z >> 30) * UINT64_C(0xBF58476D1CE4E5B9);
    z = (z ^ z >> 27) * UINT64_C(0x94D049BB133111EB);
    return z ^ z >> 31;
}

unsigned
world_chance(struct world *w, unsigned below)
{
    return (unsigned)(next_random(w) % below);
}

/* ---------------------------------------------------------------- clock */

static int64_t
box_now(void *owner)
{
    struct box *b = owner;
    return b->world->now_ms + b->shift_ms;
}

static uint64_t
box_mono(void *owner)
{
    struct box *b = owner;
    return (uint64_t)(b->world->now_ms - INT64_C(1767225600000)) + 1000;
}

static bool
box_synchronised(void *owner)
{
    (void)owner;
    return true;
}

static void
box_random(void *owner, void *bytes, size_t n)
{
    struct box *b = owner;
    for (size_t i = 0; i < n; i++)
        ((uint8_t *)bytes)[i] = (uint8_t)next_random(b->world);
}

/* ---------------------------------------------------------------- the wire */

static void
put(struct queue *q, const uint8_t *bytes, size_t len, unsigned connection)
{
    cr_assert(q->n < QUEUE_MOST, "the wire is full");
    struct message *m = &q->items[q->n++];
    m->bytes = malloc(len);
    m->len = len;
    m->connection = connection;
    m->due_ms = 0;
    memcpy(m->bytes, bytes, len);
}

/* The first message that is due; the number of messages when none is. */
static unsigned
first_due(const struct world *w, const struct queue *q)
{
    unsigned i = 0;
    while (i < q->n && q->items[i].due_ms > w->now_ms)
        i++;
    return i;
}

static void
clear(struct queue *q)
{
    for (unsigned i = 0; i < q->n; i++)
        free(q->items[i].bytes);
    q->n = 0;
}

/* Into the queue by the weather: lost, twice, before the one in front. */
static void
into(struct world *w, struct queue *q, const Knockbox__Wire *message, unsigned connection)
{
    size_t len = 0;
    must(codec_encode(&message->base, w->frame, sizeof w->frame, &len, why));
    if (world_chance(w, 1000) < w->drop)
        return;
    put(q, w->frame, len, connection);
    if (w->hold_in > 0 && --w->hold_in == 0)
        q->items[q->n - 1].due_ms = w->now_ms + w->hold_ms;
    if (w->repeat_in > 0 && --w->repeat_in == 0) {
        put(q, w->frame, len, connection);
        q->items[q->n - 1].due_ms = w->now_ms + w->repeat_ms;
    }
    if (world_chance(w, 1000) < w->twice)
        put(q, w->frame, len, connection);
    if (q->n > 1 && world_chance(w, 1000) < w->out_of_order) {
        unsigned other = world_chance(w, q->n);
        struct message last = q->items[q->n - 1];
        q->items[q->n - 1] = q->items[other];
        q->items[other] = last;
    }
}

static bool
send_up(void *owner, const struct peer *peer, const Knockbox__Wire *message)
{
    struct box *b = owner;
    (void)peer;
    if (!b->joined)
        return false;
    into(b->world, &b->up, message, b->connection);
    return true;
}

/* A peer is the café's number and its connection. */
static struct peer
peer_of(const struct box *b)
{
    struct peer peer;
    memset(&peer, 0, sizeof peer);
    peer.len = 5;
    peer.id[0] = (uint8_t)b->number;
    memcpy(peer.id + 1, &b->connection, 4);
    return peer;
}

static bool
send_down(void *owner, const struct peer *peer, const Knockbox__Wire *message)
{
    struct world *w = ((struct box *)owner)->world;
    struct box *b = &w->cafes[peer->id[0]];
    struct peer now = peer_of(b);
    if (!b->joined || memcmp(&now, peer, sizeof now) != 0)
        return false; /* EHOSTUNREACH */
    into(w, &b->down, message, b->connection);
    return true;
}

/* ---------------------------------------------------------------- machines */

static void
power_on(struct box *b)
{
    struct store_options options = {
        .site = b->site, .map_mib = 16, .most_mib = 256, .ballast_kib = 64, .clock = b->clock};
    must(store_open(b->dir, &options, &b->store, why));
    if (b->number == WORLD_HUB) {
        struct hub_machine_options hub = {
            .store = b->store, .clock = b->clock, .wire = {send_down, b}, .group = 1000};
        must(hub_machine_new(&hub, &b->hub_machine, why));
        return;
    }
    struct site_machine_options site = {.store = b->store,
                                        .clock = b->clock,
                                        .wire = {send_up, b},
                                        .hub_site = "kitchen",
                                        .window = 4};
    must(site_machine_new(&site, &b->site_machine, why));
}

static void
power_off(struct box *b)
{
    hub_machine_free(b->hub_machine);
    site_machine_free(b->site_machine);
    store_close(b->store);
    b->hub_machine = NULL;
    b->site_machine = NULL;
    b->store = NULL;
}

static void
box_init(struct world *w, struct box *b, int number, const char *site)
{
    b->world = w;
    b->number = number;
    snprintf(b->site, sizeof b->site, "%s", site);
    snprintf(b->dir, sizeof b->dir, "%s/box%d", w->dir, number);
    mkdir(b->dir, 0700);
    b->clock = (struct clock){box_now, box_mono, box_synchronised, box_random, {1}, b};
}

struct world *
world_new(unsigned cafes, uint64_t seed)
{
    struct world *w = calloc(1, sizeof *w);
    snprintf(w->dir, sizeof w->dir, "%s/knockbox-world-XXXXXX",
             access("/dev/shm", W_OK) == 0 ? "/dev/shm" : "/tmp"); /* no disk is tried here */
    cr_assert(mkdtemp(w->dir) != NULL);
    w->random = seed;
    w->now_ms = INT64_C(1772496000000); /* 2026-03-03 */
    w->written = calloc(IDS_MOST, sizeof *w->written);
    must(arena_init(&w->arena, ARENA_FRAME, why));
    box_init(w, &w->hub, WORLD_HUB, "kitchen");
    power_on(&w->hub);
    for (unsigned i = 0; i < cafes; i++) {
        char site[16];
        snprintf(site, sizeof site, "cafe-%u", i);
        box_init(w, &w->cafes[i], (int)i, site);
        power_on(&w->cafes[i]);
        w->n++;
        world_join(w, (int)i);
    }
    return w;
}

static void
remove_files(const char *dir)
{
    char path[512];
    struct dirent *file = NULL;
    DIR *folder = opendir(dir);
    while (folder != NULL && (file = readdir(folder)) != NULL) {
        struct stat st;
        if (strcmp(file->d_name, ".") == 0 || strcmp(file->d_name, "..") == 0)
            continue;
        snprintf(path, sizeof path, "%s/%s", dir, file->d_name);
        if (lstat(path, &st) == 0 && S_ISDIR(st.st_mode))
            remove_files(path);
        else
            unlink(path);
    }
    if (folder != NULL)
        closedir(folder);
    rmdir(dir);
}

void
world_free(struct world *w)
{
    for (unsigned i = 0; i < w->n; i++) {
        power_off(&w->cafes[i]);
        clear(&w->cafes[i].up);
        clear(&w->cafes[i].down);
    }
    power_off(&w->hub);
    remove_files(w->dir);
    arena_done(&w->arena);
    free(w->written);
    free(w);
}

static struct box *
box_of(struct world *w, int who)
{
    return who == WORLD_HUB ? &w->hub : &w->cafes[who];
}

/* ---------------------------------------------------------------- people */

static void
fill_envelope(struct box *b, Knockbox__Record *record, uint8_t id[16])
{
    knockbox__record__init(record);
    clock_new_id(&b->clock, id);
    record->has_id = record->has_at_ms = record->has_logged_ms = true;
    record->id = (ProtobufCBinaryData){16, id};
    record->at_ms = record->logged_ms = box_now(b);
}

static void
append(struct world *w, struct box *b, struct store_txn *txn, bool hidden)
{
    Knockbox__Record record;
    Knockbox__Note note = KNOCKBOX__NOTE__INIT;
    Knockbox__Coffee coffee = KNOCKBOX__COFFEE__INIT;
    struct stored stored;
    struct written *written = &w->written[w->n_written++];
    char text[64];
    cr_assert(w->n_written < IDS_MOST);
    fill_envelope(b, &record, written->id);
    snprintf(text, sizeof text, "record-%u", w->n_written);
    if (b->number == WORLD_HUB && !hidden) {
        record.body_case = KNOCKBOX__RECORD__BODY_COFFEE;
        record.coffee = &coffee;
        coffee.code = text;
    } else {
        record.body_case = KNOCKBOX__RECORD__BODY_NOTE;
        record.note = &note;
        note.text = text;
    }
    must(store_append(txn, b->site, &record, &stored, why));
    written->hidden = hidden;
    written->site = b->number;
    for (int i = 0; i < b->number; i++) /* a clone writes for the site of its card */
        if (strcmp(w->cafes[i].site, b->site) == 0) {
            written->site = i;
            break;
        }
}

static void
write_some(struct world *w, int who, unsigned n, bool hidden)
{
    struct box *b = box_of(w, who);
    while (n > 0) {
        struct store_txn *txn = NULL;
        unsigned now = n < 50 ? n : 50;
        must(store_begin(b->store, &txn, why));
        for (unsigned i = 0; i < now; i++)
            append(w, b, txn, hidden);
        must(store_commit(&txn, why));
        n -= now;
    }
    if (who == WORLD_HUB)
        hub_machine_wrote(b->hub_machine);
    else
        must(site_machine_wrote(b->site_machine, why));
}

void
world_write(struct world *w, int who, unsigned n)
{
    write_some(w, who, n, false);
}

void
world_write_hidden(struct world *w, unsigned n)
{
    write_some(w, WORLD_HUB, n, true);
}

static Knockbox__Record *
read_line(const char *quoted, struct arena *lines)
{
    Knockbox__Record *record = NULL;
    json_t *line = NULL;
    char text[4096];
    (void)snprintf(text, sizeof text, "%s", quoted);
    for (char *at = text; *at != '\0'; at++)
        *at = *at == '\'' ? '"' : *at;
    must(json_parse(text, strlen(text), &line, why));
    must(record_from_json(line, lines, &record, why));
    json_decref(line);
    return record;
}

void
world_write_line(struct world *w, const char *line, bool seen)
{
    struct box *b = &w->hub;
    struct arena lines;
    struct store_txn *txn = NULL;
    struct stored stored;
    Knockbox__Record record;
    struct written *written = &w->written[w->n_written++];
    must(arena_init(&lines, ARENA_BIG_RECORD, why));
    Knockbox__Record *said = read_line(line, &lines);
    fill_envelope(b, &record, written->id);
    if (said->has_id)
        memcpy(written->id, said->id.data, sizeof written->id);
    record.body_case = said->body_case;
    record.close = said->close; /* all bodies are pointers in one union */
    must(store_begin(b->store, &txn, why));
    must(store_append(txn, b->site, &record, &stored, why));
    must(store_commit(&txn, why));
    arena_done(&lines);
    written->hidden = !seen;
    written->site = WORLD_HUB;
    hub_machine_wrote(b->hub_machine);
}

void
world_last_id(const struct world *w, uint8_t out_id[16])
{
    memcpy(out_id, w->written[w->n_written - 1].id, 16);
}

struct store *
world_store(struct world *w, int who)
{
    return box_of(w, who)->store;
}

/* ---------------------------------------------------------------- cutting and joining */

void
world_cut(struct world *w, int cafe)
{
    struct box *b = &w->cafes[cafe];
    b->joined = false;
    b->cut_after = 0;
    clear(&b->up);
    clear(&b->down);
    if (b->site_machine != NULL)
        site_machine_offline(b->site_machine);
}

void
world_join(struct world *w, int cafe)
{
    struct box *b = &w->cafes[cafe];
    if (b->joined)
        world_cut(w, cafe);
    b->joined = true;
    b->connection++;
    must(site_machine_online(b->site_machine, why));
}

void
world_cut_after(struct world *w, int cafe, unsigned n)
{
    w->cafes[cafe].cut_after = n;
    if (n == 0)
        world_cut(w, cafe);
}

bool
world_is_cut(const struct world *w, int cafe)
{
    return !w->cafes[cafe].joined;
}

void
world_hold(struct world *w, unsigned n, int64_t ms)
{
    w->hold_in = n;
    w->hold_ms = ms;
}

void
world_repeat(struct world *w, unsigned n, int64_t ms)
{
    w->repeat_in = n;
    w->repeat_ms = ms;
}

void
world_weather(struct world *w, unsigned drop, unsigned twice, unsigned out_of_order)
{
    w->drop = drop;
    w->twice = twice;
    w->out_of_order = out_of_order;
}

/* ---------------------------------------------------------------- time and messages */

static void
deliver(struct world *w, struct box *b, struct queue *q, unsigned at)
{
    struct message m = q->items[at];
    const Knockbox__Wire *message = NULL;
    struct peer peer = peer_of(b);
    q->n--;
    memmove(&q->items[at], &q->items[at + 1], (q->n - at) * sizeof q->items[0]);
    must(wire_unpack(m.bytes, m.len, &w->arena, &message, why));
    b->delivered++;
    if (message->what_case != KNOCKBOX__WIRE__WHAT_BEAT) {
        w->stirred_ms = w->now_ms;
        w->stirring++;
    }
    if (m.connection == b->connection && q == &b->up)
        hub_machine_message(w->hub.hub_machine, &peer, b->site, message);
    else if (m.connection == b->connection)
        must(site_machine_message(b->site_machine, message, why));
    free(m.bytes);
    if (b->cut_after > 0 && --b->cut_after == 0)
        world_cut(w, b->number);
}

static void
tick(struct world *w)
{
    w->now_ms += 1000;
    must(hub_machine_flush(w->hub.hub_machine, why));
    hub_machine_tick(w->hub.hub_machine);
    for (unsigned i = 0; i < w->n; i++)
        must(site_machine_tick(w->cafes[i].site_machine, why));
}

/* A message of a wire by chance; false: there is none. */
static bool
deliver_one(struct world *w)
{
    unsigned start = world_chance(w, w->n * 2);
    for (unsigned i = 0; i < w->n * 2; i++) {
        struct box *b = &w->cafes[(start + i) % (w->n * 2) / 2];
        struct queue *q = (start + i) % 2 == 0 ? &b->up : &b->down;
        unsigned at = first_due(w, q);
        if (at == q->n)
            continue;
        deliver(w, b, q, at);
        return true;
    }
    return false;
}

void
world_step(struct world *w)
{
    bool full = hub_machine_full(w->hub.hub_machine);
    bool waits = hub_machine_waiting(w->hub.hub_machine).records > 0;
    if (full || (waits && world_chance(w, 4) == 0)) {
        must(hub_machine_flush(w->hub.hub_machine, why));
        return;
    }
    if (deliver_one(w))
        return;
    if (waits)
        must(hub_machine_flush(w->hub.hub_machine, why));
    else
        tick(w);
}

void
world_pass(struct world *w, int64_t ms)
{
    int64_t until = w->now_ms + ms;
    while (w->now_ms < until) {
        while (deliver_one(w))
            if (hub_machine_full(w->hub.hub_machine))
                must(hub_machine_flush(w->hub.hub_machine, why));
        if (until - w->now_ms > 3600000 && world_is_cut(w, 0))
            w->now_ms += 3590000; /* nobody is there to tick for */
        tick(w);
    }
}

void
world_shift_clock(struct world *w, int who, int64_t ms)
{
    box_of(w, who)->shift_ms = ms;
}

static bool
is_quiet(const struct world *w)
{
    if (hub_machine_waiting(w->hub.hub_machine).records > 0)
        return false;
    for (unsigned i = 0; i < w->n; i++) {
        const struct box *b = &w->cafes[i];
        if (b->joined && (b->up.n > 0 || b->down.n > 0 || !site_machine_caught_up(b->site_machine)))
            return false;
    }
    return true;
}

/* For whoever looks for the reason. */
static void
say(struct world *w)
{
    for (unsigned i = 0; i < w->n; i++) {
        const struct box *b = &w->cafes[i];
        struct site_link link = site_machine_link(b->site_machine);
        fprintf(stderr, "café %u: %s, %s, behind %llu, wire %u up %u down, %u epochs\n", i,
                b->joined ? "joined" : "cut", link.online ? "online" : "not online",
                (unsigned long long)link.behind, b->up.n, b->down.n, world_epochs(w, (int)i));
    }
    struct hub_waiting waiting = hub_machine_waiting(w->hub.hub_machine);
    fprintf(stderr, "hub: %zu wait; now - stirred %lld ms\n", waiting.records,
            (long long)(w->now_ms - w->stirred_ms));
}

/* Until that many stirring messages, or until it is quiet: *out_quiet. false: it did not end. */
static bool
run(struct world *w, unsigned until, bool *out_quiet)
{
    w->stirred_ms = w->now_ms;
    for (unsigned i = 0; i < SETTLE_STEPS; i++) {
        *out_quiet = w->now_ms - w->stirred_ms > SETTLE_MS && is_quiet(w);
        if (*out_quiet || w->stirring >= until)
            return true;
        world_step(w);
    }
    say(w);
    return false;
}

bool
world_settle(struct world *w)
{
    bool quiet = false;
    return run(w, UINT_MAX, &quiet);
}

bool
world_run(struct world *w, unsigned n)
{
    bool quiet = false;
    cr_assert(run(w, w->stirring + n, &quiet), "it does not end");
    return !quiet;
}

/* ---------------------------------------------------------------- disks */

static void
copy_files(const char *from, const char *to)
{
    char command[512];
    snprintf(command, sizeof command, "rm -rf '%s' && cp -r --sparse=always '%s' '%s'", to, from,
             to);
    cr_assert(system(command) == 0, "%s", command);
}

static void
image_path(const struct world *w, unsigned image, char path[160])
{
    snprintf(path, 160, "%s/image%u", w->dir, image);
}

/* The hub's connections end with it. */
static void
off(struct world *w, int who)
{
    if (who != WORLD_HUB) {
        world_cut(w, who);
        power_off(&w->cafes[who]);
        return;
    }
    for (unsigned i = 0; i < w->n; i++)
        if (w->cafes[i].joined)
            world_cut(w, (int)i);
    power_off(&w->hub);
}

void
world_restart(struct world *w, int who)
{
    off(w, who);
    power_on(box_of(w, who));
}

void
world_save(struct world *w, int who, unsigned image)
{
    char path[160];
    image_path(w, image, path);
    world_restart(w, who); /* a store at rest */
    off(w, who);
    copy_files(box_of(w, who)->dir, path);
    power_on(box_of(w, who));
}

void
world_put_back(struct world *w, int who, unsigned image)
{
    char path[160];
    image_path(w, image, path);
    off(w, who);
    copy_files(path, box_of(w, who)->dir);
    power_on(box_of(w, who));
}

void
world_wipe(struct world *w, int who)
{
    off(w, who);
    remove_files(box_of(w, who)->dir);
    mkdir(box_of(w, who)->dir, 0700);
    power_on(box_of(w, who));
}

int
world_clone(struct world *w, int cafe)
{
    int number = (int)w->n;
    cr_assert(number < WORLD_CAFES);
    struct box *from = &w->cafes[cafe], *b = &w->cafes[number];
    box_init(w, b, number, from->site);
    power_off(from);
    copy_files(from->dir, b->dir);
    power_on(from);
    power_on(b);
    w->n++;
    world_cut(w, cafe);
    return number;
}

int
world_machines(const struct world *w)
{
    return (int)w->n;
}

/* ---------------------------------------------------------------- what is true */

static int
by_id(const void *a, const void *b)
{
    return memcmp(a, b, 16);
}

/* Ids of the records of one site in a store, sorted; with what a café may not see left out. */
static unsigned
ids_at(struct world *w, struct store *store, const char *site, uint8_t (*out)[16])
{
    struct store_view *view = NULL;
    struct store_walk *walk = NULL;
    struct stored stored;
    unsigned n = 0;
    (void)w;
    must(store_look(store, &view, why));
    must(store_walk_open(view, 1, &walk, why));
    while (store_next(walk, &stored, NULL) == ERR_OK)
        if (strcmp(stored.site, site) == 0)
            memcpy(out[n++], stored.id, 16);
    store_walk_close(walk);
    store_done(&view);
    qsort(out, n, 16, by_id);
    return n;
}

struct tally
world_tally(struct world *w, int cafe)
{
    struct tally tally = {0, 0, 0, 0};
    uint8_t(*ids)[16] = calloc(IDS_MOST, 16);
    uint8_t(*mine)[16] = calloc(IDS_MOST, 16);
    unsigned n = ids_at(w, w->hub.store, w->cafes[cafe].site, ids), n_mine = 0;
    for (unsigned i = 0; i < w->n_written; i++)
        if (w->written[i].site == cafe)
            memcpy(mine[n_mine++], w->written[i].id, 16);
    qsort(mine, n_mine, 16, by_id);
    for (unsigned i = 0; i < n_mine; i++)
        tally.lost += bsearch(mine[i], ids, n, 16, by_id) == NULL;
    for (unsigned i = 0; i < n; i++) {
        bool again = i > 0 && memcmp(ids[i], ids[i - 1], 16) == 0;
        tally.twice += again;
        tally.held += !again;
        tally.foreign += bsearch(ids[i], mine, n_mine, 16, by_id) == NULL;
    }
    free(ids);
    free(mine);
    return tally;
}

static unsigned
down_difference(struct world *w, int cafe, bool missing)
{
    uint8_t(*ids)[16] = calloc(IDS_MOST, 16);
    uint8_t(*hub)[16] = calloc(IDS_MOST, 16);
    unsigned n = ids_at(w, w->cafes[cafe].store, "kitchen", ids);
    unsigned n_hub = ids_at(w, w->hub.store, "kitchen", hub), count = 0;
    for (unsigned i = 0; i < w->n_written; i++) {
        const struct written *r = &w->written[i];
        if (r->site != WORLD_HUB)
            continue;
        bool here = bsearch(r->id, ids, n, 16, by_id) != NULL;
        bool there = bsearch(r->id, hub, n_hub, 16, by_id) != NULL;
        count += missing ? there && !r->hidden && !here : r->hidden && here;
    }
    free(ids);
    free(hub);
    return count;
}

unsigned
world_down_missing(struct world *w, int cafe)
{
    return down_difference(w, cafe, true);
}

unsigned
world_down_extra(struct world *w, int cafe)
{
    return down_difference(w, cafe, false);
}

unsigned
world_own_missing(struct world *w, int cafe)
{
    uint8_t(*ids)[16] = calloc(IDS_MOST, 16);
    unsigned n = ids_at(w, w->cafes[cafe].store, w->cafes[cafe].site, ids), missing = 0;
    for (unsigned i = 0; i < w->n_written; i++)
        missing +=
            w->written[i].site == cafe && bsearch(w->written[i].id, ids, n, 16, by_id) == NULL;
    free(ids);
    return missing;
}

bool
world_chains_fit(struct world *w)
{
    uint64_t checked = 0;
    bool fit = store_verify(w->hub.store, &checked, NULL) == ERR_OK;
    for (unsigned i = 0; i < w->n; i++)
        fit = fit && store_verify(w->cafes[i].store, &checked, NULL) == ERR_OK;
    return fit;
}

static struct hub_site
hub_view(struct world *w, int cafe)
{
    struct hub_site sites[64], none = {.last_seen_ms = -1};
    size_t n = hub_machine_sites(w->hub.hub_machine, sites, 64);
    for (size_t i = 0; i < n; i++)
        if (strcmp(sites[i].site, w->cafes[cafe].site) == 0)
            return sites[i];
    return none;
}

bool
world_forked(struct world *w, int cafe)
{
    return hub_view(w, cafe).forked;
}

uint64_t
world_behind(struct world *w, int cafe)
{
    return hub_view(w, cafe).behind;
}

int64_t
world_offset(struct world *w, int cafe)
{
    return hub_view(w, cafe).clock_offset_ms;
}

bool
world_online(struct world *w, int cafe)
{
    return hub_view(w, cafe).online;
}

bool
world_other_hub(struct world *w, int cafe)
{
    return site_machine_link(w->cafes[cafe].site_machine).other_hub;
}

unsigned
world_epochs(struct world *w, int cafe)
{
    struct store_view *view = NULL;
    struct log_mark marks[64];
    size_t n = 0;
    must(store_look(w->cafes[cafe].store, &view, why));
    must(store_marks(view, w->cafes[cafe].site, marks, 64, &n, why));
    store_done(&view);
    return (unsigned)n;
}

unsigned
world_delivered(const struct world *w, int cafe)
{
    return w->cafes[cafe].delivered;
}

void
world_back_up(struct world *w)
{
    struct store_view *view = NULL;
    struct backed backed = {.made_ms = w->now_ms};
    memcpy(backed.generation, store_generation(w->hub.store), MARK_SIZE);
    must(store_look(w->hub.store, &view, why));
    must(store_marks(view, NULL, NULL, 0, &backed.n, why));
    backed.marks = calloc(backed.n + 1, sizeof *backed.marks);
    must(store_marks(view, NULL, backed.marks, backed.n, &backed.n, why));
    store_done(&view);
    hub_machine_backed(w->hub.hub_machine, &backed);
}

uint64_t
world_in_backup(struct world *w, int cafe)
{
    return site_machine_link(w->cafes[cafe].site_machine).in_backup;
}
