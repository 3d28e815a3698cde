/* wire.h - the way to the daemon: a packet out, packets back.
 */
#ifndef CLIENT_WIRE_H
#define CLIENT_WIRE_H

#include <stddef.h>
#include "client/command.h"
#include "client/progress.h"
#include "proto/codec.h"
#include "proto/err.h"
#include "proto/sync.pb-c.h"

struct wire; /* a connection */

/* To what `given` names with --at: a daemon's folder, or tcp://HOST:PORT (starts knockbox-link, which
 * --key is for); else KNOCKBOX_AT, else the system's own daemon. *out_wire is yours. Whoever waits longer
 * than 1.5 s for it is told once, on stderr (not with --quiet or --json).
 * ERR_PEER: nobody answers there. ERR_DENIED: the folder is not for this account. */
enum err wire_open(const struct given *given, struct wire **out_wire, struct err_text *why);
void wire_close(struct wire *wire); /* NULL is fine */

/* A line of progress that is cleared before something is said; lent as long as the wire is open. */
void wire_beside(struct wire *wire, struct progress *progress);

/* Where it goes, for messages: "/srv/knockbox". */
const char *wire_where(const struct wire *wire);

/* ERR_INPUT: larger than a packet. ERR_PEER: the daemon is gone. */
enum err wire_send(struct wire *wire, const Knockbox__Request *request, struct err_text *why);

/* Waits for the next reply; lent until the next call. ERR_PEER. */
enum err wire_receive(struct wire *wire, const Knockbox__Reply **out_reply, struct err_text *why);

#endif
