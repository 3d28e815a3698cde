/* cmd_report.c - `knockbox report`: a month's figures, as the hub computes them. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>
#include "client/ask.h"
#include "client/print_to.h"
#include "client/report_file.h"
#include "client/writer.h"

static const struct column columns[] = {
    {"id", "number", CELL_COUNT, 0},      {"target", "target", CELL_TEXT, 0},
    {"url", "where", CELL_TEXT, 0},       {"to", "to", CELL_TEXT, 0},
    {"subject", "subject", CELL_TEXT, 0}, {"names", "files", CELL_LIST, 0},
};

/* The names of the files, for a cell. */
static void
add_names(json_t *jobs)
{
    size_t i, j;
    json_t *job, *file;
    json_array_foreach(jobs, i, job)
    {
        json_t *names = json_array();
        json_array_foreach(json_object_get(job, "files"), j, file)(void)
            json_array_append(names, json_object_get(file, "name"));
        (void)json_object_set_new(job, "names", names);
    }
}

/* "office, smtp://...: Knockbox report 2026-03" and its files. */
static void
print_lines(struct writer *writer, const json_t *jobs)
{
    size_t i, j;
    json_t *job, *name;
    json_array_foreach((json_t *)(uintptr_t)jobs, i, job)
    {
        const char *to = json_string_value(json_object_get(job, "to"));
        writer_line(writer, "%s: %s%s%s", json_string_value(json_object_get(job, "target")),
                    json_string_value(json_object_get(job, "url")),
                    to != NULL && to[0] != '\0' ? " to " : "", to != NULL ? to : "");
        writer_line(writer, "  %s", json_string_value(json_object_get(job, "subject")));
        json_array_foreach(json_object_get(job, "names"), j, name)
            writer_line(writer, "  %s", json_string_value(name));
    }
}

/* What goes where, now or in a dry run. */
static enum err
send_it(const struct given *given, struct question *question, struct err_text *why)
{
    struct writer writer;
    json_t *answer = NULL;
    question_arg(question, "send", given_value(given, "--send"));
    const char *as = given_value(given, "--as");
    question_arg(question, "as", as != NULL ? as : given_value(given, "--format"));
    question_arg(question, "dry_run", given_flag(given, "--dry-run") ? "1" : NULL);
    enum err e = ask_once(given, question, &answer, why);
    if (e != ERR_OK)
        return e;
    bool dry = json_is_true(json_object_get(answer, "dry_run"));
    json_t *jobs = json_object_get(answer, "jobs");
    writer_init(&writer, given->output, stdout);
    writer_answer(&writer, answer);
    add_names(jobs);
    if (given->output == OUTPUT_CSV)
        writer_table(&writer, columns, sizeof columns / sizeof columns[0], jobs);
    if (dry || !given->quiet) {
        print_lines(&writer, jobs);
        writer_line(&writer, dry ? "Nothing was sent: this is what would go out."
                                 : "In the outbox: see knockbox outbox.");
    }
    json_decref(answer);
    return ERR_OK;
}

static enum err
run(const struct given *given, struct err_text *why)
{
    struct question question = {.word = "report"};
    struct wire *wire = NULL;
    char *text = NULL;
    bool span = given_value(given, "--from") != NULL || given_value(given, "--to") != NULL;
    if (span == (given->n_args > 0))
        return err_set(ERR_USAGE, why, "report wants a month, or --from DATE and --to DATE");
    question_arg(&question, "month", given->n_args > 0 ? given->args[0] : NULL);
    question_arg(&question, "from", given_value(given, "--from"));
    question_arg(&question, "to", given_value(given, "--to"));
    question_arg(&question, "site", given_value(given, "--site"));
    question_arg(&question, "basis", given_value(given, "--basis"));
    question_arg(&question, "why", given_value(given, "--why"));
    if (given_value(given, "--send") != NULL)
        return given_value(given, "--frame") == NULL
                   ? send_it(given, &question, why)
                   : err_set(ERR_USAGE, why, "--send takes the whole report, not a --frame");
    const char *form = print_form(given), *path = print_path(given);
    if (given_flag(given, "--dry-run") || given_value(given, "--as") != NULL)
        return err_set(ERR_USAGE, why, "--as and --dry-run go with --send TARGET");
    if (strcmp(form, "xlsx") == 0 && path == NULL && isatty(STDOUT_FILENO))
        return err_set(ERR_USAGE, why, "a spreadsheet wants a file: --out FILE");
    /* The hub prints it: one table model feeds all forms (docs/report.md), and it knows which there
     * are. */
    question_arg(&question, "form", form);
    question_arg(&question, "frame", given_value(given, "--frame"));
    enum err e = wire_open(given, &wire, why);
    if (e == ERR_OK)
        e = ask_text(wire, &question, NULL, NULL, &text, why);
    if (e == ERR_OK && text != NULL)
        e = report_put(path, text, strcmp(form, "xlsx") == 0, why);
    wire_close(wire);
    free(text);
    return e;
}

const struct command command_report = {
    .word = "report",
    .words = "a month: grounds, stock, waste, emissions, product",
    .usage = "YYYY-MM | --from DATE --to DATE",
    .more = "Computed by the hub. A closed month prints the same for ever.\n"
            "--format html is one page for a browser or paper, with pictures; it\n"
            "needs no network. xlsx is a spreadsheet, one sheet a table, with live\n"
            "sums. Targets of --send stand in the hub's delivery.conf.\n",
    .options = {{"--from", "DATE", "from this business day on, instead of a month"},
                {"--to", "DATE", "to this one, inclusive"},
                {"--site", "SITE", "one site's part of it"},
                {"--basis", "BASIS", "by-product or waste, not the one in force"},
                {"--why", "KEY", "the records behind one figure, added up"},
                {"--frame", "FRAME", "only what FLW, GRI, ESRS or SDG asks for"},
                {"--format", "FORM", "text, json, csv, html or xlsx"},
                {"--out", "FILE", "write there, not to stdout"},
                {"-o", "FILE", "the same"},
                {"--send", "TARGETS", "hand it to the outbox for these targets"},
                {"--as", "FORMS", "what is sent, such as html,xlsx (text)"},
                {"--dry-run", NULL, "with --send: say what would go where"}},
    .examples = {"knockbox report 2026-03 --format xlsx --out march.xlsx",
                 "knockbox report 2026-03 --why waste.diverted_kg",
                 "knockbox report --from 2026-03-02 --to 2026-03-08 --site quayside",
                 "knockbox report 2026-03 --send office --as html,xlsx --dry-run"},
    .most_args = 1,
    .run = run,
};
