/* cmd_trace.c - `knockbox trace`: one step back and every step forward from a code. */
#include <stdio.h>
#include "client/ask.h"
#include "client/show.h"
#include "client/writer.h"

static const struct column back[] = {
    {"kind", "back", CELL_TEXT, 8},          {"code", "code", CELL_TEXT, 18},
    {"mass_g", "mass", CELL_MASS, 0},        {"site", "site", CELL_TEXT, 14},
    {"supplier", "supplier", CELL_TEXT, 20},
};
static const struct column forward[] = {
    {"lot", "forward", CELL_TEXT, 20},
    {"site", "site", CELL_TEXT, 20},
    {"count", "bottles", CELL_COUNT, 0},
    {"state", "state", CELL_TEXT, 12},
};

static const char *
text_of(const json_t *answer, const char *name, char out[64])
{
    return cell_raw(json_object_get(answer, name), out, 64);
}

static void
print_text(struct writer *writer, const json_t *answer)
{
    char code[64], made[64], located[64], pct[64], title[96];
    const json_t *unlocated = json_object_get(answer, "unlocated");
    (void)snprintf(title, sizeof title, "Trace of %s", text_of(answer, "code", code));
    writer_title(writer, title, "");
    writer_table(writer, back, sizeof back / sizeof back[0], json_object_get(answer, "back"));
    writer_table(writer, forward, sizeof forward / sizeof forward[0],
                 json_object_get(answer, "forward"));
    writer_line(writer, "%s bottles made, %s located (%s %%).", text_of(answer, "made", made),
                text_of(answer, "located", located), text_of(answer, "accounted_pct", pct));
    for (size_t i = 0; i < json_array_size(unlocated); i++) {
        char lot[64], count[64];
        const json_t *one = json_array_get(unlocated, i);
        writer_line(writer, "Not located: %s of lot %s.", text_of(one, "count", count),
                    text_of(one, "lot", lot));
    }
}

static enum err
run(const struct given *given, struct err_text *why)
{
    struct question question = {.word = "trace"};
    struct writer writer;
    json_t *answer = NULL;
    question_arg(&question, "code", given->args[0]);
    enum err e = ask_once(given, &question, &answer, why);
    writer_init(&writer, given->output, stdout);
    if (e == ERR_OK && given->output == OUTPUT_CSV)
        writer_table(&writer, forward, sizeof forward / sizeof forward[0],
                     json_object_get(answer, "forward"));
    else if (e == ERR_OK && given->output == OUTPUT_JSON)
        writer_answer(&writer, answer);
    else if (e == ERR_OK)
        print_text(&writer, answer);
    json_decref(answer);
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
