/* cmd_freezer.c - `knockbox freezer`: the tubs that are there, oldest date first. */
#include <stdio.h>
#include <string.h>
#include "client/ask.h"
#include "client/show.h"
#include "client/writer.h"
#include "proto/when.h"

static const struct column columns[] = {
    {"tub", "tub", CELL_TEXT, 16},      {"coffee", "coffee", CELL_TEXT, 14},
    {"net_g", "grounds", CELL_MASS, 0}, {"frozen", "frozen", CELL_WHEN, 0},
    {"use_by", "use by", CELL_DATE, 0}, {"note", "note", CELL_TEXT, 0},
};

/* For programs every member is a column. */
static const struct column csv_columns[] = {
    {"tub", "", CELL_TEXT, 0},    {"site", "", CELL_TEXT, 0},     {"from_site", "", CELL_TEXT, 0},
    {"coffee", "", CELL_TEXT, 0}, {"net_g", "", CELL_TEXT, 0},    {"frozen", "", CELL_TEXT, 0},
    {"age_d", "", CELL_TEXT, 0},  {"warm_min", "", CELL_TEXT, 0}, {"use_by", "", CELL_TEXT, 0},
    {"place", "", CELL_TEXT, 0},  {"state", "", CELL_TEXT, 0},    {"run", "", CELL_TEXT, 0},
};

static const char *
member(const json_t *tub, const char *name)
{
    const char *text = json_string_value(json_object_get(tub, name));
    return text != NULL ? text : "";
}

/* "goes with Thursday's van" */
static void
note_van(const json_t *tub, char *note, size_t size)
{
    char day[48];
    int32_t number;
    if (day_parse(member(tub, "goes_on"), &number))
        (void)snprintf(note, size, "goes with %.*s's van",
                       (int)strcspn(show_long_date(number, day), " "), day);
}

/* What a person should know of the tub, in a few words. */
static void
make_note(json_t *tub, const char *today, bool one_site)
{
    char note[128] = "";
    const char *state = member(tub, "state"), *use_by = member(tub, "use_by");
    if (strcmp(state, "frozen") != 0 && strcmp(state, "received") != 0)
        (void)snprintf(note, sizeof note, "%s", state);
    else if (use_by[0] != '\0' && strncmp(use_by, today, 10) < 0)
        (void)snprintf(note, sizeof note, "past its date");
    else if (json_is_true(json_object_get(tub, "warm_over")))
        (void)snprintf(note, sizeof note, "stood warm too long");
    else if (member(tub, "goes_on")[0] != '\0')
        note_van(tub, note, sizeof note);
    else if (!one_site)
        (void)snprintf(note, sizeof note, "%s", member(tub, "site"));
    (void)json_object_set_new(tub, "note", json_string(note));
}

static void
print_text(struct writer *writer, json_t *answer)
{
    json_t *tubs = json_object_get(answer, "tubs");
    const char *site = json_string_value(json_object_get(answer, "site"));
    const char *now = json_string_value(json_object_get(answer, "now"));
    char title[128], when[32], mass[32];
    int64_t total = 0;
    size_t n = json_array_size(tubs);
    for (size_t i = 0; i < n; i++) {
        make_note(json_array_get(tubs, i), now != NULL ? now : "", site != NULL);
        total += json_integer_value(json_object_get(json_array_get(tubs, i), "net_g"));
    }
    (void)snprintf(title, sizeof title, "Tubs in the freezer, %.64s",
                   site != NULL ? site : "all sites");
    writer_title(writer, title, now != NULL ? show_when(now, when) : "");
    writer_table(writer, columns, sizeof columns / sizeof columns[0], tubs);
    if (n == 0)
        writer_line(writer, "No tub is there.");
    else
        writer_line(writer, "%zu %s, %s.", n, n == 1 ? "tub" : "tubs", show_mass(total, mass));
}

static const struct list list = {"tubs", csv_columns, sizeof csv_columns / sizeof csv_columns[0],
                                 print_text};

static enum err
run(const struct given *given, struct err_text *why)
{
    struct question question = {.word = "freezer"};
    json_t *answer = NULL;
    question_arg(&question, "site", given_value(given, "--site"));
    question_arg(&question, "place", given_value(given, "--place"));
    question_arg(&question, "all", given_flag(given, "--all") ? "1" : NULL);
    enum err e = ask_once(given, &question, &answer, why);
    if (e == ERR_OK)
        writer_list(given->output, answer, &list);
    json_decref(answer);
    return e;
}

const struct command command_freezer = {
    .word = "freezer",
    .words = "the tubs that are there, oldest date first",
    .usage = "[--site SITE] [--place PLACE] [--all]",
    .more = "",
    .options = {{"--site", "SITE", "one site; a hub shows all"},
                {"--place", "PLACE", "one freezer"},
                {"--all", NULL, "also tubs that are used up or thrown away"}},
    .examples = {"knockbox freezer", "knockbox freezer --site quayside --csv"},
    .run = run,
};
