/* alerts.h - what people should hear of without asking: one line a cause.
 *
 * A look gives every cause that is there now, each with a key; the outbox knows which were told.
 */
#ifndef DAEMON_EXCHANGE_ALERTS_H
#define DAEMON_EXCHANGE_ALERTS_H

#include <stdbool.h>
#include <stdint.h>
#include "daemon/base/config.h"
#include "daemon/exchange/outbox.h"
#include "daemon/ledger/ledger.h"
#include "daemon/store/store.h"
#include "proto/err.h"

enum {
    ALERT_LINE = 240
};

/* What sync knows of a café. */
struct alert_site {
    char site[SITE_SIZE];
    bool enrolled, online;
    int64_t last_seen_ms; /* < 0: never */
    int64_t clock_offset_ms;
    bool disk_low;     /* as the café said last, */
    uint64_t disk_mib; /* with so much room left */
};

struct alert {
    char cause[OUTBOX_CAUSE + 1];
    char line[ALERT_LINE]; /* "": the cause is over, and is news when it comes again */
    bool unknown;          /* nobody can tell now: who was told of it stays told */
};

/* Begin with {0}, end with alerts_done(). */
struct alerts {
    struct alert *list;
    size_t n, room;
};
void alerts_done(struct alerts *alerts);

struct alert_look {
    const struct config *config; /* the section `alerts` */
    struct ledger *ledger;
    struct store *store;
    const char *site; /* the hub's */
    const struct alert_site *sites;
    size_t n_sites;
    int64_t now_ms;
    int32_t today;        /* at the hub's site */
    bool heard_long;      /* the hub has run long enough to say that a café is silent */
    bool synchronised;    /* does the machine trust its own clock? */
    uint64_t disk_free;   /* bytes */
    uint64_t readings_at; /* arrival number after which readings are new; moved on by the look */
};

/* All causes of now, and those that records say are over: a place that was outside its limits is told
 * once, until it was read inside them again. At most some thousand records are looked at for readings; the rest waits for
 * the next look. */
enum err alerts_look(struct alert_look *look, struct alerts *out_alerts, struct err_text *why);

/* Keeps those that were not told yet, and notes all as seen; inside outbox_begin(). `every_ms`: how
 * often is looked. */
enum err alerts_new(struct alerts *alerts, struct outbox *outbox, int64_t now_ms, int64_t every_ms,
                    struct err_text *why);

#endif
