/* cmd_log.c - `knockbox log`: one record from name=value pairs. */
#include <stdlib.h>
#include <string.h>
#include "client/ask.h"
#include "client/fail.h"
#include "client/write_lines.h"
#include "client/written.h"
#include "client/writer.h"

static enum err
add_pair(json_t *line, const char *pair, struct err_text *why)
{
    char name[65];
    const char *equals = strchr(pair, '=');
    size_t len = equals != NULL ? (size_t)(equals - pair) : 0;
    if (len == 0 || len >= sizeof name)
        return err_set(ERR_USAGE, why, "\"%.60s\": expected name=value", pair);
    memcpy(name, pair, len);
    name[len] = '\0';
    if (json_object_get(line, name) != NULL)
        return err_set(ERR_USAGE, why, "%s is given twice", name);
    if (json_object_set_new(line, name, json_string(equals + 1)) != 0)
        return err_input(why, name, NULL, "text in UTF-8");
    return ERR_OK;
}

static enum err
make_line(const struct given *given, char **out_text, struct err_text *why)
{
    json_t *line = json_pack("{s:s}", "kind", given->args[0]);
    enum err e = line != NULL ? ERR_OK : err_input(why, "kind", NULL, "text in UTF-8");
    for (size_t i = 1; i < given->n_args && e == ERR_OK; i++)
        e = add_pair(line, given->args[i], why);
    if (e == ERR_OK && (*out_text = json_dumps(line, JSON_COMPACT)) == NULL)
        e = err_set(ERR_MEM, why, "no memory for this record");
    json_decref(line);
    return e;
}

static void
print_written(const struct given *given, const json_t *answer)
{
    char words[WRITTEN_TEXT];
    struct writer writer;
    static const struct column columns[] = {
        {"site", "site", CELL_TEXT, 0},   {"epoch", "epoch", CELL_COUNT, 0},
        {"seq", "number", CELL_COUNT, 0}, {"id", "id", CELL_TEXT, 0},
        {"hash", "hash", CELL_TEXT, 0},
    };
    writer_init(&writer, given->output, stdout);
    const json_t *records = json_object_get(answer, "records");
    if (given->output == OUTPUT_TEXT && !given->quiet) {
        (void)written_words(answer, words);
        writer_line(&writer, "%s", words[0] != '\0' ? words : "It was there already.");
        if (json_is_true(json_object_get(json_array_get(records, 0), "alcoholic")))
            writer_line(&writer, "Alcoholic: made on spirit. Local law on its sale comes first.");
    } else if (given->output == OUTPUT_JSON) {
        const json_t *record = json_array_get(records, 0);
        writer_answer(&writer, record != NULL ? record : answer);
    } else if (given->output == OUTPUT_CSV) {
        writer_table(&writer, columns, 5, records);
    }
}

static enum err
run(const struct given *given, struct err_text *why)
{
    char *text = NULL;
    json_t *answer = NULL;
    enum err e = make_line(given, &text, why);
    if (e == ERR_OK)
        e = write_lines(given, (const char *const *)&text, 1,
                        given_flag(given, "--check") ? "check" : "log", &answer, why);
    if (e == ERR_OK)
        print_written(given, answer);
    json_decref(answer);
    free(text);
    return e;
}

const struct command command_log = {
    .word = "log",
    .words = "write one record",
    .usage = "KIND name=value ...",
    .more = "Fields of each kind: docs/records.md. Times: now, 17:40,\n"
            "2026-03-03 17:40, or 2026-03-03T17:40:00+00:00. Lists as JSON:\n"
            "tubs='[\"T1\",\"T2\"]'.\n",
    .options = {{"--force", NULL, "write it although a check says no"},
                {"--check", NULL, "only check it, write nothing"}},
    .examples = {"knockbox log reading place=freezer temp_c=-18.5",
                 "knockbox log note text='new roll of labels'",
                 "knockbox log handover run=R-12 tubs='[\"T1\",\"T2\"]' --json"},
    .least_args = 1,
    .most_args = 500,
    .run = run,
};
