/* hub_net.h - the hub's network door: one ROUTER socket over CURVE, sites and people alike.
 *
 * A thin shell: says who a message is from (the key that ZAP let in), hands it to the machine of
 * sync, to enrolment or to the service, and gathers commits. No decision about records is here.
 */
#ifndef DAEMON_SYNC_HUB_NET_H
#define DAEMON_SYNC_HUB_NET_H

#include "daemon/base/clock.h"
#include "daemon/base/loop.h"
#include "daemon/sync/door.h"
#include "daemon/sync/hub_machine.h"
#include "daemon/sync/keyring.h"

struct hub_net;

struct hub_net_options {
    const char *dir;    /* lent: keys, codes, endpoint */
    const char *listen; /* tcp://HOST:PORT, port 0: the system chooses */
    const char *zone;   /* told to new machines */
    unsigned group;
    unsigned share_pct;          /* of its time for one person at most, 1 .. 100 */
    const struct key_pair *pair; /* read */
    struct store *store;         /* lent */
    struct loop *loop;           /* lent */
    struct clock clock;
    struct door_handler people; /* requests of enrolled people */
    /* A commit failed in a way that ends the daemon. */
    void (*failed)(void *owner, enum err e, const struct err_text *why);
    void *owner;
};

/* Handler of keys first, then keys, then bind, then DIR/endpoint.
 * ERR_BUSY: somebody has the port. ERR_INPUT: no such address here. */
enum err hub_net_open(const struct hub_net_options *options, struct hub_net **out_net,
                      struct err_text *why);
void hub_net_close(struct hub_net *net); /* NULL is fine */

/* The own log grew. */
void hub_net_wrote(struct hub_net *net);
/* Each second. ERR_IO: the handler of keys has ended, so nobody may be served. */
enum err hub_net_tick(struct hub_net *net, struct err_text *why);
bool hub_net_busy(struct hub_net *net);
void hub_net_reload(struct hub_net *net);

/* Every site that was heard of or has a machine. */
struct hub_net_site {
    struct hub_site state;
    bool enrolled;
};
/* The last backup that is declared; lent, made_ms 0: none. */
const struct backed *hub_net_backup(const struct hub_net *net);
/* Sites that were heard or may speak, in order, at most `most` of them; returns how many there are
 * (0 also when there is no memory). */
size_t hub_net_sites(struct hub_net *net, struct hub_net_site *out, size_t most);

#endif
