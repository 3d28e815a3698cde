/* cmd_calc.c - `knockbox calc`: the bench calculator; it needs no daemon. */
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include "client/calc/calc.h"
#include "client/fail.h"

static enum err
run(const struct given *given, struct err_text *why)
{
    char **argv = calloc(given->n_args + 2, sizeof *argv);
    size_t argc = 0;
    if (argv == NULL)
        return err_set(ERR_MEM, why, "no memory");
    for (; argc < given->n_args; argc++)
        argv[argc] = (char *)(uintptr_t)given->args[argc];
    if (given->help)
        argv[argc++] = (char *)(uintptr_t) "--help";
    if (given->output == OUTPUT_CSV) {
        free(argv);
        return err_set(ERR_USAGE, why, "calc prints text or JSON, not CSV");
    }
    int status = calc_command((int)argc, argv, given->output == OUTPUT_JSON, stdout, stderr);
    free(argv);
    return status == 0 ? ERR_OK : fail_told(status);
}

const struct command command_calc = {
    .word = "calc",
    .words = "strength, sugar, blends, thawing, dates, emissions",
    .usage = "WHAT name=value ...",
    .more = "",
    .examples = {"knockbox calc dilute volume_ml=1000 abv_pct=60 to_abv_pct=40",
                 "knockbox calc elapsed --help"},
    .most_args = 100,
    .helps_itself = true,
    .run = run,
};
