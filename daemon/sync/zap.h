/* zap.h - the ZAP handler (ZeroMQ RFC 27): asks the keyring about each key that wants in.
 *
 * A thread of its own, up before any socket binds. A known key gets its hex text as User-Id, which
 * then stands on each of its messages. Answers 400 to keys it does not know and 300 ("not now, try
 * again") while paused.
 */
#ifndef DAEMON_SYNC_ZAP_H
#define DAEMON_SYNC_ZAP_H

#include <stdbool.h>
#include <stdint.h>
#include "daemon/base/clock.h"
#include "daemon/sync/keyring.h"

#define ZAP_DOMAIN "knockbox"

struct zap;

/* `context` and `ring` are lent. ERR_IO: the handler could not start, so nothing may bind. */
enum err zap_start(void *context, struct keyring *ring, const struct clock *clock,
                   struct zap **out_zap, struct err_text *why);
/* After zmq_ctx_shutdown(): waits for the thread and frees. NULL is fine. */
void zap_stop(struct zap *zap);

bool zap_alive(const struct zap *zap); /* false: the thread has ended; serve nobody */
void zap_pause(struct zap *zap, bool paused);

struct zap_counts {
    uint64_t admitted, refused, deferred;
};
struct zap_counts zap_counts(const struct zap *zap);

#endif
