/* cmd_outbox.c - `knockbox outbox`: what is to be delivered; cancel one, try one again. */
#include <stdio.h>
#include <string.h>
#include "client/ask.h"
#include "client/writer.h"

static const struct column job_columns[] = {
    {"id", "number", CELL_COUNT, 0},      {"what", "what", CELL_TEXT, 0},
    {"target", "to", CELL_TEXT, 0},       {"state", "state", CELL_TEXT, 0},
    {"attempts", "tries", CELL_COUNT, 0}, {"next_try", "next try", CELL_WHEN, 0},
    {"done", "ended", CELL_WHEN, 0},      {"said", "why", CELL_TEXT, 0},
};

static const struct column schedule_columns[] = {
    {"schedule", "schedule", CELL_TEXT, 0},
    {"next", "next", CELL_WHEN, 0},
    {"month", "month", CELL_TEXT, 0},
    {"as", "as", CELL_TEXT, 0},
    {"to", "to", CELL_TEXT, 0},
};

static void
print_all(struct writer *writer, const json_t *answer)
{
    const json_t *jobs = json_object_get(answer, "jobs");
    const json_t *schedules = json_object_get(answer, "schedules");
    writer_table(writer, job_columns, sizeof job_columns / sizeof job_columns[0], jobs);
    if (json_array_size(jobs) == 0)
        writer_line(writer, "The outbox is empty.");
    if (json_array_size(schedules) == 0)
        return;
    writer_title(writer, "Next", "");
    writer_table(writer, schedule_columns, sizeof schedule_columns / sizeof schedule_columns[0],
                 schedules);
}

static enum err
run(const struct given *given, struct err_text *why)
{
    struct question question = {.word = "outbox"};
    struct writer writer;
    const char *act = given->n_args > 0 ? given->args[0] : "show";
    json_t *answer = NULL;
    question_arg(&question, "do", act);
    question_arg(&question, "id", given->n_args > 1 ? given->args[1] : NULL);
    enum err e = ask_once(given, &question, &answer, why);
    if (e != ERR_OK)
        return e;
    writer_init(&writer, given->output, stdout);
    writer_answer(&writer, answer);
    if (json_object_get(answer, "jobs") != NULL)
        print_all(&writer, answer);
    else if (!given->quiet)
        writer_line(&writer, "Number %lld: %s.",
                    (long long)json_integer_value(json_object_get(answer, "id")),
                    json_string_value(json_object_get(answer, "done")));
    json_decref(answer);
    return ERR_OK;
}

const struct command command_outbox = {
    .word = "outbox",
    .words = "what is to be delivered; cancel one, try one again",
    .usage = "[show | cancel NUMBER | retry NUMBER]",
    .more = "Reports and alerts on their way to targets of the hub's delivery.conf.\n"
            "What was sent is never sent again.\n",
    .examples = {"knockbox outbox", "knockbox outbox cancel 12   # before it goes out",
                 "knockbox outbox retry 12    # now, after the reason was mended"},
    .most_args = 2,
    .run = run,
};
