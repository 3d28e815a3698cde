/* hub_int.h - what the files of the hub's machine share. */
#ifndef DAEMON_SYNC_HUB_INT_H
#define DAEMON_SYNC_HUB_INT_H

#include "daemon/sync/hub_machine.h"
#include "daemon/sync/hub_quiet.h"

/* A site, as long as the hub runs. */
struct hub_row {
    char site[SITE_SIZE];
    int64_t last_seen_ms, noted_seen_ms;
    uint64_t behind;
    int64_t offset_ms;
    uint32_t newest;     /* highest epoch that is held with records, as far as seen; 0: none */
    bool forked, online; /* online: as hub_machine_sites() found it last */
    bool disk_low;
    uint64_t disk_mib;
    unsigned n_conns;
};

/* One connection. */
struct hub_conn {
    struct peer peer;
    struct hub_row *row;
    uint64_t heard_ms, born_ms; /* monotonic */
    bool welcomed;              /* said a Hello that was fine */
    bool asked_hello;           /* told to say it first */
    bool refused;               /* told no: silent until the next Hello */
    uint32_t newest;            /* highest epoch of its Hello, or that people were told of */
    unsigned queued;            /* its batches in `waiting` */
    uint64_t small_ms;          /* token bucket of small messages */
    unsigned small_left;
    /* The downlink: up to `seen` it has all; a message is on its way when it is flying. */
    struct log_mark seen;
    bool has_seen, flying;
    bool owed; /* there was no memory for what it should get: each tick tries again */
    uint64_t flown_ms;
};

/* A batch that waits for its commit; owns its bytes. */
struct hub_batch {
    struct peer peer;
    struct hub_row *row;
    struct log_mark log; /* epoch and mark */
    uint64_t first;
    uint8_t prev[HASH_SIZE];
    struct stored *records;
    size_t n;
    size_t bytes;
    enum accept_result result;
    struct log_mark held;
    bool failed;
};

/* rows[0..n_rows) are in order of site, conns[0..n_conns) in order of peer; waiting[0..n_waiting) in order of arrival. */
struct hub_machine {
    struct hub_machine_options options;
    struct hub_row **rows;
    size_t n_rows, row_room;
    struct hub_conn **conns;
    size_t n_conns, conn_room;
    struct hub_batch *waiting;
    size_t n_waiting, waiting_room;
    struct hub_waiting sums;
    struct arena arena; /* one record */
    struct hub_counts counts;
    struct backed backed;
    struct quiet quiet;
};

static inline uint64_t
hub_mono(const struct hub_machine *m)
{
    return m->options.clock.mono_ms(m->options.clock.owner);
}

static inline int64_t
hub_now(const struct hub_machine *m)
{
    return m->options.clock.now_ms(m->options.clock.owner);
}

/* hub_conn.c */
struct hub_conn *hub_conn_find(const struct hub_machine *m, const struct peer *peer);
/* Found or made; NULL: out of memory or too many. */
struct hub_conn *hub_conn_get(struct hub_machine *m, const struct peer *peer, const char *site);
void hub_conn_drop(struct hub_machine *m, struct hub_conn *conn);
struct hub_row *hub_row_get(struct hub_machine *m, const char *site);
void hub_send(struct hub_machine *m, const struct hub_conn *conn, const Knockbox__Wire *message);
void hub_refuse(struct hub_machine *m, struct hub_conn *conn, enum err code, const char *text);

/* hub_hello.c */
void hub_hello(struct hub_machine *m, struct hub_conn *conn, const Knockbox__Hello *hello);
void hub_fetch(struct hub_machine *m, struct hub_conn *conn, const Knockbox__Fetch *fetch);
/* The machine behind `conn` goes on in an epoch although the site has a later one that it did not
 * know: there are two of them, or an older image is back. Tells people, until they settle it. */
void hub_note_second(struct hub_machine *m, struct hub_conn *conn, uint32_t epoch);

/* hub_batch.c */
void hub_take_batch(struct hub_machine *m, struct hub_conn *conn, const Knockbox__Batch *batch);

/* hub_down.c */
void hub_down_start(struct hub_machine *m, struct hub_conn *conn, const Knockbox__Mark *from,
                    struct log_mark *out_from, bool *out_has_from);
void hub_down_send(struct hub_machine *m, struct hub_conn *conn);
void hub_down_ack(struct hub_machine *m, struct hub_conn *conn, const Knockbox__DownAck *ack);

#endif
