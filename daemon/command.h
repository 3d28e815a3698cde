/* command.h - the command line of a daemon: a table of words.
 *
 * `PROGRAM WORD [arguments] [--option value]`. Options are spelled in full. Misuse prints what is
 * possible and ends with status 2; errors end with the status of the contract.
 */
#ifndef DAEMON_COMMAND_H
#define DAEMON_COMMAND_H

#include <stddef.h>
#include "proto/err.h"

enum {
    COMMAND_WORDS = 4,
    COMMAND_OPTIONS = 6
};

struct command {
    const char *word;
    const char *usage;                    /* what follows the word: "DIR [--site CODE]" */
    const char *doc;                      /* one line */
    int least, most;                      /* arguments without the options */
    const char *options[COMMAND_OPTIONS]; /* "--site"; each takes a value */
    enum err (*run)(const char *const *words, const char *const *values, struct err_text *why);
};

/* The whole of main(). `values[i]` belongs to options[i], NULL when it was not given. */
int command_main(const char *program, const struct command *commands, size_t n, int argc,
                 char **argv);

#endif
