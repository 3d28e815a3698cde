/* spawn_link.h - knockbox-link, started for tcp://: it carries our packets over CURVE.
 */
#ifndef CLIENT_SPAWN_LINK_H
#define CLIENT_SPAWN_LINK_H

#include <sys/types.h>
#include "proto/err.h"

/* Starts `knockbox-link WHERE [KEY]` with a socket as its descriptor 3; ours is *out_fd. The
 * program is looked for beside this one, then in PATH. ERR_PEER: it cannot be started. */
enum err spawn_link(const char *where, const char *key, int *out_fd, pid_t *out_pid,
                    struct err_text *why);

/* After an end is closed: waits until it has ended. Its exit status; -1: it was killed. */
int end_link(pid_t pid);

#endif
