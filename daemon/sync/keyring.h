/* keyring.h - which CURVE keys are let in, and as whom; in memory.
 *
 * Two threads use it: the loop changes it, the ZAP handler looks keys up. Every call takes the lock
 * for a moment; nothing in here touches a disk.
 */
#ifndef DAEMON_SYNC_KEYRING_H
#define DAEMON_SYNC_KEYRING_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include "daemon/sync/keys.h"

enum key_what {
    KEY_SITE,   /* a machine of a site: speaks sync */
    KEY_PERSON, /* a desk: asks requests with its role */
    KEY_CODE,   /* the bearer of a one-time code: may say Join and nothing else */
};

struct key_entry {
    uint8_t key[KEY_SIZE];
    enum key_what what;
    char site[65];
    char person[65];    /* "" for machines */
    char role[16];      /* "site", "barista", ... */
    unsigned roles;     /* enum role bits; 0 for machines */
    int64_t expires_ms; /* codes only: the machine's clock; else INT64_MAX */
    bool fresh;         /* it has not spoken yet, so `renews` is in as well */
    uint8_t renews[KEY_SIZE];
    uint64_t renewed_ms; /* monotonic: when this key asked to be renewed, 0: not in this run */
};

struct keyring;

enum err keyring_new(struct keyring **out_ring, struct err_text *why);
void keyring_free(struct keyring *ring); /* NULL is fine */

/* Adds, or replaces the entry of the same key. A key that was banned stays out: no effect. */
enum err keyring_put(struct keyring *ring, const struct key_entry *entry, struct err_text *why);
void keyring_remove(struct keyring *ring, const uint8_t key[KEY_SIZE]);
/* Removes the key for good: it can not be put again. */
enum err keyring_ban(struct keyring *ring, const uint8_t key[KEY_SIZE], struct err_text *why);
bool keyring_banned(struct keyring *ring, const uint8_t key[KEY_SIZE]);

/* false: not let in (unknown, banned, or a code past its time at now_ms). */
bool keyring_find(struct keyring *ring, const uint8_t key[KEY_SIZE], int64_t now_ms,
                  struct key_entry *out_entry);
/* Grows whenever an entry or a ban comes or goes. */
uint64_t keyring_changes(struct keyring *ring);
size_t keyring_count(struct keyring *ring);
/* The i-th entry in order of key; false past the end. */
bool keyring_nth(struct keyring *ring, size_t i, struct key_entry *out_entry);

#endif
