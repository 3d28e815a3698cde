/* hub_people.h - questions of people at the hub's network door, answered in turn.
 *
 * Each key has a line of its own; between two answers everybody else is heard (the loop goes round),
 * and who has taken more than a share of the hub's time waits (turn.h). What waits is a copy.
 */
#ifndef DAEMON_SYNC_HUB_PEOPLE_H
#define DAEMON_SYNC_HUB_PEOPLE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include "daemon/base/loop.h"
#include "daemon/sync/keys.h"
#include "daemon/sync/wire.h"
#include "proto/err.h"

enum {
    PEOPLE_WAITING = 64,           /* questions of one key that wait at most, */
    PEOPLE_WAITING_BYTES = 2 << 20 /* and their size */
};

struct hub_people;

/* The frame is lent during the call; it is answered when this returns. false: the peer is gone, and
 * what else it has asked is not answered. */
typedef bool hub_people_answer(void *owner, const struct peer *peer, const uint8_t key[KEY_SIZE],
                               const uint8_t *frame, size_t len);

enum err hub_people_new(struct loop *loop, unsigned share_pct, hub_people_answer *answer,
                        void *owner, struct hub_people **out_people, struct err_text *why);
void hub_people_free(struct hub_people *people); /* NULL is fine */

/* The frame waits for its turn, which comes after this returns.
 * ERR_BUSY: too many wait, in a sentence for the person. ERR_MEM. */
enum err hub_people_ask(struct hub_people *people, const struct peer *peer,
                        const uint8_t key[KEY_SIZE], const uint8_t *frame, size_t len,
                        struct err_text *why);

/* Each second: lines that are empty and owe nothing are forgotten. */
void hub_people_tick(struct hub_people *people);

#endif
