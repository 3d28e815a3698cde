/* hub_machine.h - the hub's side of sync: what each site holds, what it is given.
 *
 * Pure but for its store: messages go in, messages come out through `struct wire`. Batches are
 * gathered; hub_machine_flush() stores them in one commit and only then acknowledges. Identity is
 * the site that the caller names (from the peer's key), never what a message says.
 */
#ifndef DAEMON_SYNC_HUB_MACHINE_H
#define DAEMON_SYNC_HUB_MACHINE_H

#include "daemon/base/clock.h"
#include "daemon/sync/backed.h"
#include "daemon/sync/wire.h"

enum {
    HUB_SITES = 16384,         /* different sites at most */
    HUB_PEERS_SITE = 4,        /* connections of one site at once; the oldest goes first */
    HUB_QUEUE_PEER = 16,       /* batches of one connection that wait for a commit */
    HUB_GROUP_BYTES = 4 << 20, /* bytes that wait for a commit */
    HUB_GONE_MS = 45000,       /* silence after which a site is not online */
    HUB_SMALL_BURST = 200,     /* messages other than batches at once from one connection, */
    HUB_SMALL_RATE = 50,       /* and then a second */
};

struct hub_machine;

struct hub_machine_options {
    struct store *store; /* lent */
    struct clock clock;
    struct wire wire;
    unsigned group; /* records in one commit at most */
};

/* What a site is doing. */
struct hub_site {
    char site[SITE_SIZE];
    bool online;
    int64_t last_seen_ms; /* < 0: never */
    uint64_t behind;
    int64_t clock_offset_ms;
    bool forked;
    bool disk_low;     /* as the site said last, */
    uint64_t disk_mib; /* with so much room left */
};

struct hub_counts {
    uint64_t stored, repeated, gaps, forks;  /* batches */
    uint64_t malformed, foreign, over_limit; /* messages dropped */
    uint64_t commits, records;
};

enum err hub_machine_new(const struct hub_machine_options *options,
                         struct hub_machine **out_machine, struct err_text *why);
void hub_machine_free(struct hub_machine *machine); /* NULL is fine */

/* One message of a peer whose key belongs to `site`. Never fails: nonsense is counted. */
void hub_machine_message(struct hub_machine *machine, const struct peer *peer, const char *site,
                         const Knockbox__Wire *message);

/* What waits for a commit: records, and from how many sites. */
struct hub_waiting {
    size_t records, bytes, sites;
};
struct hub_waiting hub_machine_waiting(const struct hub_machine *machine);
bool hub_machine_full(const struct hub_machine *machine); /* flush before the next message */

/* Stores what waits and acknowledges. On error nothing is acknowledged and nothing waits any
 * more: sites send again. */
enum err hub_machine_flush(struct hub_machine *machine, struct err_text *why);

/* A key of the site is let in no longer: its connections get nothing more. Whoever is let in says
 * Hello again. */
void hub_machine_forget(struct hub_machine *machine, const char *site);

/* The hub's own log grew: sites get what they may see. */
void hub_machine_wrote(struct hub_machine *machine);

/* Each second: who is gone, what was not answered. */
void hub_machine_tick(struct hub_machine *machine);

/* All sites heard of, in order of their codes, at most `most`; returns how many there are. */
size_t hub_machine_sites(const struct hub_machine *machine, struct hub_site *out, size_t most);
struct hub_counts hub_machine_counts(const struct hub_machine *machine);

/* A person has looked at the fork of this site: the flag goes. */
enum err hub_machine_settle(struct hub_machine *machine, const char *site, struct err_text *why);

/* A backup was made: sites are told how far each of their epochs stands in it, with the next
 * acknowledgement and after each Hello. *backed is taken (left empty); one of another generation than
 * the store's is dropped, for what it says is of another store. */
void hub_machine_backed(struct hub_machine *machine, struct backed *backed);
const struct backed *hub_machine_backup(const struct hub_machine *machine); /* lent */

/* How long to wait for more before a commit, in us: a tenth of the last commit, 1 ms at most, and
 * nothing when one site alone has messages in flight (limits: "gathering"). */
uint64_t hub_gather_us(uint64_t last_commit_us, size_t sites);

#endif
