/* world_wire.c - messages on their way: by the weather, cut, held, delivered; and time that passes. */
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>

#include "tests/world/world_int.h"

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

void
wire_clear(struct queue *q)
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

bool
wire_up(void *owner, const struct peer *peer, const Knockbox__Wire *message)
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

bool
wire_down(void *owner, const struct peer *peer, const Knockbox__Wire *message)
{
    struct world *w = ((struct box *)owner)->world;
    struct box *b = &w->cafes[peer->id[0]];
    struct peer now = peer_of(b);
    if (!b->joined || memcmp(&now, peer, sizeof now) != 0)
        return false; /* EHOSTUNREACH */
    into(w, &b->down, message, b->connection);
    return true;
}

void
world_cut(struct world *w, int cafe)
{
    struct box *b = &w->cafes[cafe];
    b->joined = false;
    b->cut_after = 0;
    wire_clear(&b->up);
    wire_clear(&b->down);
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
