/* cmd_tub.c - `knockbox tub`: one tub, by options; what is left out is as with the last one. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "client/amount.h"
#include "client/ask.h"
#include "client/close_sheet.h"
#include "client/write_lines.h"
#include "client/written.h"
#include "client/writer.h"

static enum err
set_mass(json_t *line, const char *name, const char *option, const char *text, struct err_text *why)
{
    int64_t grams = 0;
    enum err e = amount_mass(option, text, &grams, why);
    if (e == ERR_OK)
        (void)json_object_set_new(line, name, json_integer(grams));
    return e;
}

static enum err
set_time(json_t *line, const char *name, const char *option, const char *text,
         const struct close_hints *hints, struct err_text *why)
{
    struct amount_day day = {hints->zone, hints->today, hints->start_min, hints->now_ms};
    char printed[40];
    int64_t ms = 0;
    enum err e = amount_time(option, text, &day, &ms, why);
    if (e == ERR_OK)
        (void)json_object_set_new(line, name, json_string(amount_print(hints->zone, ms, printed)));
    return e;
}

static enum err
set_text(json_t *line, const char *name, const char *option, const char *text, struct err_text *why)
{
    if (text == NULL || text[0] == '\0')
        return err_set(ERR_USAGE, why, "say %s: no tub before this one tells it", option);
    if (json_object_set_new(line, name, json_string(text)) != 0)
        return err_input(why, option, NULL, "text in UTF-8");
    return ERR_OK;
}

static const char *
or_else(const char *given, const char *last)
{
    return given != NULL ? given : last;
}

static const char *
freezer_of(const struct close_hints *hints)
{
    return hints->place[0] == '\0' && hints->freezers.n > 0 ? hints->freezers.list[0].code
                                                            : hints->place;
}

static enum err
set_box(json_t *line, const struct given *given, const struct close_hints *hints,
        struct err_text *why)
{
    const char *box = given_value(given, "--box");
    if (box != NULL)
        return set_mass(line, "tare_g", "--box", box, why);
    if (hints->tare_g < 0)
        return err_set(ERR_USAGE, why, "say --box: no tub before this one tells it");
    (void)json_object_set_new(line, "tare_g", json_integer(hints->tare_g));
    return ERR_OK;
}

static enum err
make_line(const struct given *given, const struct close_hints *hints, json_t *line,
          struct err_text *why)
{
    const char *gross = given_value(given, "--gross"), *knock = given_value(given, "--knock");
    if (gross == NULL || knock == NULL)
        return err_set(ERR_USAGE, why, "say --gross WEIGHT and --knock TIME");
    enum err e =
        set_text(line, "tub", "the label", given->n_args > 0 ? given->args[0] : hints->label, why);
    if (e == ERR_OK)
        e = set_text(line, "coffee", "--coffee",
                     or_else(given_value(given, "--coffee"), hints->coffee), why);
    if (e == ERR_OK)
        e = set_text(line, "origin", "--origin",
                     or_else(given_value(given, "--origin"), "espresso"), why);
    if (e == ERR_OK)
        e = set_text(line, "place", "--place",
                     or_else(given_value(given, "--place"), freezer_of(hints)), why);
    if (e == ERR_OK)
        e = set_text(line, "method", "--method", or_else(given_value(given, "--method"), "weighed"),
                     why);
    if (e == ERR_OK)
        e = set_mass(line, "gross_g", "--gross", gross, why);
    if (e == ERR_OK)
        e = set_box(line, given, hints, why);
    if (e == ERR_OK)
        e = set_time(line, "first_knock", "--knock", knock, hints, why);
    if (e == ERR_OK)
        e = set_time(line, "frozen", "--frozen", or_else(given_value(given, "--frozen"), "now"),
                     hints, why);
    if (e == ERR_OK && given_value(given, "--site") != NULL)
        e = set_text(line, "site", "--site", given_value(given, "--site"), why);
    if (e == ERR_OK && given_value(given, "--by") != NULL)
        e = set_text(line, "by", "--by", given_value(given, "--by"), why);
    (void)json_object_set(line, "at", json_object_get(line, "frozen"));
    return e;
}

static void
print_answer(const struct given *given, const json_t *answer, const json_t *line)
{
    char words[WRITTEN_TEXT];
    struct writer writer;
    writer_init(&writer, given->output, stdout);
    if (given->output == OUTPUT_TEXT && given->quiet)
        return;
    writer_answer(&writer, json_array_get(json_object_get(answer, "records"), 0));
    writer_line(&writer, "%s Tub %s.", written_words(answer, words),
                json_string_value(json_object_get(line, "tub")));
}

static enum err
write_tub(struct wire *wire, const struct given *given, json_t *line, struct err_text *why)
{
    struct question question = {.word = "hints"};
    struct close_hints hints;
    json_t *answer = NULL;
    char *text = NULL;
    question_arg(&question, "site", given_value(given, "--site"));
    enum err e = ask(wire, &question, NULL, NULL, &answer, why);
    if (e == ERR_OK)
        e = close_hints_read(answer, &hints, why);
    json_decref(answer);
    answer = NULL;
    if (e == ERR_OK)
        e = make_line(given, &hints, line, why);
    if (e == ERR_OK && (text = json_dumps(line, JSON_COMPACT)) == NULL)
        e = err_set(ERR_MEM, why, "no memory for the tub");
    if (e == ERR_OK)
        e = write_lines_on(wire, (const char *const *)&text, 1, "log",
                           given_flag(given, "--force") ? WRITE_FORCE : 0, &answer, why);
    if (e == ERR_OK)
        print_answer(given, answer, line);
    json_decref(answer);
    free(text);
    return e;
}

static enum err
run(const struct given *given, struct err_text *why)
{
    struct wire *wire = NULL;
    json_t *line = json_pack("{s:s}", "kind", "tub");
    enum err e = wire_open(given, &wire, why);
    if (e == ERR_OK)
        e = write_tub(wire, given, line, why);
    wire_close(wire);
    json_decref(line);
    return e;
}

const struct command command_tub = {
    .word = "tub",
    .words = "write one tub of grounds",
    .usage = "[LABEL] --gross WEIGHT --knock TIME",
    .more = "What is left out is as with the last tub of this site; the label is the\n"
            "next on the roll.\n",
    .options = {{"--gross", "WEIGHT", "box and grounds, such as 3.62kg"},
                {"--box", "WEIGHT", "the empty box"},
                {"--knock", "TIME", "first knock-out, such as 17:40"},
                {"--frozen", "TIME", "into the freezer; now when left out"},
                {"--coffee", "CODE", "which coffee"},
                {"--origin", "ORIGIN", "espresso or filter"},
                {"--place", "PLACE", "which freezer"},
                {"--method", "METHOD", "weighed, counted or estimated"},
                {"--site", "SITE", "at the hub: a site kept on paper"},
                {"--by", "INITIALS", "who signs"},
                {"--force", NULL, "write it although a check says no"}},
    .examples = {"knockbox tub --gross 3.62kg --knock 17:40",
                 "knockbox tub Q-0303-2 --gross 2.9kg --knock 19:05 --json"},
    .most_args = 1,
    .run = run,
};
