/* join.h - a new machine or desk gets its key known to the hub by a one-time code. */
#ifndef DAEMON_SYNC_JOIN_H
#define DAEMON_SYNC_JOIN_H

#include "daemon/sync/keys.h"

struct join_answer {
    char site[65], zone[65], hub_site[65], role[65];
    uint32_t first_epoch;
};

/* Connects as the code's bearer and asks to let `fresh` in. When the code is not taken (any more),
 * asks with `fresh` itself: an answer may have got lost.
 * ERR_PEER: no hub there. ERR_DENIED: the hub says no; `why` says why. */
enum err join_ask(const struct join_code *code, const char *endpoint, const struct key_pair *fresh,
                  struct join_answer *out_answer, struct err_text *why);

/* Connects with the key that is in (`own`) and asks to let `fresh` in as well.
 * ERR_PEER: no hub there, or one that is too old to know the question. ERR_DENIED, ERR_BUSY: the hub
 * says no. */
enum err renew_ask(const char *endpoint, const uint8_t hub[KEY_SIZE], const struct key_pair *own,
                   const struct key_pair *fresh, struct err_text *why);
/* Speaks once with a key that is in, so that the hub lets the one before it go. */
enum err renew_speak(const char *endpoint, const uint8_t hub[KEY_SIZE],
                     const struct key_pair *fresh, struct err_text *why);

#endif
