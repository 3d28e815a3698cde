/* cmd_plan.c - `knockbox plan`: what the kitchen does in the days ahead. */
#include <errno.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "client/ask.h"
#include "client/fail.h"
#include "client/plan/plan_solve.h"
#include "client/plan/sheet_print.h"
#include "client/plan/view_events.h"
#include "client/plan/view_buy.h"
#include "client/plan/view_print.h"
#include "client/plan_diff.h"
#include "client/plan_try.h"
#include "client/plan_why.h"
#include "client/print_to.h"
#include "client/show.h"
#include "daemon/plan/child.h"
#include "daemon/plan/plan_file.h"
#include "daemon/plan/problem_file.h"

enum {
    PATH = 640
};

/* ---- asking */

static enum err
ask_view(const struct given *given, json_t **out_view, struct err_text *why)
{
    struct question question = {.word = "plan"};
    question_arg(&question, "do", "show");
    question_arg(&question, "draft", given_flag(given, "--draft") ? "1" : NULL);
    question_arg(&question, "number", given->n_args > 1 ? given->args[1] : NULL);
    return ask_once(given, &question, out_view, why);
}

static enum err
show(const struct given *given, struct err_text *why)
{
    json_t *view = NULL;
    enum err e = ask_view(given, &view, why);
    if (e == ERR_OK)
        e = view_print(given, view, why);
    json_decref(view);
    return e;
}

/* The day sheet of the site that is asked. */
static enum err
today(const struct given *given, struct err_text *why)
{
    struct question question = {.word = "today"};
    json_t *answer = NULL;
    question_arg(&question, "day", given_value(given, "--day"));
    enum err e = ask_once(given, &question, &answer, why);
    if (e == ERR_OK)
        e = sheet_put(given, answer, why);
    json_decref(answer);
    return e;
}

static enum err
buy(const struct given *given, struct err_text *why)
{
    json_t *view = NULL;
    enum err e = ask_view(given, &view, why);
    if (e == ERR_OK)
        view_print_buy(given, view, stdout);
    json_decref(view);
    return e;
}

/* ---- making one: the hub poses the problem, the optimiser beside this program solves it, and
 * the hub checks the plan and keeps it as a draft. */

static enum err
parse_effort(const struct given *given, int *out_effort, struct err_text *why)
{
    const char *effort = given_value(given, "--effort");
    if (effort != NULL && (effort[0] < '0' || effort[0] > '9' || strlen(effort) > 2))
        return err_set(ERR_USAGE, why, "--effort %s: expected 0 to 99", effort);
    *out_effort = effort != NULL ? (int)strtol(effort, NULL, 10) : 1;
    return ERR_OK;
}

static enum err
parse_problem(const json_t *answer, struct problem **out_problem, struct err_text *why)
{
    const char *problem = view_text(answer, "problem"), *tubs = view_text(answer, "tubs");
    return problem_parse(problem, strlen(problem), tubs, strlen(tubs), out_problem, why);
}

static enum err
find_plan(const struct given *given, const struct problem *problem, const struct plan *start,
          struct child_result *out_result, struct err_text *why)
{
    struct child_options options = {.program = given_value(given, "--solver"), .start = start};
    enum err e = parse_effort(given, &options.effort, why);
    if (e == ERR_OK)
        e = child_best_plan(problem, &options, out_result, why);
    if (e == ERR_OK && out_result->remark[0] != '\0' && !given->quiet)
        (void)fprintf(stderr, "knockbox: %s\n", out_result->remark);
    return e;
}

struct plan_lines {
    const char *at;
};

static bool
next_line(void *owner, const char **out_text, size_t *out_len)
{
    struct plan_lines *text = owner;
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
    const char *effort = given_value(given, "--effort");
    char *text = NULL, bound[CHECK_TEXT_SIZE];
    size_t len = 0;
    FILE *f = open_memstream(&text, &len);
    if (f == NULL)
        return err_set(ERR_MEM, why, "no memory for the plan");
    plan_print(result->plan, problem, f);
    bool whole = fclose(f) == 0;
    check_text(result->bound, bound);
    question_arg(&question, "do", "put");
    question_arg(&question, "effort", effort != NULL ? effort : "1");
    question_arg(&question, "days", given_value(given, "--days"));
    question_arg(&question, "bound_cents", result->bound_known ? bound : NULL);
    struct plan_lines lines = {text};
    enum err e = whole ? ask(wire, &question, next_line, &lines, out_view, why)
                       : err_set(ERR_MEM, why, "no memory for the plan");
    free(text);
    return e;
}

/* Solves what the hub asks and sends it the plan. */
static enum err
make_new(struct wire *wire, const struct given *given, const json_t *answer, json_t **out_view,
         struct err_text *why)
{
    struct problem *problem = NULL;
    struct plan *start = NULL;
    struct child_result result = {.plan = NULL};
    const char *text = view_text(answer, "start");
    enum err e = parse_problem(answer, &problem, why);
    if (e == ERR_OK && text[0] != '\0')
        e = plan_parse(text, strlen(text), problem, &start, why);
    if (e == ERR_OK)
        e = find_plan(given, problem, start, &result, why);
    if (e == ERR_OK)
        e = put_plan(wire, given, problem, &result, out_view, why);
    plan_free(result.plan);
    plan_free(start);
    problem_free(problem);
    return e;
}

/* A plan was made of just these facts, and was looked for as hard: it stands. */
static enum err
show_same(struct wire *wire, const struct given *given, const json_t *same, json_t **out_view,
          struct err_text *why)
{
    struct question question = {.word = "plan"};
    char number[24];
    (void)snprintf(number, sizeof number, "%lld",
                   (long long)json_integer_value(json_object_get(same, "number")));
    question_arg(&question, "do", "show");
    question_arg(&question, "number", number);
    if (!given->quiet)
        (void)fprintf(stderr, "Nothing has changed since plan %s was made: it stands.\n", number);
    return ask(wire, &question, NULL, NULL, out_view, why);
}

static enum err
make_on(struct wire *wire, const struct given *given, json_t **out_view, struct err_text *why)
{
    struct question question = {.word = "plan"};
    json_t *answer = NULL;
    int effort = 0;
    question_arg(&question, "do", "problem");
    question_arg(&question, "days", given_value(given, "--days"));
    enum err e = parse_effort(given, &effort, why);
    if (e == ERR_OK)
        e = ask(wire, &question, NULL, NULL, &answer, why);
    const json_t *same = json_object_get(answer, "same_facts");
    bool stands = same != NULL && effort <= json_integer_value(json_object_get(same, "effort"));
    if (e == ERR_OK)
        e = stands ? show_same(wire, given, same, out_view, why)
                   : make_new(wire, given, answer, out_view, why);
    json_decref(answer);
    return e;
}

/* Quiet asks for no text, but for what it names a form or a file for. */
static enum err
print_unless_quiet(const struct given *given, const json_t *view, struct err_text *why)
{
    bool wanted =
        !given->quiet || print_path(given) != NULL || strcmp(print_form(given), "text") != 0;
    return wanted ? view_print(given, view, why) : ERR_OK;
}

static enum err
make(const struct given *given, struct err_text *why)
{
    struct wire *wire = NULL;
    json_t *view = NULL;
    enum err e = wire_open(given, &wire, why);
    if (e == ERR_OK)
        e = make_on(wire, given, &view, why);
    if (e == ERR_OK)
        e = print_unless_quiet(given, view, why);
    json_decref(view);
    wire_close(wire);
    return e;
}

static enum err
publish(const struct given *given, struct err_text *why)
{
    struct question question = {.word = "plan"};
    json_t *view = NULL;
    question_arg(&question, "do", "publish");
    question_arg(&question, "number", given->n_args > 1 ? given->args[1] : NULL);
    enum err e = ask_once(given, &question, &view, why);
    if (e == ERR_OK)
        e = print_unless_quiet(given, view, why);
    json_decref(view);
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
tubs_path(const char *out, char path[PATH], struct err_text *why)
{
    size_t len = strlen(out);
    if (len > 5 && strcmp(out + len - 5, ".json") == 0)
        len -= 5;
    int n = snprintf(path, PATH, "%.*s.tubs.csv", (int)len, out);
    return n > 0 && n < PATH ? ERR_OK : err_set(ERR_USAGE, why, "--out: a shorter name");
}

static enum err
ask_problem(const struct given *given, const char *tubs_file, json_t **out_answer,
            struct err_text *why)
{
    struct question question = {.word = "plan"};
    question_arg(&question, "do", "problem");
    question_arg(&question, "days", given_value(given, "--days"));
    question_arg(&question, "tubs_file", tubs_file);
    return ask_once(given, &question, out_answer, why);
}

static enum err
save_problem(const struct given *given, struct err_text *why)
{
    const char *out = print_path(given);
    char tubs[PATH];
    json_t *answer = NULL;
    if (out == NULL)
        return err_set(ERR_USAGE, why, "say where: knockbox plan problem --out FILE.json");
    enum err e = tubs_path(out, tubs, why);
    const char *slash = strrchr(tubs, '/');
    if (e == ERR_OK)
        e = ask_problem(given, slash != NULL ? slash + 1 : tubs, &answer, why);
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
        const char *value = i == 0 ? print_path(given) : given_value(given, passed[i]);
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
    {"show", show},       {"today", today},          {"make", make},
    {"publish", publish}, {"problem", save_problem}, {"solve", solve},
    {"try", plan_try},    {"diff", plan_diff},       {"why", plan_why},
    {"buy", buy},
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
    return err_set(
        ERR_USAGE, why,
        "\"%.40s\": expected show, today, make, publish, diff, why, try, buy, problem or "
        "solve",
        word);
}

const struct command command_plan = {
    .word = "plan",
    .words = "what to fetch, thaw, mix, bottle and buy",
    .usage = "[ACT] [WHAT...]",
    .more = "show [N]: the plan that the kitchen works by, or plan N; html is a page\n"
            "for A4 on its side that needs no network, ics a calendar.\n"
            "today: the day sheet; at a café what to hand over.\n"
            "buy [N]: what the plan lacks, and by when to order it.\n"
            "make: a draft out of today's books.\n"
            "publish [N]: the draft becomes the plan, with its pick-up lists.\n"
            "diff [N [N]]: from the published plan to the draft, in words, and why.\n"
            "why tub CODE | batch RECIPE DATE | order ID: what binds, and its worth.\n"
            "problem: saves what the hub would solve.\n"
            "solve FILE: solves a saved problem; it needs no daemon.\n"
            "try: what would change if; nothing is written.\n",
    .options = {{"--days", "N", "days to plan, 14 when left out"},
                {"--day", "DATE", "today: another day's sheet"},
                {"--draft", NULL, "show, buy: the newest draft"},
                {"--format", "FORM", "text, json, csv, html or ics"},
                {"--out", "FILE", "write there: the plan, or the problem"},
                {"-o", "FILE", "the same"},
                {"--assumed", NULL, "show: what the plan takes for granted"},
                {"--effort", "N", "make, solve: how hard to look, 0 to 99"},
                {"--solver", "FILE", "the optimiser to run"},
                {"--station", "+N", "try: straining stations"},
                {"--labour", "+HOURS", "try: work on each working day"},
                {"--fridge", "+LITRES", "try: room in the cold store"},
                {"--sugar", "+KG", "try: sugar in stock"},
                {"--ingredient", "ITEM+KG", "try: an ingredient in stock"},
                {"--van", "RUN+KG", "try: room on a run"},
                {"--without-run", "RUN", "try: a run that does not go"},
                {"--tub-lost", "TUB", "try: a tub that is lost"},
                {"--close-day", "DATE", "try: a day without work"},
                {"--order", "ORDER", "try: one more, PRODUCT:LITRES:DATE"}},
    .examples = {"knockbox plan make", "knockbox plan publish",
                 "knockbox plan show --format html --out plan.html",
                 "knockbox plan try --station +1"},
    .most_args = 4,
    .helps_itself = true,
    .run = run,
};
