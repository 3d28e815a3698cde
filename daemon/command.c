/* command.c - finds the word, takes its arguments, prints what went wrong. */
#include "daemon/command.h"

#include <stdio.h>
#include <string.h>

#include "daemon/base/diag.h"

static void
print_help(const char *program, const struct command *commands, size_t n, FILE *out)
{
    (void)fprintf(out, "usage: %s COMMAND [arguments]\n\n", program);
    for (size_t i = 0; i < n; i++)
        (void)fprintf(out, "  %s %s\n      %s\n", commands[i].word, commands[i].usage,
                      commands[i].doc);
    (void)fprintf(out, "\nManual: man %s\n", program);
}

static const struct command *
find(const struct command *commands, size_t n, const char *word)
{
    for (size_t i = 0; i < n; i++)
        if (strcmp(commands[i].word, word) == 0)
            return &commands[i];
    return NULL;
}

static int
option_index(const struct command *command, const char *text)
{
    for (int i = 0; i < COMMAND_OPTIONS; i++)
        if (command->options[i] != NULL && strcmp(command->options[i], text) == 0)
            return i;
    return -1;
}

struct given {
    const char *words[COMMAND_WORDS];
    const char *values[COMMAND_OPTIONS];
    int n;
};

static enum err
take_arguments(const struct command *command, int argc, char **argv, struct given *given,
               struct err_text *why)
{
    for (int i = 2; i < argc; i++) {
        if (strncmp(argv[i], "--", 2) != 0) {
            if (given->n == command->most)
                return err_set(ERR_USAGE, why, "%s: one argument too many: %.80s", command->word,
                               argv[i]);
            given->words[given->n++] = argv[i];
            continue;
        }
        int at = option_index(command, argv[i]);
        if (at < 0)
            return err_set(ERR_USAGE, why, "%s: unknown option %.80s", command->word, argv[i]);
        if (i + 1 == argc)
            return err_set(ERR_USAGE, why, "%s: %s needs a value", command->word, argv[i]);
        given->values[at] = argv[++i];
    }
    if (given->n < command->least)
        return err_set(ERR_USAGE, why, "%s: an argument is missing", command->word);
    return ERR_OK;
}

static void
complain(const char *program, const struct err_text *why)
{
    char line[DIAG_LINE];
    (void)diag_clean(why->s, line, sizeof line);
    (void)fprintf(stderr, "%s: %s\n", program, line);
}

static int
run_command(const char *program, const struct command *command, int argc, char **argv)
{
    struct given given = {{NULL}, {NULL}, 0};
    struct err_text why = {.s = ""};
    enum err e = take_arguments(command, argc, argv, &given, &why);
    if (e != ERR_OK) {
        complain(program, &why);
        (void)fprintf(stderr, "usage: %s %s %s\n", program, command->word, command->usage);
        return err_exit_status(e);
    }
    e = command->run(given.words, given.values, &why);
    if (e != ERR_OK && why.s[0] != '\0')
        complain(program, &why);
    if (fflush(stdout) != 0 && e == ERR_OK) {
        (void)fprintf(stderr, "%s: the output could not be written\n", program);
        e = ERR_IO;
    }
    return err_exit_status(e);
}

int
command_main(const char *program, const struct command *commands, size_t n, int argc, char **argv)
{
    const char *word = argc > 1 ? argv[1] : "";
    if (strcmp(word, "--help") == 0 || strcmp(word, "help") == 0) {
        print_help(program, commands, n, stdout);
        return 0;
    }
    if (strcmp(word, "--version") == 0) {
        (void)printf("%s %s\n", program, KNOCKBOX_VERSION);
        return 0;
    }
    const struct command *command = find(commands, n, word);
    if (command == NULL) {
        if (word[0] != '\0')
            (void)fprintf(stderr, "%s: unknown command\n", program);
        print_help(program, commands, n, stderr);
        return err_exit_status(ERR_USAGE);
    }
    if (argc > 2 && strcmp(argv[2], "--help") == 0) {
        (void)printf("usage: %s %s %s\n%s\n", program, command->word, command->usage, command->doc);
        return 0;
    }
    return run_command(program, command, argc, argv);
}
