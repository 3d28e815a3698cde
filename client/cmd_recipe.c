/* cmd_recipe.c - `knockbox recipe`: the recipe book. */
#include <stdio.h>
#include <string.h>
#include "client/ask.h"
#include "client/recipe_print.h"
#include "client/writer.h"
#include "proto/nearest.h"

enum {
    WORDS_MOST = 14,
    NAME_ROOM = 32
};

/* What may be said as name=value; shared by all three. */
static const char *const names[] = {
    "product_ml", "product_g",    "grounds_g", "tubs",  "vessel",         "grounds",
    "sugar",      "spirit",       "coffee",    "notes", "target_abv_pct", "target_sugar_g_l",
    "market",     "moisture_pct",
};

enum {
    NAMES_N = sizeof names / sizeof names[0]
};

static const struct column card_columns[] = {
    {"input", "", CELL_TEXT, 0},  {"class", "", CELL_TEXT, 0},      {"parts", "", CELL_TEXT, 0},
    {"mass_g", "", CELL_TEXT, 0}, {"from", "", CELL_TEXT, 0},       {"short_g", "", CELL_TEXT, 0},
    {"notes", "", CELL_LIST, 0},  {"cost_minor", "", CELL_TEXT, 0},
};

static const struct column suit_columns[] = {
    {"kind", "", CELL_TEXT, 0},    {"code", "", CELL_TEXT, 0},    {"name", "", CELL_TEXT, 0},
    {"matches", "", CELL_TEXT, 0}, {"matched", "", CELL_LIST, 0}, {"left_g", "", CELL_TEXT, 0},
};

static enum err
no_such_name(const char *text, struct err_text *why)
{
    struct nearest nearest = {text, NULL, 0};
    for (size_t i = 0; i < NAMES_N; i++)
        nearest_offer(&nearest, names[i]);
    if (nearest.best != NULL)
        return err_set(ERR_USAGE, why, "recipe takes no \"%.40s\": did you mean %s?", text,
                       nearest.best);
    return err_set(ERR_USAGE, why, "recipe takes no \"%.40s\": see knockbox recipe --help", text);
}

/* "product_ml=5000" */
static enum err
add_named(struct question *question, const char *text, struct err_text *why)
{
    size_t len = strcspn(text, "=");
    char name[NAME_ROOM];
    (void)snprintf(name, sizeof name, "%.*s", len < NAME_ROOM ? (int)len : NAME_ROOM - 1, text);
    for (size_t i = 0; i < NAMES_N; i++) {
        if (strcmp(names[i], name) != 0)
            continue;
        for (size_t k = 0; k < question->n_args; k++)
            if (strcmp(question->args[k].name, names[i]) == 0)
                return err_set(ERR_USAGE, why, "%s is given twice", name);
        question_arg(question, names[i], text + len + 1);
        return ERR_OK;
    }
    return no_such_name(name, why);
}

/* Words without "=" are the code of a recipe; there is at most one. */
static enum err
read_words(const struct given *given, struct question *question, bool *out_has_code,
           struct err_text *why)
{
    enum err e = ERR_OK;
    *out_has_code = false;
    for (size_t i = 1; i < given->n_args && e == ERR_OK; i++) {
        const char *word = given->args[i];
        if (strchr(word, '=') != NULL)
            e = add_named(question, word, why);
        else if (*out_has_code)
            e = err_set(ERR_USAGE, why, "\"%.40s\": one recipe at a time", word);
        else
            question_arg(question, "code", word);
        *out_has_code = *out_has_code || strchr(word, '=') == NULL;
    }
    return e;
}

static void
print(const struct given *given, bool suits, json_t *answer)
{
    struct writer writer;
    writer_init(&writer, given->output, stdout);
    if (given->output == OUTPUT_JSON) {
        writer_answer(&writer, answer);
    } else if (given->output == OUTPUT_CSV) {
        json_t *rows = suits ? recipe_suit_rows(answer) : recipe_card_rows(answer);
        if (suits)
            writer_table(&writer, suit_columns, sizeof suit_columns / sizeof suit_columns[0], rows);
        else
            writer_table(&writer, card_columns, sizeof card_columns / sizeof card_columns[0], rows);
        json_decref(rows);
    } else if (suits) {
        recipe_print_suits(&writer, answer);
    } else {
        recipe_print_card(&writer, answer);
    }
}

static enum err
run(const struct given *given, struct err_text *why)
{
    const char *act = given->args[0];
    struct question question = {.word = "recipe"};
    bool suits = strcmp(act, "suggest") == 0, has_code = false;
    json_t *answer = NULL;
    if (!suits && strcmp(act, "show") != 0 && strcmp(act, "scale") != 0)
        return err_set(ERR_USAGE, why, "\"%.40s\": expected show, scale or suggest", act);
    question_arg(&question, "do", act);
    enum err e = read_words(given, &question, &has_code, why);
    if (e == ERR_OK && !suits && !has_code)
        e = err_set(ERR_USAGE, why, "which recipe? knockbox recipe %s CODE", act);
    if (e == ERR_OK)
        e = ask_once(given, &question, &answer, why);
    if (e == ERR_OK)
        print(given, suits, answer);
    json_decref(answer);
    return e;
}

const struct command command_recipe = {
    .word = "recipe",
    .words = "the recipe book: what to weigh, what suits a flavour",
    .usage = "show | scale | suggest [CODE] [name=value ...]",
    .more = "show     the card on a kilogram of grounds\n"
            "scale    for the tubs at hand, oldest first, or for\n"
            "         product_ml= product_g= grounds_g= or tubs=T1,T2; vessel=\n"
            "suggest  what in stock has the notes=chocolate,orange, or those of\n"
            "         the recipe\n"
            "Exchanged: sugar= spirit= coffee= an item, grounds= a coffee.\n"
            "Also target_abv_pct= target_sugar_g_l= moisture_pct= market=eu|uk|us.\n"
            "Local code and licensed practice come first.\n",
    .examples = {"knockbox recipe scale liqueur product_ml=5000",
                 "knockbox recipe scale liqueur tubs=Q-0303-1,Q-0303-2 spirit=rum40",
                 "knockbox recipe suggest notes=chocolate,orange"},
    .least_args = 1,
    .most_args = 2 + WORDS_MOST,
    .run = run,
};
