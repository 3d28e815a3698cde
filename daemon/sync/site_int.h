/* site_int.h - what the files of the site's machine share. */
#ifndef DAEMON_SYNC_SITE_INT_H
#define DAEMON_SYNC_SITE_INT_H

#include "daemon/sync/branch.h"
#include "daemon/sync/site_machine.h"

enum site_state_kind {
    SITE_OFF,     /* no connection */
    SITE_HELLO,   /* Hello said, no Welcome yet */
    SITE_RECOVER, /* compares with or takes back what the hub has of us */
    SITE_RUN,
    SITE_REFUSED, /* the hub said no: silent on this connection */
};

/* One own epoch on its way up: acked <= sent <= standing. */
struct site_log {
    struct log_mark now;
    uint64_t standing; /* records that count here: those before a branch */
    uint64_t acked;
    uint64_t sent;
    uint64_t backed; /* declared in a backup, by the hub of this connection */
    uint8_t sent_hash[HASH_SIZE];
    uint64_t rewound_seq, rewound_ms; /* where a gap last sent us back, and when */
    bool rewound;
};

struct site_flight { /* a batch without its ack */
    size_t log;
    uint64_t last;
};

struct site_task {       /* an epoch to compare with the hub's, or to take back */
    struct log_mark hub; /* how far the hub has it */
    uint64_t next;
    bool restarted;
};

enum {
    DOWN_FORKS = 32 /* one an epoch of the hub's log; the oldest goes */
};

struct site_machine {
    struct site_machine_options options;
    enum site_state_kind state;
    uint32_t version;      /* of the protocol, on this connection */
    struct site_log *logs; /* n_logs, in order of epoch */
    size_t n_logs;
    struct site_flight flights[SITE_WINDOW_MOST]; /* oldest first */
    size_t n_flights;
    uint64_t flown_ms;       /* monotonic, of the oldest flight or its last progress */
    struct site_task *tasks; /* n_tasks, room for WIRE_MARKS; tasks[task] is at work */
    size_t n_tasks, task;
    bool extended; /* the epoch that we write to was behind: a new one is due */
    struct branch *branches;
    size_t n_branches;
    uint8_t generation[MARK_SIZE];
    bool has_generation;
    int64_t other_hub_ms; /* wall clock when the hub was last another one, 0: never */
    struct log_mark down; /* how far the hub's log is held */
    bool has_down;
    struct log_mark down_forks[DOWN_FORKS]; /* from here on an epoch of the hub is held otherwise */
    size_t n_down_forks;
    bool forks_due;  /* to be noted */
    bool tell_forks; /* the hub may not have heard of them on this connection */
    uint64_t said_ms, heard_ms, asked_ms; /* monotonic: last word out, in, last Hello or Beat */
    int64_t asked_now_ms;                 /* wall clock that the last Hello or Beat carried */
    uint64_t noted_ms;
    bool note_due;
    struct site_link link;
    struct arena arena;
};

static inline uint64_t
site_mono(const struct site_machine *m)
{
    return m->options.clock.mono_ms(m->options.clock.owner);
}

static inline int64_t
site_now(const struct site_machine *m)
{
    return m->options.clock.now_ms(m->options.clock.owner);
}

static inline const char *
site_own(const struct site_machine *m)
{
    return store_site(m->options.store);
}

/* site_machine.c */
bool site_send(struct site_machine *m, const Knockbox__Wire *message);
enum err site_hello(struct site_machine *m, struct err_text *why);
struct site_log *site_log_find(struct site_machine *m, const struct log_mark *log);

/* site_up.c */
enum err site_load_logs(struct site_machine *m, struct store_view *view, struct err_text *why);
enum err site_pump(struct site_machine *m, struct err_text *why);
enum err site_take_ack(struct site_machine *m, const Knockbox__Ack *ack, struct err_text *why);
enum err site_note_acked(struct site_machine *m, struct err_text *why);
/* What was noted as held by the hub of this log, 0: nothing. */
uint64_t site_noted_acked(struct store_view *view, const struct log_mark *log);
/* From here on the hub has `seq` of the log; `hash` is ours at seq. */
void site_set_acked(struct site_log *log, uint64_t seq, const uint8_t hash[HASH_SIZE]);
uint64_t site_behind(const struct site_machine *m);

/* site_recover.c */
enum err site_load_hub(struct site_machine *m, struct store_view *view, struct err_text *why);
enum err site_take_welcome(struct site_machine *m, const Knockbox__Welcome *welcome,
                           struct err_text *why);
enum err site_take_fetched(struct site_machine *m, const Knockbox__Fetched *fetched,
                           struct err_text *why);

/* site_down.c */
enum err site_load_down(struct site_machine *m, struct store_view *view, struct err_text *why);
/* A new connection: the hub may not have heard of a fork of its own log. */
void site_tell_down_forks(struct site_machine *m);
enum err site_take_down(struct site_machine *m, const Knockbox__Down *down, struct err_text *why);

#endif
