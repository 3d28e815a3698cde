/* cmd_help.c - `knockbox help`: the list of commands, or one of them. */
#include <stdio.h>
#include "client/command.h"

static enum err
run(const struct given *given, struct err_text *why)
{
    const struct command *command = given->n_args > 0 ? command_find(given->args[0]) : NULL;
    if (given->n_args > 0 && command == NULL)
        return err_set(ERR_USAGE, why, "no command \"%.40s\": see knockbox help", given->args[0]);
    help_print(command);
    return ERR_OK;
}

const struct command command_help = {
    .word = "help",
    .words = "this list, or more about one word",
    .usage = "[WORD]",
    .more = "",
    .examples = {"knockbox help", "knockbox help close"},
    .most_args = 1,
    .run = run,
};
