/* help.c - help out of the table of commands, 72 columns wide. */
#include <stdio.h>
#include <string.h>
#include "client/command.h"

static void
print_options(const struct option_row *rows)
{
    for (size_t i = 0; i < OPTIONS_MOST && rows[i].name != NULL; i++) {
        char left[64];
        (void)snprintf(left, sizeof left, "%s%s%s", rows[i].name, rows[i].value != NULL ? " " : "",
                       rows[i].value != NULL ? rows[i].value : "");
        printf("  %-20s %s\n", left, rows[i].words);
    }
}

static void
print_all(void)
{
    size_t n;
    const struct command *const *table = command_table(&n);
    printf("knockbox - the record book for spent coffee grounds\n\n"
           "knockbox WORD [arguments] [options]\n\n");
    for (size_t i = 0; i < n; i++)
        printf("  %-9s %s\n", table[i]->word, table[i]->words);
    printf("\nEvery word takes\n");
    print_options(common_options);
    printf("\nExamples\n"
           "  knockbox close                 the day's tubs, step by step\n"
           "  knockbox freezer               what is in the freezer\n"
           "\nMore about a word: knockbox help WORD, or knockbox WORD --help\n");
}

static void
print_one(const struct command *command)
{
    printf("knockbox %s - %s\n\nknockbox %s%s%s [options]\n", command->word, command->words,
           command->word, command->usage[0] != '\0' ? " " : "", command->usage);
    if (command->more[0] != '\0')
        printf("\n%s", command->more);
    printf("\nOptions\n");
    print_options(command->options);
    print_options(common_options);
    printf("\nExamples\n");
    for (size_t i = 0; i < EXAMPLES_MOST && command->examples[i] != NULL; i++)
        printf("  %s\n", command->examples[i]);
}

void
help_print(const struct command *command)
{
    if (command == NULL)
        print_all();
    else
        print_one(command);
}
