/* command.c - the command line, read by the table of commands. */
#include "client/command.h"

#include <stdio.h>
#include <string.h>
#include "proto/nearest.h"

const struct option_row common_options[] = {
    {"--json", NULL, "print JSON for programs"},
    {"--csv", NULL, "print CSV for spreadsheets"},
    {"--at", "WHERE", "a daemon's folder, or tcp://HOST:PORT"},
    {"--key", "FILE", "your key, for tcp://"},
    {"--quiet", NULL, "say nothing when all is well"},
    {"--help", NULL, "this help"},
    {"--version", NULL, "which release this is"},
    {NULL, NULL, NULL},
};

static const struct command *const table[] = {
    &command_tub,     &command_close,  &command_log,    &command_import, &command_export,
    &command_freezer, &command_stock,  &command_status, &command_plan,   &command_forecast,
    &command_report,  &command_outbox, &command_trace,  &command_verify, &command_period,
    &command_recipe,  &command_calc,   &command_help,
};

enum {
    TABLE_N = sizeof table / sizeof table[0]
};

const struct command *const *
command_table(size_t *out_n)
{
    *out_n = TABLE_N;
    return table;
}

const struct command *
command_find(const char *word)
{
    for (size_t i = 0; i < TABLE_N; i++)
        if (strcmp(table[i]->word, word) == 0)
            return table[i];
    return NULL;
}

static enum err
no_such_command(const char *word, struct err_text *why)
{
    struct nearest nearest = {word, NULL, 0};
    for (size_t i = 0; i < TABLE_N; i++)
        nearest_offer(&nearest, table[i]->word);
    if (nearest.best != NULL)
        return err_set(ERR_USAGE, why, "no command \"%.40s\": did you mean %s?", word,
                       nearest.best);
    return err_set(ERR_USAGE, why, "no command \"%.40s\": see knockbox help", word);
}

static const struct option_row *
find_row(const struct option_row *rows, const char *name, size_t len)
{
    for (size_t i = 0; i < OPTIONS_MOST && rows[i].name != NULL; i++)
        if (strlen(rows[i].name) == len && strncmp(rows[i].name, name, len) == 0)
            return &rows[i];
    return NULL;
}

static void
offer_rows(struct nearest *nearest, const struct option_row *rows)
{
    for (size_t i = 0; i < OPTIONS_MOST && rows[i].name != NULL; i++)
        nearest_offer(nearest, rows[i].name);
}

static enum err
no_such_option(const struct command *command, const char *name, struct err_text *why)
{
    struct nearest nearest = {name, NULL, 0};
    offer_rows(&nearest, common_options);
    offer_rows(&nearest, command->options);
    enum err e = nearest.best != NULL
                     ? err_set(ERR_USAGE, why, "%s has no option %.40s: did you mean %s?",
                               command->word, name, nearest.best)
                     : err_set(ERR_USAGE, why, "%s has no option %.40s: see knockbox %s --help",
                               command->word, name, command->word);
    (void)snprintf(why->field, sizeof why->field, "%s", name);
    (void)snprintf(why->got, sizeof why->got, "%s", name);
    (void)snprintf(why->want, sizeof why->want, "an option that knockbox %s --help lists",
                   command->word);
    return e;
}

/* Takes one option into its place; a common one has a member of its own. */
static enum err
take_option(struct given *given, const struct option_row *row, const char *value,
            struct err_text *why)
{
    if (strcmp(row->name, "--json") == 0)
        given->output = OUTPUT_JSON;
    else if (strcmp(row->name, "--csv") == 0)
        given->output = OUTPUT_CSV;
    else if (strcmp(row->name, "--at") == 0)
        given->at = value;
    else if (strcmp(row->name, "--key") == 0)
        given->key = value;
    else if (strcmp(row->name, "--quiet") == 0)
        given->quiet = true;
    else if (strcmp(row->name, "--help") == 0)
        given->help = true;
    else if (strcmp(row->name, "--version") == 0)
        given->version = true;
    else if (given->n_options == OPTIONS_MOST)
        return err_set(ERR_USAGE, why, "%s is one option too many", row->name);
    else
        given->options[given->n_options++] = (struct given_option){row->name, value};
    return ERR_OK;
}

/* Reads the option at argv[*at], its value too when it has one; moves *at to its last word. */
static enum err
read_option(int argc, char **argv, int *at, struct given *given, struct err_text *why)
{
    const char *text = argv[*at], *equals = strchr(text, '=');
    size_t len = equals != NULL ? (size_t)(equals - text) : strlen(text);
    const struct option_row *row = find_row(common_options, text, len);
    if (row == NULL)
        row = find_row(given->command->options, text, len);
    if (row == NULL)
        return no_such_option(given->command, text, why);
    if (row->value == NULL)
        return equals == NULL ? take_option(given, row, NULL, why)
                              : err_set(ERR_USAGE, why, "%s takes no value", row->name);
    if (equals != NULL)
        return take_option(given, row, equals + 1, why);
    if (*at + 1 >= argc)
        return err_set(ERR_USAGE, why, "%s wants a value: %s %s", row->name, row->name, row->value);
    return take_option(given, row, argv[++*at], why);
}

static bool
is_option(const char *text)
{
    return text[0] == '-' && text[1] != '\0' && !(text[1] >= '0' && text[1] <= '9');
}

static enum err
check_args(const struct given *given, struct err_text *why)
{
    const struct command *command = given->command;
    if (given->n_args < command->least_args)
        return err_set(ERR_USAGE, why, "too few words: knockbox %s %s", command->word,
                       command->usage);
    if (given->n_args > command->most_args)
        return err_set(ERR_USAGE, why, "too many words from \"%.40s\" on: knockbox %s %s",
                       given->args[command->most_args], command->word, command->usage);
    return ERR_OK;
}

/* "knockbox --json status" and "knockbox --help" are understood too. */
static int
find_word(int argc, char **argv)
{
    for (int i = 1; i < argc; i++) {
        if (!is_option(argv[i]))
            return i;
        const struct option_row *row = find_row(common_options, argv[i], strlen(argv[i]));
        if (row != NULL && row->value != NULL)
            i++;
    }
    return 0;
}

enum err
command_parse(int argc, char **argv, const char **args, struct given *out_given,
              struct err_text *why)
{
    struct given given = {.args = args};
    int word = find_word(argc, argv);
    bool plain = false; /* after "--" nothing is an option */
    given.command = word == 0 ? &command_help : command_find(argv[word]);
    if (given.command == NULL)
        return no_such_command(argv[word], why);
    for (int i = 1; i < argc; i++) {
        enum err e = ERR_OK;
        if (i == word)
            continue;
        if (!plain && strcmp(argv[i], "--") == 0)
            plain = true;
        else if (!plain && is_option(argv[i]))
            e = read_option(argc, argv, &i, &given, why);
        else
            given.args[given.n_args++] = argv[i];
        if (e != ERR_OK) {
            *out_given = given; /* says whether the error is wanted as JSON */
            return e;
        }
    }
    *out_given = given;
    return given.help || given.version ? ERR_OK : check_args(&given, why);
}

bool
given_flag(const struct given *given, const char *name)
{
    for (size_t i = 0; i < given->n_options; i++)
        if (strcmp(given->options[i].name, name) == 0)
            return true;
    return false;
}

const char *
given_value(const struct given *given, const char *name)
{
    const char *value = NULL;
    for (size_t i = 0; i < given->n_options; i++)
        if (strcmp(given->options[i].name, name) == 0)
            value = given->options[i].value;
    return value;
}
