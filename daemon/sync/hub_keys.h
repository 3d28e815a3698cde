/* hub_keys.h - who the hub lets in, from its own log and its spool.
 *
 * The truth is the hub's log: `enrol` lets a key in, `revoke` bans it for good. Bans stand also in a
 * file of their own (spool.h), so that an old copy of the store brings no revoked key back.
 */
#ifndef DAEMON_SYNC_HUB_KEYS_H
#define DAEMON_SYNC_HUB_KEYS_H

#include "daemon/base/clock.h"
#include "daemon/store/store.h"
#include "daemon/sync/keyring.h"

struct hub_keys;

struct hub_keys_options {
    const char *dir;      /* lent */
    struct store *store;  /* lent */
    struct keyring *ring; /* lent */
    struct clock clock;
    /* A person has settled the fork of a site (a `settle` record of "fork/..."). */
    void (*settled)(void *owner, const char *site);
    /* Nobody comes in by this key any more: what stands open by it must go. */
    void (*banned)(void *owner, const struct key_entry *entry);
    /* The hub's own log grew by what was written here. */
    void (*wrote)(void *owner);
    void *owner;
};

/* Reads bans, the own log and the codes into the ring. */
enum err hub_keys_open(const struct hub_keys_options *options, struct hub_keys **out_keys,
                       struct err_text *why);
void hub_keys_close(struct hub_keys *keys); /* NULL is fine */

/* Readable when the spool has changed: call hub_keys_refresh(). */
int hub_keys_fd(const struct hub_keys *keys);
enum err hub_keys_refresh(struct hub_keys *keys, struct err_text *why);

/* The own log grew: takes in its new enrol, revoke and settle records. */
enum err hub_keys_follow(struct hub_keys *keys, struct err_text *why);

/* What a new machine is told. */
struct joined {
    char site[65], role[16];
    uint32_t first_epoch;
};

/* The bearer of a code wants `fresh` let in. One use: the code is gone, then the key is recorded;
 * older machines of the same site are revoked with it. A key that is in already gets the same
 * answer again. ERR_DENIED: the code is used, or the key is banned or somebody else's. */
enum err hub_keys_join(struct hub_keys *keys, const struct key_entry *bearer,
                       const uint8_t fresh[KEY_SIZE], struct joined *out_joined,
                       struct err_text *why);

/* The bearer of the key `old` wants `fresh` let in as well, in its place and role. Both are in
 * until hub_keys_spoke() of the fresh one. Repeating is harmless. ERR_DENIED: a code, or `fresh` is
 * banned or somebody's. ERR_BUSY: asked again within RENEW_REST_MS. */
enum {
    RENEW_REST_MS = 60000
};
enum err hub_keys_renew(struct hub_keys *keys, const struct key_entry *old,
                        const uint8_t fresh[KEY_SIZE], struct err_text *why);
/* A message came by a key whose entry is `fresh`: the one before it is revoked. */
enum err hub_keys_spoke(struct hub_keys *keys, const struct key_entry *entry, struct err_text *why);

#endif
