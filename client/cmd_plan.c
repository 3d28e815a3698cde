/* cmd_plan.c - `knockbox plan`: what the kitchen does in the days ahead. */
#include <errno.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "client/ask.h"
#include "client/fail.h"
#include "client/plan/plan_solve.h"
#include "client/show.h"
#include "client/writer.h"
#include "daemon/plan/child.h"
#include "daemon/plan/plan_file.h"
#include "daemon/plan/problem_file.h"
#include "proto/when.h"

enum {
    CELL = 160
};

/* ---- printing a plan */

static const struct column columns[] = {
    {"date", "", CELL_TEXT, 0},
    {"thaw_words", "thaw", CELL_TEXT, 0},
    {"mix_words", "mix", CELL_TEXT, 22},
    {"strains", "strain", CELL_TEXT, 0},
    {"bottle_words", "bottle", CELL_TEXT, 0},
    {"van_words", "van", CELL_TEXT, 0},
};

static const struct column csv_columns[] = {
    {"day", "", CELL_TEXT, 0},          {"thaw_words", "", CELL_TEXT, 0},
    {"mix_words", "", CELL_TEXT, 0},    {"straining", "", CELL_TEXT, 0},
    {"bottle_words", "", CELL_TEXT, 0}, {"van_words", "", CELL_TEXT, 0},
};

static const char *
text_of(const json_t *object, const char *name)
{
    const char *text = json_string_value(json_object_get(object, name));
    return text != NULL ? text : "";
}

static size_t
count_tubs(const json_t *list)
{
    size_t n = 0;
    for (size_t i = 0; i < json_array_size(list); i++)
        n += json_array_size(json_object_get(json_array_get(list, i), "tubs"));
    return n;
}

static void
put_words(json_t *day, const char *name, const char *words)
{
    (void)json_object_set_new(day, name, words[0] != '\0' ? json_string(words) : json_string("-"));
}

static void
put_tubs(json_t *day, const char *from, const char *name)
{
    char words[CELL] = "";
    size_t n = count_tubs(json_object_get(day, from));
    if (n > 0)
        (void)snprintf(words, sizeof words, "%zu %s", n, n == 1 ? "tub" : "tubs");
    put_words(day, name, words);
}

/* "liqueur-1 x2, syrup": names of a list with how often each stands in it. */
static void
put_names(json_t *day, const char *from, const char *key, const char *name)
{
    const json_t *list = json_object_get(day, from);
    char words[CELL] = "";
    size_t used = 0;
    for (size_t i = 0; i < json_array_size(list); i++) {
        const char *one = text_of(json_array_get(list, i), key);
        size_t times = 0;
        bool before = false;
        for (size_t k = 0; k < json_array_size(list); k++) {
            bool same = strcmp(one, text_of(json_array_get(list, k), key)) == 0;
            times += same;
            before = before || (same && k < i);
        }
        if (before || used >= sizeof words)
            continue;
        int n = times > 1 ? snprintf(words + used, sizeof words - used, "%s%.40s x%zu",
                                     used > 0 ? ", " : "", one, times)
                          : snprintf(words + used, sizeof words - used, "%s%.40s",
                                     used > 0 ? ", " : "", one);
        used += n > 0 ? (size_t)n : 0;
    }
    put_words(day, name, words);
}

static void
put_bottles(json_t *day)
{
    const json_t *list = json_object_get(day, "bottle");
    char words[CELL] = "", volume[32];
    int64_t ml = 0;
    for (size_t i = 0; i < json_array_size(list); i++)
        ml += json_integer_value(json_object_get(json_array_get(list, i), "ml"));
    if (json_array_size(list) > 0)
        (void)snprintf(words, sizeof words, "%s", show_volume(ml, volume));
    put_words(day, "bottle_words", words);
}

/* "Wed 4" */
static void
put_date(json_t *day)
{
    char words[48], date[CELL];
    int32_t number;
    if (!day_parse(text_of(day, "day"), &number))
        return;
    const char *rest = strchr(show_long_date(number, words), ' ');
    (void)snprintf(date, sizeof date, "%.3s%.*s", words,
                   rest != NULL ? (int)strcspn(rest + 1, " ") + 1 : 0, rest != NULL ? rest : "");
    (void)json_object_set_new(day, "date", json_string(date));
}

static void
prepare_day(json_t *day)
{
    char straining[32] = "";
    int64_t n = json_integer_value(json_object_get(day, "straining"));
    if (n > 0)
        (void)snprintf(straining, sizeof straining, "%lld", (long long)n);
    put_date(day);
    put_tubs(day, "thaw", "thaw_words");
    put_names(day, "mix", "recipe", "mix_words");
    put_words(day, "strains", straining);
    put_bottles(day);
    put_names(day, "van", "route", "van_words");
}

static bool
holds(const json_t *list, const char *text)
{
    for (size_t i = 0; i < json_array_size(list); i++)
        if (strcmp(json_string_value(json_array_get(list, i)), text) == 0)
            return true;
    return false;
}

/* Adds the recipes of a list of batches that are made on spirit, each once. */
static void
add_alcoholic(json_t *recipes, const json_t *batches)
{
    for (size_t i = 0; i < json_array_size(batches); i++) {
        const json_t *batch = json_array_get(batches, i);
        const char *recipe = text_of(batch, "recipe");
        if (json_is_true(json_object_get(batch, "alcoholic")) && !holds(recipes, recipe))
            (void)json_array_append_new(recipes, json_string(recipe));
    }
}

static void
print_alcoholic(struct writer *writer, const json_t *days)
{
    json_t *recipes = json_array();
    char words[SHOW_TEXT];
    for (size_t d = 0; d < json_array_size(days); d++) {
        add_alcoholic(recipes, json_object_get(json_array_get(days, d), "mix"));
        add_alcoholic(recipes, json_object_get(json_array_get(days, d), "bottle"));
    }
    if (json_array_size(recipes) > 0)
        writer_line(writer, "Alcoholic, made on spirit: %s.",
                    cell_shown(recipes, CELL_LIST, words, sizeof words));
    json_decref(recipes);
}

static void
print_purchases(struct writer *writer, const json_t *buy)
{
    char mass[32], date[32];
    for (size_t i = 0; i < json_array_size(buy); i++) {
        const json_t *one = json_array_get(buy, i);
        writer_line(writer, "Buy %s of %s by %s.",
                    show_mass(json_integer_value(json_object_get(one, "mass_g")), mass),
                    text_of(one, "item"), show_date(text_of(one, "by"), date));
    }
}

static void
print_lost(struct writer *writer, const json_t *lost)
{
    char mass[32];
    int64_t g = 0;
    for (size_t i = 0; i < json_array_size(lost); i++)
        g += json_integer_value(json_object_get(json_array_get(lost, i), "mass_g"));
    if (g == 0)
        writer_line(writer, "Will be lost: nothing.");
    else
        writer_line(writer, "Will be lost: %zu %s past their date, %s.", json_array_size(lost),
                    json_array_size(lost) == 1 ? "tub" : "tubs", show_mass(g, mass));
}

static void
print_text(struct writer *writer, json_t *view, bool all)
{
    char title[64], right[48], date[32];
    json_t *assumed = json_object_get(view, "assumed");
    (void)snprintf(title, sizeof title, "Kitchen plan %lld",
                   (long long)json_integer_value(json_object_get(view, "number")));
    const char *gap = text_of(view, "gap_pct");
    if (gap[0] != '\0')
        (void)snprintf(right, sizeof right, "%.1f %% from the best possible at most",
                       strtod(gap, NULL));
    else
        (void)snprintf(right, sizeof right, "from %.20s", show_date(text_of(view, "day"), date));
    writer_title(writer, title, right);
    writer_table(writer, columns, sizeof columns / sizeof columns[0],
                 json_object_get(view, "days"));
    print_alcoholic(writer, json_object_get(view, "days"));
    print_purchases(writer, json_object_get(view, "buy"));
    print_lost(writer, json_object_get(view, "lost"));
    if (!all && json_array_size(assumed) > 0)
        writer_line(writer,
                    "Where the catalogue is silent, %zu things were assumed: knockbox plan "
                    "show --assumed",
                    json_array_size(assumed));
    for (size_t i = 0; i < json_array_size(assumed) && all; i++)
        writer_line(writer, "Assumed: %s", json_string_value(json_array_get(assumed, i)));
}

static void
print_plan(const struct given *given, json_t *view)
{
    struct writer writer;
    json_t *days = json_object_get(view, "days");
    writer_init(&writer, given->output, stdout);
    if (given->output == OUTPUT_JSON) {
        writer_answer(&writer, view);
        return;
    }
    for (size_t i = 0; i < json_array_size(days); i++)
        prepare_day(json_array_get(days, i));
    if (given->output == OUTPUT_CSV)
        writer_table(&writer, csv_columns, sizeof csv_columns / sizeof csv_columns[0], days);
    else
        print_text(&writer, view, given_flag(given, "--assumed"));
}

/* ---- asking */

static enum err
ask_plan(const struct given *given, const char *act, const char *tubs_file, json_t **out_answer,
         struct err_text *why)
{
    struct question question = {.word = "plan"};
    question_arg(&question, "do", act);
    question_arg(&question, "days", given_value(given, "--days"));
    question_arg(&question, "tubs_file", tubs_file);
    return ask_once(given, &question, out_answer, why);
}

static enum err
show(const struct given *given, struct err_text *why)
{
    json_t *view = NULL;
    enum err e = ask_plan(given, "show", NULL, &view, why);
    if (e == ERR_OK)
        print_plan(given, view);
    json_decref(view);
    return e;
}

/* ---- making one: the hub poses the problem, the optimiser beside this program solves it, and
 * the hub checks the plan and publishes it. */

static enum err
parse_problem(const json_t *answer, struct problem **out_problem, struct err_text *why)
{
    const char *problem = text_of(answer, "problem"), *tubs = text_of(answer, "tubs");
    return problem_parse(problem, strlen(problem), tubs, strlen(tubs), out_problem, why);
}

static enum err
find_plan(const struct given *given, const struct problem *problem, struct child_result *out_result,
          struct err_text *why)
{
    const char *effort = given_value(given, "--effort");
    struct child_options options = {.program = given_value(given, "--solver"), .effort = 1};
    if (effort != NULL && (effort[0] < '0' || effort[0] > '9' || strlen(effort) > 2))
        return err_set(ERR_USAGE, why, "--effort %s: expected 0 to 99", effort);
    if (effort != NULL)
        options.effort = (int)strtol(effort, NULL, 10);
    enum err e = child_best_plan(problem, &options, out_result, why);
    if (e == ERR_OK && out_result->remark[0] != '\0' && !given->quiet)
        (void)fprintf(stderr, "knockbox: %s\n", out_result->remark);
    return e;
}

struct plan_text {
    const char *at;
};

static bool
next_line(void *owner, const char **out_text, size_t *out_len)
{
    struct plan_text *text = owner;
    if (*text->at == '\0')
        return false;
    *out_text = text->at;
    *out_len = strcspn(text->at, "\n");
    text->at += *out_len + (text->at[*out_len] == '\n');
    return true;
}

static enum err
put_plan(struct wire *wire, const struct given *given, const struct problem *problem,
         const struct child_result *result, json_t **out_view, struct err_text *why)
{
    struct question question = {.word = "plan"};
    char *text = NULL, bound[CHECK_TEXT_SIZE];
    size_t len = 0;
    FILE *f = open_memstream(&text, &len);
    if (f == NULL)
        return err_set(ERR_MEM, why, "no memory for the plan");
    plan_print(result->plan, problem, f);
    bool whole = fclose(f) == 0;
    check_text(result->bound, bound);
    question_arg(&question, "do", "put");
    question_arg(&question, "days", given_value(given, "--days"));
    question_arg(&question, "bound_cents", result->bound_known ? bound : NULL);
    struct plan_text lines = {text};
    enum err e = whole ? ask(wire, &question, next_line, &lines, out_view, why)
                       : err_set(ERR_MEM, why, "no memory for the plan");
    free(text);
    return e;
}

static enum err
make_on(struct wire *wire, const struct given *given, json_t **out_view, struct err_text *why)
{
    struct question question = {.word = "plan"};
    struct problem *problem = NULL;
    struct child_result result = {.plan = NULL};
    json_t *answer = NULL;
    question_arg(&question, "do", "problem");
    question_arg(&question, "days", given_value(given, "--days"));
    enum err e = ask(wire, &question, NULL, NULL, &answer, why);
    if (e == ERR_OK)
        e = parse_problem(answer, &problem, why);
    if (e == ERR_OK)
        e = find_plan(given, problem, &result, why);
    if (e == ERR_OK)
        e = put_plan(wire, given, problem, &result, out_view, why);
    plan_free(result.plan);
    problem_free(problem);
    json_decref(answer);
    return e;
}

static enum err
make(const struct given *given, struct err_text *why)
{
    struct wire *wire = NULL;
    json_t *view = NULL;
    enum err e = wire_open(given->at, given->key, &wire, why);
    if (e == ERR_OK)
        e = make_on(wire, given, &view, why);
    if (e == ERR_OK && (given->output != OUTPUT_TEXT || !given->quiet))
        print_plan(given, view);
    json_decref(view);
    wire_close(wire);
    return e;
}

static enum err
write_file(const char *path, const json_t *text, struct err_text *why)
{
    FILE *f = fopen(path, "we");
    if (f == NULL)
        return err_set(ERR_IO, why, "%s: %s", path, strerror(errno));
    (void)fputs(json_is_string(text) ? json_string_value(text) : "", f);
    if (fclose(f) != 0)
        return err_set(ERR_IO, why, "%s: %s", path, strerror(errno));
    return ERR_OK;
}

/* NAME.json has its tubs beside it in NAME.tubs.csv. */
static enum err
tubs_path(const char *out, char path[CELL * 4], struct err_text *why)
{
    size_t len = strlen(out);
    if (len > 5 && strcmp(out + len - 5, ".json") == 0)
        len -= 5;
    int n = snprintf(path, CELL * 4, "%.*s.tubs.csv", (int)len, out);
    return n > 0 && n < CELL * 4 ? ERR_OK : err_set(ERR_USAGE, why, "--out: a shorter name");
}

static enum err
save_problem(const struct given *given, struct err_text *why)
{
    const char *out = given_value(given, "--out");
    char tubs[CELL * 4];
    json_t *answer = NULL;
    if (out == NULL)
        return err_set(ERR_USAGE, why, "say where: knockbox plan problem --out FILE.json");
    enum err e = tubs_path(out, tubs, why);
    const char *slash = strrchr(tubs, '/');
    if (e == ERR_OK)
        e = ask_plan(given, "problem", slash != NULL ? slash + 1 : tubs, &answer, why);
    if (e == ERR_OK)
        e = write_file(out, json_object_get(answer, "problem"), why);
    if (e == ERR_OK)
        e = write_file(tubs, json_object_get(answer, "tubs"), why);
    const json_t *assumed = json_object_get(answer, "assumed");
    for (size_t i = 0; e == ERR_OK && !given->quiet && i < json_array_size(assumed); i++) {
        char line[400];
        (void)snprintf(line, sizeof line, "Assumed: %s",
                       json_string_value(json_array_get(assumed, i)));
        show_wrapped(stderr, line, 2);
    }
    json_decref(answer);
    return e;
}

/* Words after `solve`, with the options that it reads itself. */
static enum err
solve(const struct given *given, struct err_text *why)
{
    static const char *const passed[] = {"--out", "--effort", "--solver"};
    char *argv[16];
    int argc = 0;
    for (size_t i = 1; i < given->n_args && argc < 4; i++)
        argv[argc++] = (char *)(uintptr_t)given->args[i];
    for (size_t i = 0; i < 3; i++) {
        const char *value = given_value(given, passed[i]);
        if (value == NULL)
            continue;
        argv[argc++] = (char *)(uintptr_t)passed[i];
        argv[argc++] = (char *)(uintptr_t)value;
    }
    if (given->help)
        argv[argc++] = (char *)(uintptr_t) "--help";
    if (given->output == OUTPUT_CSV)
        return err_set(ERR_USAGE, why, "plan solve prints text or JSON, not CSV");
    int status = plan_solve_command(argc, argv, given->output == OUTPUT_JSON, stdout, stderr);
    return status == 0 ? ERR_OK : fail_told(status);
}

static const struct {
    const char *word;
    enum err (*act)(const struct given *given, struct err_text *why);
} acts[] = {
    {"show", show},
    {"make", make},
    {"problem", save_problem},
    {"solve", solve},
};

static enum err
run(const struct given *given, struct err_text *why)
{
    const char *word = given->n_args > 0 ? given->args[0] : "show";
    if (given->help && strcmp(word, "solve") != 0) {
        help_print(&command_plan);
        return ERR_OK;
    }
    for (size_t i = 0; i < sizeof acts / sizeof acts[0]; i++)
        if (strcmp(acts[i].word, word) == 0)
            return acts[i].act(given, why);
    return err_set(ERR_USAGE, why, "\"%.40s\": expected show, make, problem or solve", word);
}

const struct command command_plan = {
    .word = "plan",
    .words = "what to fetch, thaw, mix, bottle and buy",
    .usage = "[show | make | problem | solve PROBLEM.json]",
    .more = "show: the plan that stands. make: a new one out of today's books, which\n"
            "is published with its pick-up lists. problem: saves what the hub would\n"
            "solve. solve: solves a saved problem; it needs no daemon.\n",
    .options = {{"--days", "N", "days to plan, 14 when left out"},
                {"--out", "FILE", "where to write the problem, or the plan"},
                {"--assumed", NULL, "show: what the plan takes for granted"},
                {"--effort", "N", "make, solve: how hard to look, 0 to 99"},
                {"--solver", "FILE", "make, solve: the optimiser to run"}},
    .examples = {"knockbox plan make", "knockbox plan problem --out week.json",
                 "knockbox plan solve week.json --out plan.json"},
    .most_args = 2,
    .helps_itself = true,
    .run = run,
};
