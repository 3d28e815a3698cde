/* process.h - what a daemon does to itself before it touches a key. */
#ifndef DAEMON_BASE_PROCESS_H
#define DAEMON_BASE_PROCESS_H

#include <stdbool.h>
#include <stdint.h>

enum {
    PROCESS_FILES_WANTED = 4096
};

/* umask 077, no core dumps, no other process of the same user reading this memory, SIGPIPE away,
 * file descriptors 0 to 2 open. Cannot fail in a way that matters: what the system refuses stays
 * as it was. */
void process_harden(void);

/* Is this a build whose sanitizer looks at its own process from outside? */
bool process_is_watched(void);

/* Raises the limit of open files as far as allowed; what it is then. */
uint64_t process_files(void);

#endif
