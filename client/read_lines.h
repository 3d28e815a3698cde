/* read_lines.h - a small file as lines.
 */
#ifndef CLIENT_READ_LINES_H
#define CLIENT_READ_LINES_H

#include <stddef.h>
#include "proto/err.h"

/* The lines of a file ("-": standard input) without their ends; blank ones are left out.
 * *out_lines is yours, NULL-ended: lines_free(). ERR_USAGE: it cannot be read. */
enum err read_lines(const char *name, char ***out_lines, size_t *out_n, struct err_text *why);
void lines_free(char **lines); /* NULL is fine */

#endif
