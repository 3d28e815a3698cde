/* carry.h - packets of the local socket, carried to a hub elsewhere over CURVE and back.
 */
#ifndef DAEMON_SYNC_CARRY_H
#define DAEMON_SYNC_CARRY_H

#include "daemon/sync/keys.h"

/* Carries between the connected SOCK_SEQPACKET socket `fd` and the hub at `endpoint`, until the
 * other end of `fd` closes. What goes wrong on the way is told as the answer to the request that
 * waits, so whoever asked hears it in words; then ERR_PEER or ERR_DENIED. */
enum err carry(int fd, const char *endpoint, const struct key_file *key, struct err_text *why);

/* Answers the first request on `fd` with an error: what must be said before there is a line. */
void carry_refuse(int fd, enum err code, const char *text);

#endif
