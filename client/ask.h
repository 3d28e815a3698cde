/* ask.h - one question to the daemon and its whole answer.
 */
#ifndef CLIENT_ASK_H
#define CLIENT_ASK_H

#include <jansson.h>
#include <stddef.h>
#include "client/command.h"
#include "client/wire.h"

enum {
    ASK_ARGS_MOST = 16
};

/* A question in the making. Text is lent until it was asked. */
struct question {
    const char *word;
    struct {
        const char *name, *value;
    } args[ASK_ARGS_MOST];
    size_t n_args;
};

/* Adds an argument; NULL value: leaves it out. */
void question_arg(struct question *question, const char *name, const char *value);

/* Where lines to send come from: fills text and len, false at the end. Lent until the next call. */
typedef bool line_source(void *owner, const char **out_text, size_t *out_len);

/* Sends the question (with all lines of `source`, when there is one) and gathers the answer's data.
 * *out_text is yours, NUL-ended, "" for no data, and set on an error too when data came with it.
 * The error is the daemon's own, or ERR_PEER. */
enum err ask_text(struct wire *wire, const struct question *question, line_source *source,
                  void *owner, char **out_text, struct err_text *why);

/* The same with the answer as JSON; *out_answer is yours, NULL when there was no data. */
enum err ask(struct wire *wire, const struct question *question, line_source *source, void *owner,
             json_t **out_answer, struct err_text *why);

/* Opens the way that the command line names, asks, closes. */
enum err ask_once(const struct given *given, const struct question *question, json_t **out_answer,
                  struct err_text *why);

#endif
