/* slurp.h - a whole file in memory. */
#ifndef DAEMON_PLAN_SLURP_H
#define DAEMON_PLAN_SLURP_H

#include <stddef.h>
#include <stdio.h>

#include "proto/err.h"

/* *out_bytes is yours: free() it; a zero byte follows the last one. ERR_IO: cannot be opened or
 * read; ERR_INPUT: over 256 MiB. */
enum err slurp_file(const char *path, char **out_bytes, size_t *out_len, struct err_text *why);

/* The same of a stream that is open already, up to its end. */
enum err slurp_stream(FILE *f, char **out_bytes, size_t *out_len, struct err_text *why);

#endif
