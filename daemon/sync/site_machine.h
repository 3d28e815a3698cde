/* site_machine.h - a site's side of sync: its own log up, what it may see of the hub's log down.
 *
 * Pure but for its store: messages and ticks go in, messages come out through `struct wire` (its
 * `peer` is NULL: a site has one hub). A send means nothing; only an acknowledgement that names
 * number and hash counts, and whatever is in doubt is sent again.
 */
#ifndef DAEMON_SYNC_SITE_MACHINE_H
#define DAEMON_SYNC_SITE_MACHINE_H

#include "daemon/base/clock.h"
#include "daemon/sync/wire.h"

enum {
    SITE_WINDOW_MOST = 16,
    SITE_BEAT_MS = 4000,              /* see beat_ms */
    SITE_ANSWER_MS = 10000,           /* a batch or a Hello without an answer: Hello again */
    SITE_NOTE_MS = 1000,              /* the mark of what the hub has is noted at most that often */
    SITE_OTHER_HUB_MS = 7 * 86400000, /* so long people see that the hub was another one */
};

struct site_machine;

struct site_machine_options {
    struct store *store; /* lent */
    struct clock clock;
    struct wire wire;
    const char *hub_site; /* lent */
    unsigned window;      /* batches on their way at most, 1 to SITE_WINDOW_MOST */
    uint64_t beat_ms;     /* a word at least that often; 0: SITE_BEAT_MS */
    uint64_t low_mib;     /* free room on the disk under which the hub is told of it; 0: never */
};

/* How the link is, for people. */
struct site_link {
    bool online;             /* the hub has welcomed us on this connection */
    int64_t last_seen_ms;    /* the hub's last word; < 0: never in this run */
    uint64_t behind;         /* own records that the hub has not acknowledged */
    int64_t clock_offset_ms; /* site minus hub */
    uint64_t in_backup;      /* own records that the hub has declared to stand in a backup */
    bool forked;             /* an own epoch went two ways */
    bool other_hub;          /* the hub's store is another one than before, or an older copy */
    char refused[256];       /* why the hub says no; "" when it does not */
};

enum err site_machine_new(const struct site_machine_options *options,
                          struct site_machine **out_machine, struct err_text *why);
void site_machine_free(struct site_machine *machine); /* NULL is fine */

/* The connection is there (again): says Hello. */
enum err site_machine_online(struct site_machine *machine, struct err_text *why);
void site_machine_offline(struct site_machine *machine);

/* ERR_IO, ERR_FULL, ...: the store said no; nothing of the message was acknowledged. */
enum err site_machine_message(struct site_machine *machine, const Knockbox__Wire *message,
                              struct err_text *why);

/* The own log grew: sends at once what the window allows. */
enum err site_machine_wrote(struct site_machine *machine, struct err_text *why);
/* Each second. */
enum err site_machine_tick(struct site_machine *machine, struct err_text *why);

struct site_link site_machine_link(const struct site_machine *machine);
/* Monotonic ms of the hub's last valid answer, 0: none. */
uint64_t site_machine_heard_ms(const struct site_machine *machine);
bool site_machine_caught_up(const struct site_machine *machine); /* all acknowledged */

#endif
