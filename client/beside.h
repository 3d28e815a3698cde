/* beside.h - a program of ours, found beside this one.
 */
#ifndef CLIENT_BESIDE_H
#define CLIENT_BESIDE_H

#include <limits.h>

/* /usr/bin/knockbox -> /usr/bin/NAME or /usr/libexec/knockbox/NAME, in `path`; NAME itself, for the
 * search in PATH, when neither is there. */
const char *beside(const char *name, char path[PATH_MAX]);

#endif
