/* socket.h - the options that every socket of ours has, and one frame in or out. */
#ifndef DAEMON_SYNC_SOCKET_H
#define DAEMON_SYNC_SOCKET_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include "daemon/sync/keys.h"
#include "daemon/sync/wire.h"
#include "proto/err.h"

/* A context with room for many peers. */
enum err socket_context(void **out_context, struct err_text *why);

/* A CURVE server (ROUTER) or client (DEALER) socket with limits, heartbeats and no linger set; not
 * bound or connected yet. End it with zmq_close(). */
enum err socket_server(void *context, const struct key_pair *pair, void **out_socket,
                       struct err_text *why);
enum err socket_client(void *context, const struct key_pair *pair, const uint8_t hub[KEY_SIZE],
                       void **out_socket, struct err_text *why);

/* Packs and sends without waiting; `peer` NULL on a client socket. false: not sent. `scratch` has
 * WIRE_MOST bytes. */
bool socket_send(void *socket, const struct peer *peer, const Knockbox__Wire *message,
                 uint8_t *scratch);

/* The address as this release of the library wants it: port 0 is `*`. ERR_INPUT: too long. */
enum err socket_bind(void *socket, const char *endpoint, struct err_text *why);

#endif
