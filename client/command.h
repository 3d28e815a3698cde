/* command.h - one row a command: its options, its help and what it does.
 *
 * Parser, --help, the list of commands and a test against the man page all read these rows.
 */
#ifndef CLIENT_COMMAND_H
#define CLIENT_COMMAND_H

#include <stdbool.h>
#include <stddef.h>
#include "proto/err.h"

enum {
    OPTIONS_MOST = 32, /* of one command, common ones not counted */
    EXAMPLES_MOST = 4,
    TEXT_WIDTH = 72, /* columns of everything for people */
};

/* An option is its full name; `value` is the name of its value for the help, NULL for none. */
struct option_row {
    const char *name;  /* "--from" */
    const char *value; /* "DATE" */
    const char *words; /* one line */
};

enum output {
    OUTPUT_TEXT,
    OUTPUT_JSON,
    OUTPUT_CSV,
};

struct given_option {
    const char *name; /* of the row; lent */
    const char *value;
};

/* The command line as understood. All text is lent from argv. */
struct given {
    const struct command *command;
    enum output output;
    const char *at;  /* --at, NULL: not given */
    const char *key; /* --key */
    bool quiet, help, version;
    const char **args; /* without options */
    size_t n_args;
    struct given_option options[OPTIONS_MOST];
    size_t n_options;
};

struct command {
    const char *word;
    const char *words; /* one line: what it is for */
    const char *usage; /* after "knockbox WORD" */
    const char *more;  /* some lines of help, "" for none */
    struct option_row options[OPTIONS_MOST];
    const char *examples[EXAMPLES_MOST]; /* two at least: "knockbox ...   # what it does" */
    size_t least_args, most_args;        /* of the words after the command */
    bool helps_itself;                   /* run() is called for --help too */
    enum err (*run)(const struct given *given, struct err_text *why);
};

extern const struct option_row common_options[]; /* ended by a row without a name */

const struct command *const *command_table(size_t *out_n);
const struct command *command_find(const char *word); /* NULL: no such command */

/* Fills *out_given from argv (argv[0] is the program). `args` of `given` is room for argc pointers.
 * ERR_USAGE: `why` names the nearest word or option. A help option anywhere wins. */
enum err command_parse(int argc, char **argv, const char **args, struct given *out_given,
                       struct err_text *why);

bool given_flag(const struct given *given, const char *name);
const char *given_value(const struct given *given, const char *name); /* NULL: not given */

/* The help of one command, or the list of all (NULL), on stdout. */
void help_print(const struct command *command);

extern const struct command command_calc, command_close, command_export, command_freezer,
    command_forecast, command_help, command_import, command_log, command_period, command_plan,
    command_outbox, command_report, command_recipe, command_status, command_stock, command_trace,
    command_tub, command_verify;

#endif
