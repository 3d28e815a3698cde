/* knockbox.c - the client: one word a task, looked up in the table of commands. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "client/command.h"
#include "client/fail.h"

/* An error in the command line itself is told as JSON when --json stands anywhere in it. */
static bool
wants_json(int argc, char **argv)
{
    for (int i = 1; i < argc; i++)
        if (strcmp(argv[i], "--json") == 0)
            return true;
    return false;
}

static enum err
run(const struct given *given, struct err_text *why)
{
    enum err e = ERR_OK;
    if (given->version)
        (void)puts("knockbox " KNOCKBOX_VERSION);
    else if (given->help && !given->command->helps_itself)
        help_print(given->command == &command_help ? NULL : given->command);
    else
        e = given->command->run(given, why);
    if (e == ERR_OK && (fflush(stdout) != 0 || ferror(stdout)))
        e = err_set(ERR_IO, why, "the output cannot be written");
    return e;
}

int
main(int argc, char **argv)
{
    struct err_text why = {.s = ""};
    struct given given = {.command = NULL};
    (void)setvbuf(stderr, NULL, _IOLBF, 1024); /* a message is one write */
    const char **args = calloc((size_t)argc + 1, sizeof *args);
    enum err e = args != NULL ? command_parse(argc, argv, args, &given, &why)
                              : err_set(ERR_MEM, &why, "no memory");
    if (e != ERR_OK && wants_json(argc, argv))
        given.output = OUTPUT_JSON;
    if (e == ERR_OK)
        e = run(&given, &why);
    int status = e == ERR_OK ? EXIT_SUCCESS : fail_tell(&given, e, &why);
    free(args);
    return status;
}
