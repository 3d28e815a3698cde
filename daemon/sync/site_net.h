/* site_net.h - a site's connection to its hub: one DEALER socket over CURVE, remade when silent.
 *
 * A thin shell around the site's machine: watches the socket's monitor, says Hello on each new
 * connection, and makes the socket anew after a silence, for some refusals end a socket for good
 * (limits, Z1). A hub that is not there costs a site nothing but the wait.
 */
#ifndef DAEMON_SYNC_SITE_NET_H
#define DAEMON_SYNC_SITE_NET_H

#include "daemon/base/clock.h"
#include "daemon/base/loop.h"
#include "daemon/sync/keys.h"
#include "daemon/sync/site_machine.h"

struct site_net;

struct site_net_options {
    const char *connect;  /* tcp://HOST:PORT */
    const char *hub_site; /* lent */
    uint8_t hub_key[KEY_SIZE];
    struct key_pair pair; /* wiped in the copy when the net closes */
    unsigned window;
    int64_t retry_ms;    /* silence after which the socket is made anew */
    uint64_t low_mib;    /* as in site_machine.h */
    struct store *store; /* lent */
    struct loop *loop;   /* lent */
    struct clock clock;
    /* The store failed in a way that ends the daemon. */
    void (*failed)(void *owner, enum err e, const struct err_text *why);
    /* The hub lets the key of site_net_renew() in: make it the one that is used from now on,
     * durably. After an error the old one stays, and the hub is asked again. */
    enum err (*renewed)(void *owner, struct err_text *why);
    void *owner;
};

enum err site_net_open(const struct site_net_options *options, struct site_net **out_net,
                       struct err_text *why);
void site_net_close(struct site_net *net); /* NULL is fine */

void site_net_wrote(struct site_net *net);
enum err site_net_tick(struct site_net *net, struct err_text *why);
bool site_net_busy(struct site_net *net);
struct site_link site_net_link(const struct site_net *net);

/* Asks the hub, as soon as it is there and as often as needed, to let this pair in; then the
 * connection is made anew with it. `fresh` is read. */
void site_net_renew(struct site_net *net, const struct key_pair *fresh);
bool site_net_renewing(const struct site_net *net);

/* How long to stay with a silent socket: `retry_ms` and up to half of it more, by chance, so that
 * not all cafés come at once. */
uint64_t site_net_patience_ms(int64_t retry_ms, uint32_t chance);
/* The same for a socket that was answered by a hub that is quick: three words without an answer mean
 * that the line is dead. Otherwise it may be the hub that is busy, and coming again makes that worse:
 * when the first answer on a connection takes SITE_PROMPT_MS, it counts as slow for SITE_SLOW_MS. */
enum {
    SITE_SILENCE_MS = 12000,
    SITE_PROMPT_MS = 3000,
    SITE_SLOW_MS = 300000
};
uint64_t site_net_silence_ms(int64_t retry_ms, bool quick, uint64_t patience_ms);

#endif
