/* wire.h - messages of sync.proto and who they go to; the seam between machines and sockets.
 *
 * The state machines (hub_machine.h, site_machine.h) see only this: in a program a ZeroMQ socket
 * stands behind it, in tests/world a wire that drops, repeats, reorders and cuts.
 */
#ifndef DAEMON_SYNC_WIRE_H
#define DAEMON_SYNC_WIRE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include "daemon/store/store.h"
#include "proto/codec.h"
#include "proto/err.h"
#include "proto/release.h"
#include "proto/sync.pb-c.h"

enum {
    WIRE_VERSION = 1 + KNOCKBOX_AHEAD, /* docs/sync-protocol.md: what each version changed */
    WIRE_OLDEST = WIRE_VERSION > 1 ? WIRE_VERSION - 1 : 1, /* still spoken: one lower */
    WIRE_MOST = 256 * 1024,                                /* bytes of one frame, ZMQ_MAXMSGSIZE */
    WIRE_RECORDS = 100,                                    /* records in one message */
    WIRE_BYTES = 128 * 1024,                               /* and their bytes */
    WIRE_MARKS = 1000, /* epochs of one site in a Hello or Welcome */
    PEER_ID = 15,
};

/* One connection: what the socket calls it, and the key it came with. */
struct peer {
    uint8_t len;
    uint8_t id[PEER_ID];
};

struct wire {
    /* true: handed to the line. false: the line is not there or full; as if it was lost. */
    bool (*send)(void *owner, const struct peer *peer, const Knockbox__Wire *message);
    void *owner;
};

/* *out_message is lent until the arena is reset. ERR_INPUT: not one, or more than one frame holds. */
enum err wire_unpack(const uint8_t *bytes, size_t len, struct arena *arena,
                     const Knockbox__Wire **out_message, struct err_text *why);

/* A place in a log as a Mark, pointing into `place`, which must live as long. */
void wire_mark(const struct log_mark *place, Knockbox__Mark *out_mark);
/* The other way; site is left "". */
void wire_place(const Knockbox__Mark *mark, struct log_mark *out_place);

/* A Mark has what `wire_place` reads, in the right sizes (the codec's rules say so; this is for
 * messages that were built in memory). */
bool wire_same_log(const struct log_mark *a, const struct log_mark *b); /* epoch and mark */

/* All epochs of a site, oldest first. *out_logs is yours (free). */
enum err wire_logs(struct store_view *view, const char *site, struct log_mark **out_logs,
                   size_t *out_n, struct err_text *why);

/* The chain hash at seq (0: zeros) of a log. ERR_NOT_FOUND: not held. */
enum err wire_hash_at(struct store_view *view, const char *site, const struct log_mark *log,
                      uint64_t seq, uint8_t out_hash[HASH_SIZE], struct err_text *why);

/* Does what peers said of record bytes fit where they want to put them? Decodes and checks one
 * record of `site`, epoch, mark, seq and fills `out` for store_accept(). ERR_INPUT: no such record.
 */
enum err wire_record(const ProtobufCBinaryData *bytes, const char *site, const struct log_mark *log,
                     uint64_t seq, struct arena *arena, struct stored *out, struct err_text *why);

/* Sends a refusal in words. */
void wire_refuse(const struct wire *wire, const struct peer *peer, enum err code, const char *text);

/* "newer is refused in words": ERR_FORMAT when `version` is not spoken here. `who` is the other
 * side: "the hub", "the café". */
enum err wire_check_version(uint32_t version, const char *who, struct err_text *why);

/* The other side has refused `spoken` and says what it speaks: is that an older version that this
 * side speaks too? Then it is said again in that one. */
bool wire_can_fall_back(const Knockbox__Refuse *refuse, uint32_t spoken);

#endif
