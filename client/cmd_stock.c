/* cmd_stock.c - `knockbox stock`: ingredients, batches under way, bottles, waste that waits. */
#include <stdio.h>
#include <string.h>
#include "client/ask.h"
#include "client/writer.h"

enum {
    COLUMNS_MOST = 8
};

static const struct part {
    const char *name, *title, *none;
    struct column columns[COLUMNS_MOST];
} parts[] = {
    {"ingredients",
     "Ingredients",
     "No ingredients are there.",
     {{"lot", "lot", CELL_TEXT, 18},
      {"item", "item", CELL_TEXT, 16},
      {"left_g", "left", CELL_MASS, 0},
      {"best_before", "use by", CELL_DATE, 0},
      {"supplier", "from", CELL_TEXT, 24}}},
    {"batches",
     "Batches under way",
     "No batch is under way.",
     {{"batch", "batch", CELL_TEXT, 16},
      {"recipe", "recipe", CELL_TEXT, 14},
      {"vessel", "vessel", CELL_TEXT, 10},
      {"mixed", "mixed", CELL_WHEN, 0},
      {"grounds_g", "grounds", CELL_MASS, 0},
      {"stage", "stage", CELL_TEXT, 0},
      {"alcoholic", "alcohol", CELL_YES, 0}}},
    {"bottles",
     "Bottles",
     "No bottles are there.",
     {{"lot", "lot", CELL_TEXT, 16},
      {"product", "product", CELL_TEXT, 14},
      {"bottle_ml", "bottle", CELL_VOLUME, 0},
      {"site", "site", CELL_TEXT, 14},
      {"state", "state", CELL_TEXT, 0},
      {"count", "count", CELL_COUNT, 0},
      {"decision", "decision", CELL_TEXT, 0},
      {"alcoholic", "alcohol", CELL_YES, 0}}},
    {"waste",
     "Waste that waits",
     "No waste waits.",
     {{"site", "site", CELL_TEXT, 20},
      {"stream", "stream", CELL_TEXT, 20},
      {"waiting_g", "waiting", CELL_MASS, 0},
      {"since", "since", CELL_WHEN, 0}}},
};

enum {
    PARTS_N = sizeof parts / sizeof parts[0]
};

static size_t
columns_n(const struct part *part)
{
    size_t n = 0;
    while (n < COLUMNS_MOST && part->columns[n].key != NULL)
        n++;
    return n;
}

static void
print_part(struct writer *writer, const struct part *part, const json_t *answer)
{
    const json_t *rows = json_object_get(answer, part->name);
    writer_title(writer, part->title, "");
    writer_table(writer, part->columns, columns_n(part), rows);
    if (json_array_size(rows) == 0)
        writer_line(writer, "%s", part->none);
}

static const struct part *
find_part(const char *name)
{
    for (size_t i = 0; i < PARTS_N; i++)
        if (strcmp(parts[i].name, name) == 0)
            return &parts[i];
    return NULL;
}

static void
print_all(const struct given *given, const struct part *only, const json_t *answer)
{
    struct writer writer;
    writer_init(&writer, given->output, stdout);
    if (only != NULL && given->output == OUTPUT_JSON) {
        writer_answer(&writer, json_object_get(answer, only->name));
        return;
    }
    writer_answer(&writer, answer);
    for (size_t i = 0; i < PARTS_N; i++) {
        if (only != NULL && only != &parts[i])
            continue;
        if (i > 0 && only == NULL)
            writer_line(&writer, "%s", "");
        print_part(&writer, &parts[i], answer);
    }
}

static enum err
run(const struct given *given, struct err_text *why)
{
    struct question question = {.word = "stock"};
    json_t *answer = NULL;
    const struct part *only = given->n_args > 0 ? find_part(given->args[0]) : NULL;
    if (given->n_args > 0 && only == NULL)
        return err_set(ERR_USAGE, why, "\"%.40s\": expected ingredients, batches, bottles or waste",
                       given->args[0]);
    if (only == NULL && given->output == OUTPUT_CSV)
        return err_set(ERR_USAGE, why,
                       "CSV has one table: say ingredients, batches, bottles or waste");
    enum err e = ask_once(given, &question, &answer, why);
    if (e == ERR_OK)
        print_all(given, only, answer);
    json_decref(answer);
    return e;
}

const struct command command_stock = {
    .word = "stock",
    .words = "ingredients, batches, bottles and waste that waits",
    .usage = "[ingredients | batches | bottles | waste]",
    .more = "",
    .examples = {"knockbox stock", "knockbox stock ingredients --csv"},
    .most_args = 1,
    .run = run,
};
