/* beside.h - a program of ours, found beside this one.
 */
#ifndef CLIENT_BESIDE_H
#define CLIENT_BESIDE_H

#include <limits.h>
#include "proto/err.h"

/* /usr/bin/knockbox -> /usr/bin/NAME or /usr/libexec/knockbox/NAME, in `path`; NAME itself, for the
 * search in PATH, when neither is there. */
const char *beside(const char *name, char path[PATH_MAX]);

/* Runs it to its end, reading `in` and writing `out`. It says itself, on stderr, what it minds.
 * ERR_IO: it could not be started, or ended with a status other than 0. */
enum err beside_run(const char *name, int in, int out, struct err_text *why);

#endif
