/* serve.h - a request from a person, answered: the table of words behind the local socket and the
 * hub's network door alike.
 *
 * The transport (daemon/sync) says who is calling and carries frames; here is what each word does.
 * Words and roles are one table (words.c). Nothing here blocks on the network.
 */
#ifndef DAEMON_SERVE_SERVE_H
#define DAEMON_SERVE_SERVE_H

#include <stdbool.h>
#include <stdint.h>
#include "daemon/base/clock.h"
#include "daemon/exchange/delivery.h"
#include "daemon/ledger/ledger.h"
#include "daemon/store/store.h"
#include "proto/err.h"
#include "proto/sync.pb-c.h"

struct serve;

/* Who is asking. */
struct caller {
    unsigned roles; /* enum role bits */
    char via[64];   /* "uid 1000 (mara)" or "key 3f9a..." for the record's envelope */
};

/* What a site is doing on the wire, for `status`; filled by sync, asked by serve. */
struct site_state {
    char site[SITE_SIZE];
    bool online;
    int64_t last_seen_ms;    /* < 0: never */
    uint64_t behind;         /* records the site has and the hub has not, as last told */
    int64_t clock_offset_ms; /* site minus hub */
    bool forked;             /* an epoch went two ways and people have not settled it */
    bool other_hub;          /* at a café: the hub was lately another one, or an older copy */
    bool enrolled;           /* has a machine of its own */
    uint64_t in_backup;      /* its records that stand in the hub's last backup, as far as told */
    bool disk_low;           /* at the hub: the site calls its disk low, */
    uint64_t disk_mib;       /* with so much room left */
};

struct serve_options {
    struct store *store;   /* lent */
    struct ledger *ledger; /* lent */
    struct clock clock;
    bool is_hub;
    const char *site;     /* own site code, lent */
    const char *hub_site; /* lent */
    const char *zone;     /* of this site until the catalogue says otherwise; lent, may be "" */
    /* Fills at most `most` states, returns how many there are; at a café the one of its hub link. */
    size_t (*sites)(void *owner, struct site_state *out, size_t most);
    /* When the last backup of this hub was made, 0: none, and how many records of its own site stand
     * in it. NULL at a café. */
    int64_t (*backup)(void *owner, uint64_t *out_own);
    uint64_t low_mib; /* free room on the own disk under which `status` calls it low; 0: never */
    /* Told after each commit that appended to own logs, so that sync sends at once. */
    void (*wrote)(void *owner);
    void *owner;
};

enum err serve_new(const struct serve_options *options, struct serve **out_serve,
                   struct err_text *why);
void serve_free(struct serve *serve);
/* The hub's outbox, lent, from now on; without one nothing can be sent. */
void serve_delivery(struct serve *serve, struct delivery *delivery);

/* Sends one reply frame; ERR_PEER: the caller is gone, stop. */
typedef enum err serve_send(void *owner, const Knockbox__Reply *reply);

/* Answers one request with one or more replies (the last has no `more`). A request with `more`
 * is gathered with those that follow under the same caller and number (`session` names the
 * connection; serve_hangup() forgets it). Never fails as such: failures are replies. */
void serve_request(struct serve *serve, uint64_t session, const struct caller *caller,
                   const Knockbox__Request *request, serve_send *send, void *send_owner);
void serve_hangup(struct serve *serve, uint64_t session);

#endif
