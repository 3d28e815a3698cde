/* cmd_period.c - `knockbox period`: which months are closed; close or restate one. */
#include <stdio.h>
#include <string.h>
#include "client/ask.h"
#include "client/writer.h"

static const struct column columns[] = {
    {"month", "month", CELL_TEXT, 0},         {"status", "status", CELL_TEXT, 0},
    {"restatement", "number", CELL_COUNT, 0}, {"held", "held", CELL_WHEN, 0},
    {"edition", "factors", CELL_TEXT, 0},     {"reason", "reason", CELL_TEXT, 0},
};

static void
print_answer(const struct given *given, const char *act, const json_t *answer)
{
    struct writer writer;
    const json_t *months = json_object_get(answer, "months");
    writer_init(&writer, given->output, stdout);
    writer_answer(&writer, answer);
    if (months != NULL) {
        writer_table(&writer, columns, sizeof columns / sizeof columns[0], months);
        if (json_array_size(months) == 0)
            writer_line(&writer, "No month is closed yet.");
    } else if (!given->quiet) {
        writer_line(&writer, "%s is %s, number %lld in the hub's log.",
                    json_string_value(json_object_get(answer, "month")),
                    strcmp(act, "close") == 0 ? "closed" : "restated",
                    (long long)json_integer_value(json_object_get(answer, "seq")));
    }
}

static enum err
run(const struct given *given, struct err_text *why)
{
    struct question question = {.word = "period"};
    const char *act = given->n_args > 0 ? given->args[0] : "show";
    json_t *answer = NULL;
    question_arg(&question, "do", act);
    question_arg(&question, "month", given->n_args > 1 ? given->args[1] : NULL);
    question_arg(&question, "reason", given_value(given, "--reason"));
    question_arg(&question, "edition", given_value(given, "--edition"));
    question_arg(&question, "assured_by", given_value(given, "--assured-by"));
    enum err e = ask_once(given, &question, &answer, why);
    if (e == ERR_OK)
        print_answer(given, act, answer);
    json_decref(answer);
    return e;
}

const struct command command_period = {
    .word = "period",
    .words = "which months are closed; close or restate one",
    .usage = "[show | close YYYY-MM | restate YYYY-MM]",
    .more = "A month is closed once, after the one before, and not before it is over.\n"
            "What comes later is listed as late; restate takes it in, with a reason.\n",
    .options = {{"--reason", "TEXT", "why a closed month is computed again"},
                {"--edition", "EDITION", "emission factors, such as UK-2025"},
                {"--assured-by", "NAME", "who has looked at it"}},
    .examples = {"knockbox period close 2026-03 --assured-by 'A. Auditor'",
                 "knockbox period restate 2026-03 --reason 'a café was late'"},
    .most_args = 2,
    .run = run,
};
