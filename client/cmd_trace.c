/* cmd_trace.c - `knockbox trace`: all the way back and all the way forward from a code. */
#include <stdio.h>
#include <stdlib.h>
#include "client/ask.h"
#include "client/writer.h"

static const struct column forward[] = {
    {"lot", "lot", CELL_TEXT, 0},
    {"site", "site", CELL_TEXT, 0},
    {"count", "bottles", CELL_COUNT, 0},
    {"state", "state", CELL_TEXT, 0},
};

static enum err
print_csv(const char *text, struct err_text *why)
{
    struct writer writer;
    json_t *trace = json_loads(text, 0, NULL);
    if (trace == NULL)
        return err_set(ERR_PEER, why, "the hub gave a trace that is no JSON");
    writer_init(&writer, OUTPUT_CSV, stdout);
    writer_table(&writer, forward, sizeof forward / sizeof forward[0],
                 json_object_get(trace, "forward"));
    json_decref(trace);
    return ERR_OK;
}

static enum err
run(const struct given *given, struct err_text *why)
{
    struct question question = {.word = "trace"};
    struct wire *wire = NULL;
    char *text = NULL;
    question_arg(&question, "code", given->args[0]);
    question_arg(&question, "form", given->output == OUTPUT_TEXT ? "text" : "json");
    enum err e = wire_open(given, &wire, why);
    if (e == ERR_OK)
        e = ask_text(wire, &question, NULL, NULL, &text, why);
    if (e == ERR_OK && given->output == OUTPUT_CSV)
        e = print_csv(text != NULL ? text : "", why);
    else if (e == ERR_OK && text != NULL)
        (void)printf("%s%s", text, given->output == OUTPUT_JSON ? "\n" : "");
    wire_close(wire);
    free(text);
    return e;
}

const struct command command_trace = {
    .word = "trace",
    .words = "where it came from and where it went",
    .usage = "CODE",
    .more = "A tub, an ingredient lot, a batch or a bottle lot.\n",
    .examples = {"knockbox trace B-0001", "knockbox trace Q-0303-1 --json"},
    .least_args = 1,
    .most_args = 1,
    .run = run,
};
