/* write_lines.h - a few lines to the daemon, in one transaction.
 */
#ifndef CLIENT_WRITE_LINES_H
#define CLIENT_WRITE_LINES_H

#include <jansson.h>
#include "client/command.h"
#include "client/wire.h"

enum write_how {
    WRITE_FORCE = 1, /* although a check says no */
    WRITE_BRIEF = 2, /* the answer has no list of the records */
};

/* `mode` is log or check. A refusal says "Nothing was written." *out_answer is yours. */
enum err write_lines(const struct given *given, const char *const *lines, size_t n,
                     const char *mode, json_t **out_answer, struct err_text *why);

/* The same over a connection that is open; `how` has bits of write_how. `refused` members of an error stay in *out_answer. */
enum err write_lines_on(struct wire *wire, const char *const *lines, size_t n, const char *mode,
                        unsigned how, json_t **out_answer, struct err_text *why);

#endif
