/* world_int.h - what the files of the world share: boxes, their wires, who wrote what. */
#ifndef TESTS_WORLD_WORLD_INT_H
#define TESTS_WORLD_WORLD_INT_H

#include <criterion/criterion.h>
#include <string.h>

#include "daemon/record/record.h"
#include "daemon/sync/hub_machine.h"
#include "daemon/sync/site_machine.h"
#include "tests/world/world.h"

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
/* ---- machines */
struct box *box_of(struct world *w, int who);
int64_t box_now(void *owner); /* its wall clock; `owner` is a struct box */
uint64_t next_random(struct world *w);

/* ---- the wire */
bool wire_up(void *owner, const struct peer *peer, const Knockbox__Wire *message);
bool wire_down(void *owner, const struct peer *peer, const Knockbox__Wire *message);
void wire_clear(struct queue *q);

#endif
