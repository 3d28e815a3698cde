/* spool.h - what the operator's commands and a running hub tell each other: files in the hub's
 * folder, each whole or not at all.
 *
 *   codes/HEX   a one-time code that waits; the name is the public half of its key
 *   revoked     keys that are never let in again, one a line
 *   keys        the keys that are let in, for people and `revoke`; written by the hub
 *   endpoint    where the hub listens now; written by the hub
 *
 * The hub watches the folder, so a command takes effect at once; without a running hub it takes
 * effect at its start.
 */
#ifndef DAEMON_SYNC_SPOOL_H
#define DAEMON_SYNC_SPOOL_H

#include "daemon/base/clock.h"
#include "daemon/sync/keyring.h"

#define SPOOL_CODES "codes"
#define SPOOL_REVOKED "revoked"
#define SPOOL_KEYS "keys"
#define SPOOL_ENDPOINT "endpoint"

enum {
    SPOOL_CODES_MOST = 64,
    SPOOL_REVOKED_MOST = 10000
};

/* Makes codes/ when it is not there. */
enum err spool_make(const char *dir, struct err_text *why);

/* A code for the entry (what it will become: site, person, role): makes its secret and leaves its
 * public half in the spool until entry->expires_ms. ERR_BUSY: SPOOL_CODES_MOST wait already. */
enum err spool_issue(const char *dir, const struct key_entry *entry, struct join_code *code,
                     const struct clock *clock, struct err_text *why);

/* Puts every code that waits into the ring, takes out those that no longer do, and removes files
 * past their time. */
enum err spool_read_codes(const char *dir, struct keyring *ring, const struct clock *clock,
                          struct err_text *why);
/* The code is used: its file goes, durably. */
enum err spool_use_code(const char *dir, const uint8_t key[KEY_SIZE], struct err_text *why);

/* Bans for good; repeating is harmless. */
enum err spool_revoke(const char *dir, const uint8_t key[KEY_SIZE], struct err_text *why);
/* Visits every banned key. */
typedef enum err spool_visit(void *owner, const uint8_t key[KEY_SIZE], struct err_text *why);
enum err spool_read_revoked(const char *dir, spool_visit *visit, void *owner, struct err_text *why);

/* The list of keys: `HEX ROLE SITE PERSON` a line; PERSON "-" for machines. */
enum err spool_write_keys(const char *dir, struct keyring *ring, struct err_text *why);
/* The entries of that list for which `name` is the key, its first 8 digits or more, the site (its
 * machines) or the person. At most `most`; *out_n is how many there are. */
enum err spool_find_keys(const char *dir, const char *name, struct key_entry *out, size_t most,
                         size_t *out_n, struct err_text *why);

#endif
