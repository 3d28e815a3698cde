/* cmd_verify.c - `knockbox verify`: every chain against its hashes. */
#include <stdio.h>
#include "client/ask.h"
#include "client/writer.h"

static enum err
run(const struct given *given, struct err_text *why)
{
    struct question question = {.word = "verify"};
    struct writer writer;
    json_t *answer = NULL;
    enum err e = ask_once(given, &question, &answer, why);
    static const struct column columns[] = {{"chains", "chains", CELL_COUNT, 0},
                                            {"records", "records", CELL_COUNT, 0},
                                            {"broken", "broken", CELL_TEXT, 0}};
    writer_init(&writer, given->output, stdout);
    if (answer != NULL && given->output == OUTPUT_CSV) {
        json_t *rows = json_pack("[O]", answer);
        writer_table(&writer, columns, 3, rows);
        json_decref(rows);
    } else if (answer != NULL && (given->output == OUTPUT_JSON || !given->quiet)) {
        writer_answer(&writer, answer);
        writer_line(&writer, "%lld records in %lld chains checked: %s.",
                    (long long)json_integer_value(json_object_get(answer, "records")),
                    (long long)json_integer_value(json_object_get(answer, "chains")),
                    e == ERR_OK ? "every link holds" : "a link is broken");
    }
    json_decref(answer);
    return e;
}

const struct command command_verify = {
    .word = "verify",
    .words = "check every chain of records",
    .usage = "",
    .more = "",
    .examples = {"knockbox verify", "knockbox verify --json"},
    .run = run,
};
