/* cmd_report.c - `knockbox report`: a month's figures, as the hub computes them. */
#include <stdio.h>
#include <stdlib.h>
#include "client/ask.h"

/* The hub prints it: one table model feeds all forms (docs/report.md). */
static const char *
form_of(enum output output)
{
    return output == OUTPUT_TEXT ? "text" : output == OUTPUT_CSV ? "csv" : "json";
}

static enum err
run(const struct given *given, struct err_text *why)
{
    struct question question = {.word = "report"};
    struct wire *wire = NULL;
    char *text = NULL;
    question_arg(&question, "month", given->args[0]);
    question_arg(&question, "form", form_of(given->output));
    enum err e = wire_open(given->at, given->key, &wire, why);
    if (e == ERR_OK)
        e = ask_text(wire, &question, NULL, NULL, &text, why);
    if (e == ERR_OK && text != NULL)
        (void)fputs(text, stdout);
    wire_close(wire);
    free(text);
    return e;
}

const struct command command_report = {
    .word = "report",
    .words = "a month: grounds, stock, waste, emissions, product",
    .usage = "YYYY-MM",
    .more = "Computed by the hub. A closed month prints the same for ever.\n",
    .examples = {"knockbox report 2026-03", "knockbox report 2026-03 --json > march.json"},
    .least_args = 1,
    .most_args = 1,
    .run = run,
};
