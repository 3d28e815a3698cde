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

static const struct column base_columns[] = {
    {"figure", "figure", CELL_TEXT, 0},         {"unit", "in", CELL_TEXT, 0},
    {"first", "first closed", CELL_TEXT, 0},    {"now", "as it stands", CELL_TEXT, 0},
    {"change_pct", "moved by %", CELL_TEXT, 0},
};

/* For people; scripts have `base_year` in the JSON. */
static void
print_base_year(struct writer *writer, const json_t *base)
{
    size_t i;
    json_t *figure, *figures = json_object_get(base, "figures");
    if (!json_is_object(base))
        return;
    writer_line(writer, "Base year %s to %s, computed anew beyond %s %%:",
                json_string_value(json_object_get(base, "first")),
                json_string_value(json_object_get(base, "last")),
                json_string_value(json_object_get(base, "threshold_pct")));
    writer_table(writer, base_columns, sizeof base_columns / sizeof base_columns[0], figures);
    json_array_foreach(figures, i, figure)
    {
        if (json_is_true(json_object_get(figure, "over")))
            writer_line(writer, "%s has moved too far: the base year is to be computed anew.",
                        json_string_value(json_object_get(figure, "figure")));
    }
    if (json_integer_value(json_object_get(base, "missing")) > 0)
        writer_line(writer, "%lld of its months are not closed, or were closed without figures.",
                    (long long)json_integer_value(json_object_get(base, "missing")));
}

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
        if (given->output == OUTPUT_TEXT)
            print_base_year(&writer, json_object_get(answer, "base_year"));
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
