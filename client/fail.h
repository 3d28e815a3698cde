/* fail.h - an error told once: in words, or as one JSON object, on stderr.
 */
#ifndef CLIENT_FAIL_H
#define CLIENT_FAIL_H

#include <jansson.h>
#include "client/command.h"

/* Tells it and returns the exit status of the contract. */
int fail_tell(const struct given *given, enum err e, const struct err_text *why);

/* More members for the error object of this run ("lines": the bad lines of an import). Taken. */
void fail_add(const char *name, json_t *taken);

/* It was told already, and the exit status is this one: fail_tell() says nothing more. Returns an
 * error to return. */
enum err fail_told(int status);

#endif
