/* cmd_report.c - `knockbox report`: a month's figures, as the hub computes them. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "client/ask.h"
#include "client/writer.h"

enum {
    PATH_TEXT = 256
};

/* A figure a row: where it stands in the report, and what it is. */
static void
flatten(const json_t *value, const char *path, json_t *rows)
{
    char inner[PATH_TEXT];
    const char *key;
    json_t *member;
    size_t i;
    if (json_is_object(value)) {
        json_object_foreach((json_t *)(uintptr_t)value, key, member)
        {
            (void)snprintf(inner, sizeof inner, "%s%s%s", path, path[0] != '\0' ? "." : "", key);
            flatten(member, inner, rows);
        }
    } else if (json_is_array(value)) {
        json_array_foreach(value, i, member)
        {
            (void)snprintf(inner, sizeof inner, "%s[%zu]", path, i);
            flatten(member, inner, rows);
        }
    } else {
        (void)json_array_append_new(
            rows, json_pack("{s:s, s:O}", "key", path, "value", (json_t *)(uintptr_t)value));
    }
}

static enum err
print_csv(const char *text, struct err_text *why)
{
    static const struct column columns[] = {{"key", "key", CELL_TEXT, 0},
                                            {"value", "value", CELL_TEXT, 0}};
    struct writer writer;
    json_t *report = json_loads(text, 0, NULL), *rows = json_array();
    if (report == NULL)
        return err_set(ERR_PEER, why, "the hub gave a report that is no JSON");
    flatten(report, "", rows);
    writer_init(&writer, OUTPUT_CSV, stdout);
    writer_table(&writer, columns, 2, rows);
    json_decref(report);
    json_decref(rows);
    return ERR_OK;
}

static enum err
run(const struct given *given, struct err_text *why)
{
    struct question question = {.word = "report"};
    struct wire *wire = NULL;
    char *text = NULL;
    question_arg(&question, "month", given->args[0]);
    question_arg(&question, "form", given->output == OUTPUT_TEXT ? "text" : "json");
    enum err e = wire_open(given->at, given->key, &wire, why);
    if (e == ERR_OK)
        e = ask_text(wire, &question, NULL, NULL, &text, why);
    if (e == ERR_OK && given->output == OUTPUT_CSV)
        e = print_csv(text != NULL ? text : "", why);
    else if (e == ERR_OK && text != NULL)
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
