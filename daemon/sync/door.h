/* door.h - the local door: people of this machine, by a SOCK_SEQPACKET socket in the folder.
 *
 * Packets as proto/local.h tells. The kernel says who is on the other end (SO_PEERCRED); users and
 * groups give roles. What a request means is not known here: it is handed on. A user, save root and
 * the daemon's own, who takes more than `people.share` of the time waits (turn.h).
 */
#ifndef DAEMON_SYNC_DOOR_H
#define DAEMON_SYNC_DOOR_H

#include <stddef.h>
#include <stdint.h>
#include "daemon/base/config.h"
#include "daemon/base/loop.h"
#include "proto/err.h"
#include "proto/local.h"
#include "proto/sync.pb-c.h"

enum {
    DOOR_PEERS = 128,          /* connections at once */
    DOOR_PEERS_USER = 32,      /* of one user that is neither root nor this one */
    DOOR_QUEUE_MOST = 4 << 20, /* bytes that wait for a slow reader */
    DOOR_PATIENCE_MS = 2000,   /* then it is let go */
    DOOR_REST_MS = 100,        /* nobody is let in while there are no descriptors */
    DOOR_TURN_MS = 20,         /* then it is looked again whose turn it is */
    DOOR_TURNS = 64,           /* users whose share of the time is remembered */
};

/* Who is on the other end. */
struct door_caller {
    unsigned roles;   /* enum role bits */
    char via[64];     /* "uid 1000 (mara)" */
    uint64_t session; /* new for each connection */
};

/* Sends one reply. ERR_PEER: the caller is gone, stop. */
typedef enum err door_send(void *owner, const Knockbox__Reply *reply);

struct door_handler {
    void (*request)(void *owner, const struct door_caller *caller, const Knockbox__Request *request,
                    door_send *send, void *send_owner);
    void (*hangup)(void *owner, uint64_t session);
    void *owner;
};

struct door;

/* Listens on `path`, whose folder is made with mode 0750; a socket file left there is removed, so
 * the caller holds the folder's lock first. Reads `role.group` of the config.
 * ERR_INPUT: a group that this machine does not have. ERR_IO. */
enum err door_open(struct loop *loop, const char *path, const struct config *config,
                   const struct door_handler *handler, struct door **out_door,
                   struct err_text *why);
/* Reads `role.group` again, for those who are connected too. An error leaves all as it was. */
enum err door_reload(struct door *door, const struct config *config, struct err_text *why);
void door_close(struct door *door); /* removes the socket file; NULL is fine */

/* Roles of a user by its groups; `self` (this process's user) and root have all. */
struct door_group {
    unsigned role;
    uint32_t gid;
};
unsigned door_roles(uint32_t uid, uint32_t self, const uint32_t *gids, size_t n_gids,
                    const struct door_group *groups, size_t n_groups);

#endif
