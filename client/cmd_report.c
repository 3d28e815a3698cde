/* cmd_report.c - `knockbox report`: a month's figures, as the hub computes them. */
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "client/ask.h"

/* The hub prints it: one table model feeds all forms (docs/report.md), and it knows which there
 * are. */
static const char *
form_of(const struct given *given)
{
    const char *form = given_value(given, "--format");
    if (form != NULL)
        return form;
    return given->output == OUTPUT_TEXT ? "text" : given->output == OUTPUT_CSV ? "csv" : "json";
}

/* `path` NULL: stdout. */
static enum err
put(const char *path, const char *text, struct err_text *why)
{
    FILE *out = path != NULL ? fopen(path, "w") : stdout;
    if (out == NULL)
        return err_set(ERR_IO, why, "%s: %s", path, strerror(errno));
    bool failed = fputs(text, out) == EOF || fflush(out) != 0;
    if (path != NULL && fclose(out) != 0)
        failed = true;
    return failed ? err_set(ERR_IO, why, "%s: %s", path != NULL ? path : "stdout", strerror(errno))
                  : ERR_OK;
}

static enum err
run(const struct given *given, struct err_text *why)
{
    struct question question = {.word = "report"};
    struct wire *wire = NULL;
    char *text = NULL;
    question_arg(&question, "month", given->args[0]);
    question_arg(&question, "form", form_of(given));
    enum err e = wire_open(given->at, given->key, &wire, why);
    if (e == ERR_OK)
        e = ask_text(wire, &question, NULL, NULL, &text, why);
    if (e == ERR_OK && text != NULL)
        e = put(given_value(given, "--out"), text, why);
    wire_close(wire);
    free(text);
    return e;
}

const struct command command_report = {
    .word = "report",
    .words = "a month: grounds, stock, waste, emissions, product",
    .usage = "YYYY-MM",
    .more = "Computed by the hub. A closed month prints the same for ever.\n"
            "--format html is one page for a browser or paper, with pictures; it\n"
            "needs no network.\n",
    .options = {{"--format", "FORM", "text, json, csv or html"},
                {"--out", "FILE", "write there, not to stdout"}},
    .examples = {"knockbox report 2026-03", "knockbox report 2026-03 --json > march.json",
                 "knockbox report 2026-03 --format html --out march.html"},
    .least_args = 1,
    .most_args = 1,
    .run = run,
};
