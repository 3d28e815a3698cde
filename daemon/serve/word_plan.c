/* word_plan.c - `plan`: the problem of this kitchen, a plan for it, and the one that stands.
 *
 * A plan that the checker refuses is never stored nor shown. A published plan is one record in
 * numbered parts, with a pick-up list for each run and café beside it, in one transaction.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/plan/greedy.h"
#include "daemon/plan/plan_file.h"
#include "daemon/plan/problem_file.h"
#include "daemon/serve/alcohol.h"
#include "daemon/serve/kitchen.h"
#include "daemon/serve/plan_detail.h"
#include "daemon/serve/plan_record.h"
#include "daemon/serve/plan_view.h"
#include "daemon/serve/show.h"
#include "daemon/serve/words.h"

struct planning {
    struct call *call;
    struct kitchen_ask ask;
    struct problem *problem;
    json_t *assumed;
    struct plan *plan;
    struct check_result check;
};

static enum err
parse_days(const struct call *call, int *out_days, struct err_text *why)
{
    const char *text = call_arg(call, "days");
    char *end = NULL;
    long days = text != NULL ? strtol(text, &end, 10) : KITCHEN_DAYS;
    if (text != NULL && (end == text || *end != '\0' || days < 1 || days > KITCHEN_DAYS_MOST))
        return err_input(why, "days", text, "1 to 60 days");
    *out_days = (int)days;
    return ERR_OK;
}

static enum err
pose(struct planning *planning, struct err_text *why)
{
    struct call *call = planning->call;
    enum err e = parse_days(call, &planning->ask.days, why);
    if (e == ERR_OK)
        e = call_ledger(call, &planning->ask.ledger, why);
    planning->ask.site = call->serve->options.site;
    planning->ask.today = show_today(call, planning->ask.site);
    return e == ERR_OK
               ? kitchen_problem(&planning->ask, &planning->problem, &planning->assumed, why)
               : e;
}

/* ---- the problem in its file form */

typedef void print_fn(const struct planning *planning, FILE *f);

static void
print_problem(const struct planning *planning, FILE *f)
{
    const char *name = call_arg(planning->call, "tubs_file");
    problem_print(planning->problem, name != NULL ? name : "problem.tubs.csv", f);
}

static void
print_tubs(const struct planning *planning, FILE *f)
{
    problem_print_tubs(planning->problem, f);
}

static void
print_plan(const struct planning *planning, FILE *f)
{
    plan_print(planning->plan, planning->problem, f);
}

/* What `print` gives, as one text; NULL: no memory. */
static json_t *
printed(const struct planning *planning, print_fn *print)
{
    char *text = NULL;
    size_t len = 0;
    FILE *f = open_memstream(&text, &len);
    if (f == NULL)
        return NULL;
    print(planning, f);
    bool whole = fclose(f) == 0;
    json_t *out = whole ? json_stringn(text, len) : NULL;
    free(text);
    return out;
}

static enum err
plan_problem(struct planning *planning, struct err_text *why)
{
    enum err e = pose(planning, why);
    if (e != ERR_OK)
        return e;
    return call_json(planning->call,
                     json_pack("{s:o, s:o, s:O}", "problem", printed(planning, print_problem),
                               "tubs", printed(planning, print_tubs), "assumed", planning->assumed),
                     why);
}

/* ---- a plan */

static enum err
solve(struct planning *planning, struct err_text *why)
{
    enum err e = greedy_plan(planning->problem, &planning->plan, why);
    if (e == ERR_OK)
        e = check_plan(planning->problem, planning->plan, &planning->check, why);
    if (e == ERR_OK && planning->check.broken_n > 0)
        return err_set(ERR_INPUT, why, "no plan keeps all rules: rule %s: %s",
                       planning->check.broken[0].rule, planning->check.broken[0].text);
    return e;
}

/* The plan that the caller sends, line by line as its file has them. */
static enum err
take_plan(struct planning *planning, struct err_text *why)
{
    char *text = NULL;
    size_t len = 0;
    FILE *f = open_memstream(&text, &len);
    if (f == NULL)
        return err_set(ERR_MEM, why, "no memory for the plan");
    for (size_t i = 0; i < call_lines(planning->call); i++) {
        struct line line = call_line(planning->call, i);
        (void)fwrite(line.text, 1, line.len, f);
        (void)fputc('\n', f);
    }
    enum err e = fclose(f) == 0 ? plan_parse(text, len, planning->problem, &planning->plan, why)
                                : err_set(ERR_MEM, why, "no memory for the plan");
    free(text);
    if (e == ERR_OK)
        e = check_plan(planning->problem, planning->plan, &planning->check, why);
    if (e == ERR_OK && planning->check.broken_n > 0)
        return err_set(ERR_INPUT, why,
                       "the plan breaks rule %s: %s (did the books change? make "
                       "it again)",
                       planning->check.broken[0].rule, planning->check.broken[0].text);
    return e;
}

/* How far it is from the best there may be, as the optimiser said. */
static void
add_bound(const struct planning *planning, json_t *view)
{
    const char *bound = call_arg(planning->call, "bound_cents");
    double most = bound != NULL ? strtod(bound, NULL) : 0,
           worth = check_cents(planning->check.worth);
    char gap[32];
    if (!(most >= 1) || worth > most)
        return; /* a bound of less than a cent says nothing */
    (void)snprintf(gap, sizeof gap, "%.4f", (most - worth) / most * 100);
    (void)json_object_set_new(view, "bound_cents", json_string(bound));
    (void)json_object_set_new(view, "gap_pct", json_string(gap));
}

static enum err
plan_publish(struct planning *planning, struct err_text *why)
{
    json_t *view =
        plan_view(planning->problem, planning->plan, &planning->check, planning->ask.today);
    json_t *file = printed(planning, print_plan);
    if (view == NULL || file == NULL) {
        json_decref(view);
        json_decref(file);
        return err_set(ERR_MEM, why, "no memory for the plan");
    }
    alcohol_mark_plan(ledger_catalogue(planning->ask.ledger), view, planning->ask.today);
    (void)json_object_set_new(view, "plan", file);
    (void)json_object_set(view, "assumed", planning->assumed);
    add_bound(planning, view);
    enum err e = plan_detail(planning->call, planning->problem, planning->plan, planning->ask.today,
                             view, why);
    if (e == ERR_OK)
        e = plan_record_write(planning->call, planning->ask.today, planning->problem,
                              planning->plan, view, why);
    if (e == ERR_OK)
        return call_json(planning->call, view, why);
    json_decref(view);
    return e;
}

/* The constructive plan, made here. */
static enum err
plan_make(struct planning *planning, struct err_text *why)
{
    enum err e = pose(planning, why);
    if (e == ERR_OK)
        e = solve(planning, why);
    return e == ERR_OK ? plan_publish(planning, why) : e;
}

/* A plan that the caller found for the problem of this moment. */
static enum err
plan_put(struct planning *planning, struct err_text *why)
{
    enum err e = pose(planning, why);
    if (e == ERR_OK)
        e = take_plan(planning, why);
    return e == ERR_OK ? plan_publish(planning, why) : e;
}

static enum err
plan_show(struct planning *planning, struct err_text *why)
{
    json_t *view = NULL;
    struct ledger *ledger = NULL;
    enum err e = call_ledger(planning->call, &ledger, why);
    if (e == ERR_OK)
        e = plan_record_read(planning->call, &view, why);
    return e == ERR_OK ? call_json(planning->call, view, why) : e;
}

static const struct {
    const char *word;
    enum err (*act)(struct planning *planning, struct err_text *why);
} acts[] = {
    {"problem", plan_problem},
    {"make", plan_make},
    {"put", plan_put},
    {"show", plan_show},
};

enum err
word_plan(struct call *call, struct err_text *why)
{
    struct planning planning = {.call = call};
    const char *word = call_arg(call, "do");
    for (size_t i = 0; i < sizeof acts / sizeof acts[0]; i++) {
        if (word == NULL || strcmp(acts[i].word, word) != 0)
            continue;
        enum err e = acts[i].act(&planning, why);
        plan_free(planning.plan);
        problem_free(planning.problem);
        json_decref(planning.assumed);
        return e;
    }
    return err_input(why, "do", word, "problem, make, put or show");
}
