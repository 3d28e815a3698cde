/* confine.h - what a daemon takes away from itself before it listens.
 *
 * Two fences of the kernel, each on its own: a seccomp filter (system calls and kinds of sockets that
 * no daemon of ours needs fail with EPERM) and Landlock rules (files are made, written and removed
 * only beneath the daemon's folders; programs are started only from the named places). Threads and
 * children that come later inherit both, and no way leads back. Reading files stays as the rights of
 * the user allow.
 */
#ifndef DAEMON_BASE_CONFINE_H
#define DAEMON_BASE_CONFINE_H

#include <stdbool.h>
#include <stddef.h>
#include "proto/err.h"

enum {
    CONFINE_FOLDERS = 4
};

struct confine_options {
    /* Folders beneath which it may write; NULL and what is not there are left out. Read. */
    const char *folders[CONFINE_FOLDERS];
    /* The one program that it may start; NULL: none at all. Read. */
    const char *program;
};

/* What holds afterwards. */
struct confined {
    bool calls; /* the seccomp filter */
    bool files; /* the Landlock rules */
};

/* Call it while there is one thread. What the kernel lacks is left out and shown in *out_confined;
 * ERR_IO: the kernel has it and refused. */
enum err confine(const struct confine_options *options, struct confined *out_confined,
                 struct err_text *why);

/* The same for a daemon, with a warning in the log for what this kernel lacks. Not in builds with a
 * sanitizer, whose leak checker traces its own process: then it says so. */
enum err confine_daemon(const struct confine_options *options, struct err_text *why);

#endif
