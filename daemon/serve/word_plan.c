/* word_plan.c - `plan`: the problem of this kitchen, drafts of plans for it, and the published one.
 *
 * A plan that the checker refuses is never kept nor shown. A plan is made as a draft; nobody works
 * by it until a person publishes it. The published plan is an input of the next problem.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/plan/greedy.h"
#include "daemon/plan/plan_file.h"
#include "daemon/plan/problem_file.h"
#include "daemon/serve/alcohol.h"
#include "daemon/serve/kitchen_trade.h"
#include "daemon/serve/late_news.h"
#include "daemon/serve/plan_detail.h"
#include "daemon/serve/plan_record.h"
#include "daemon/serve/plan_stand.h"
#include "daemon/serve/plan_tub.h"
#include "daemon/serve/plan_view.h"
#include "daemon/serve/show.h"
#include "daemon/serve/words.h"

struct planning {
    struct call *call;
    struct kitchen_ask ask;
    struct plan_numbers numbers;
    struct stand published, draft; /* what there is, the draft only when it is newer */
    struct problem *problem;
    char facts[STAND_FACTS_SIZE];
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

/* Takes a kept plan when its parts are all there. */
static enum err
load_stand(struct planning *planning, int64_t number, struct stand *out_stand, struct err_text *why)
{
    json_t *view = NULL;
    if (number == 0)
        return ERR_OK;
    enum err e = plan_record_get(planning->call, number, &view, why);
    if (e == ERR_NOT_FOUND)
        return ERR_OK;
    return e == ERR_OK ? stand_init(out_stand, view, why) : e;
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
    planning->ask.yields = json_array();
    if (e == ERR_OK)
        e = plan_record_numbers(call, &planning->numbers, why);
    if (e == ERR_OK)
        e = load_stand(planning, planning->numbers.published, &planning->published, why);
    if (e == ERR_OK)
        e = load_stand(planning, planning->numbers.draft, &planning->draft, why);
    planning->ask.published = planning->published.view;
    if (e == ERR_OK)
        e = kitchen_problem(&planning->ask, &planning->problem, &planning->assumed, why);
    return e == ERR_OK ? stand_facts(planning->problem, planning->facts, why) : e;
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

/* The plan, published or a draft, that was made of just what the books say now. */
static json_t *
same_facts(const struct planning *planning)
{
    const struct stand *stands[] = {&planning->draft, &planning->published};
    for (size_t i = 0; i < 2; i++) {
        const char *facts = json_string_value(json_object_get(stands[i]->view, "facts"));
        if (facts != NULL && strcmp(facts, planning->facts) == 0)
            return json_pack("{s:O, s:O, s:O}", "number",
                             json_object_get(stands[i]->view, "number"), "state",
                             json_object_get(stands[i]->view, "state"), "effort",
                             json_object_get(stands[i]->view, "effort"));
    }
    return NULL;
}

/* What the optimiser begins with: the published plan as far as it still goes, or the draft. */
static enum err
add_start(struct planning *planning, json_t *answer, struct err_text *why)
{
    const struct stand *stands =
        planning->published.view != NULL ? &planning->published : &planning->draft;
    enum err e = stand_carry(stands, planning->problem, planning->ask.today, &planning->plan, why);
    if (e == ERR_OK && planning->plan != NULL)
        (void)json_object_set_new(answer, "start", printed(planning, print_plan));
    json_t *same = same_facts(planning);
    if (same != NULL)
        (void)json_object_set_new(answer, "same_facts", same);
    return e;
}

static enum err
plan_problem(struct planning *planning, struct err_text *why)
{
    enum err e = pose(planning, why);
    if (e != ERR_OK)
        return e;
    json_t *answer = json_pack("{s:o, s:o, s:o, s:O}", "day", show_day(planning->ask.today),
                               "problem", printed(planning, print_problem), "tubs",
                               printed(planning, print_tubs), "assumed", planning->assumed);
    e = answer != NULL ? add_start(planning, answer, why)
                       : err_set(ERR_MEM, why, "no memory for the planning problem");
    if (e == ERR_OK)
        return call_json(planning->call, answer, why);
    json_decref(answer);
    return e;
}

/* ---- a plan */

/* Takes the plan, NULL is fine, if it keeps the rules and is worth more than the one there is. */
static enum err
offer(struct planning *planning, struct plan *taken, struct err_text *why)
{
    struct check_result check;
    if (taken == NULL)
        return ERR_OK;
    enum err e = check_plan(planning->problem, taken, &check, why);
    bool better = planning->plan == NULL || planning->check.broken_n > 0 ||
                  (check.broken_n == 0 && check.worth > planning->check.worth);
    if (e != ERR_OK || !better) {
        plan_free(taken);
        return e;
    }
    plan_free(planning->plan);
    planning->plan = taken;
    planning->check = check;
    return ERR_OK;
}

/* What is left of the published plan, or the constructive plan when that is worth more. */
static enum err
solve(struct planning *planning, struct err_text *why)
{
    struct plan *start = NULL, *made = NULL;
    enum err e =
        stand_carry(&planning->published, planning->problem, planning->ask.today, &start, why);
    if (e == ERR_OK)
        e = offer(planning, start, why);
    if (e == ERR_OK)
        e = greedy_plan(planning->problem, &made, why);
    if (e == ERR_OK)
        e = offer(planning, made, why);
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
make_view(struct planning *planning, json_t **out_view, struct err_text *why)
{
    json_t *view =
        plan_view(planning->problem, planning->plan, &planning->check, planning->ask.today);
    const char *effort = call_arg(planning->call, "effort");
    *out_view = view;
    if (view == NULL)
        return err_set(ERR_MEM, why, "no memory for the plan");
    alcohol_mark_plan(ledger_catalogue(planning->ask.ledger), view, planning->ask.today);
    (void)json_object_set_new(view, "plan", printed(planning, print_plan));
    (void)json_object_set_new(view, "problem", printed(planning, print_problem));
    (void)json_object_set_new(view, "tubs", printed(planning, print_tubs));
    (void)json_object_set_new(view, "facts", json_string(planning->facts));
    (void)json_object_set_new(view, "effort",
                              json_integer(effort != NULL ? strtol(effort, NULL, 10) : 0));
    (void)json_object_set(view, "assumed", planning->assumed);
    (void)json_object_set(view, "yields", planning->ask.yields);
    add_bound(planning, view);
    enum err e = kitchen_buy(&planning->ask, planning->problem, planning->plan, view, why);
    return e == ERR_OK ? plan_detail(planning->call, planning->problem, planning->plan,
                                     planning->ask.today, view, why)
                       : e;
}

/* The same in every line, and in what to buy for it. */
static bool
is_same(const json_t *a, const json_t *b)
{
    static const char *const parts[] = {"plan", "buy", "needs"};
    for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++)
        if (!json_equal(json_object_get(a, parts[i]), json_object_get(b, parts[i])))
            return false;
    return true;
}

/* The kept plan of today that is the same in every line; NULL: none. Lent. */
static json_t *
same_plan(const struct planning *planning, const json_t *view)
{
    const struct stand *stands[] = {&planning->published, &planning->draft};
    for (size_t i = 0; i < 2; i++)
        if (stands[i]->view != NULL && stands[i]->day == planning->ask.today &&
            is_same(stands[i]->view, view))
            return stands[i]->view;
    return NULL;
}

/* Keeps it as a draft, unless a plan like it is there. */
static enum err
keep_draft(struct planning *planning, struct err_text *why)
{
    json_t *view = NULL;
    enum err e = make_view(planning, &view, why);
    json_t *same = e == ERR_OK ? same_plan(planning, view) : NULL;
    if (same != NULL) {
        json_decref(view);
        view = json_incref(same);
    } else if (e == ERR_OK) {
        e = plan_record_draft(planning->call, planning->ask.today, view, why);
    }
    if (e == ERR_OK)
        return call_json(planning->call, stand_shown(view), why);
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
    return e == ERR_OK ? keep_draft(planning, why) : e;
}

/* A plan that the caller found for the problem of this moment. */
static enum err
plan_put(struct planning *planning, struct err_text *why)
{
    enum err e = pose(planning, why);
    if (e == ERR_OK)
        e = take_plan(planning, why);
    return e == ERR_OK ? keep_draft(planning, why) : e;
}

/* ---- publishing: the draft as it is, if it still keeps the rules of today's books */

static enum err
parse_number(const struct call *call, int64_t *out_number, struct err_text *why)
{
    const char *text = call_arg(call, "number");
    char *end = NULL;
    if (text == NULL)
        return ERR_OK;
    *out_number = strtoll(text, &end, 10);
    if (end == text || *end != '\0' || *out_number < 1)
        return err_input(why, "number", text, "the number of a plan");
    return ERR_OK;
}

static enum err
pick_draft(const struct planning *planning, json_t **out_view, struct err_text *why)
{
    int64_t number = planning->draft.number;
    enum err e = parse_number(planning->call, &number, why);
    if (e != ERR_OK)
        return e;
    if (planning->draft.view == NULL)
        return err_set(ERR_NOT_FOUND, why, "there is no draft to publish: knockbox plan make");
    if (number != planning->draft.number)
        return err_set(ERR_INPUT, why, "plan %lld is not the newest draft, which is %lld",
                       (long long)number, (long long)planning->draft.number);
    if (planning->draft.day != planning->ask.today)
        return err_set(ERR_INPUT, why,
                       "draft %lld was made on another day: make one of today's books, "
                       "knockbox plan make",
                       (long long)number);
    *out_view = planning->draft.view;
    return ERR_OK;
}

/* The draft's lines about today's problem, checked. */
static enum err
check_draft(struct planning *planning, const json_t *view, struct err_text *why)
{
    const char *text = json_string_value(json_object_get(view, "plan"));
    enum err e = text != NULL
                     ? plan_parse(text, strlen(text), planning->problem, &planning->plan, why)
                     : err_set(ERR_DAMAGED, why, "the draft has no lines");
    if (e == ERR_OK)
        e = check_plan(planning->problem, planning->plan, &planning->check, why);
    if (e == ERR_OK && planning->check.broken_n > 0)
        return err_set(ERR_INPUT, why,
                       "the draft no longer fits the books, rule %s: %s: make it again, "
                       "knockbox plan make",
                       planning->check.broken[0].rule, planning->check.broken[0].text);
    return e;
}

static enum err
plan_publish(struct planning *planning, struct err_text *why)
{
    json_t *view = NULL;
    enum err e = pose(planning, why);
    if (e == ERR_OK)
        e = pick_draft(planning, &view, why);
    if (e == ERR_OK)
        e = check_draft(planning, view, why);
    if (e == ERR_OK)
        e = plan_record_publish(planning->call, planning->ask.today, planning->problem,
                                planning->plan, view, why);
    return e == ERR_OK ? call_json(planning->call, stand_shown(json_incref(view)), why) : e;
}

/* ---- showing */

/* The number asked for; else the published plan, or the newest draft when that is asked for or
 * nothing is published. */
static enum err
pick_number(struct planning *planning, int64_t *out_number, struct err_text *why)
{
    const struct plan_numbers *numbers = &planning->numbers;
    bool draft = call_flag(planning->call, "draft");
    *out_number = draft || numbers->published == 0 ? numbers->draft : numbers->published;
    enum err e = parse_number(planning->call, out_number, why);
    if (e == ERR_OK && *out_number == 0)
        return err_set(ERR_NOT_FOUND, why,
                       draft ? "there is no draft newer than what is published"
                             : "there is no plan yet: knockbox plan make");
    return e;
}

/* What the published plan cannot live with, as the books are now. */
static enum err
add_news(struct planning *planning, json_t *view, struct err_text *why)
{
    const json_t *lines = NULL;
    int64_t number = 0;
    enum err e = late_news_find(planning->call, &lines, &number, why);
    if (e == ERR_OK && number == json_integer_value(json_object_get(view, "number")) &&
        json_array_size(lines) > 0)
        (void)json_object_set_new(view, "news", json_deep_copy(lines));
    return e;
}

static enum err
plan_show(struct planning *planning, struct err_text *why)
{
    json_t *view = NULL;
    int64_t number = 0;
    enum err e = call_ledger(planning->call, &planning->ask.ledger, why);
    if (e == ERR_OK)
        e = plan_record_numbers(planning->call, &planning->numbers, why);
    if (e == ERR_OK)
        e = pick_number(planning, &number, why);
    if (e == ERR_OK)
        e = plan_record_get(planning->call, number, &view, why);
    if (e != ERR_OK)
        return e;
    if (planning->numbers.draft > number)
        (void)json_object_set_new(view, "newer_draft", json_integer(planning->numbers.draft));
    if (!call_flag(planning->call, "full"))
        (void)stand_shown(view);
    e = add_news(planning, view, why);
    if (e == ERR_OK)
        return call_json(planning->call, view, why);
    json_decref(view);
    return e;
}

/* ---- a tub that the problem does not have */

static enum err
plan_ask_tub(struct planning *planning, struct err_text *why)
{
    const char *code = call_arg(planning->call, "code");
    json_t *answer = NULL;
    if (code == NULL)
        return err_input(why, "code", NULL, "a tub");
    enum err e = call_ledger(planning->call, &planning->ask.ledger, why);
    if (e == ERR_OK)
        e = plan_tub(planning->ask.ledger, code, &answer, why);
    return e == ERR_OK ? call_json(planning->call, answer, why) : e;
}

static const struct {
    const char *word;
    enum err (*act)(struct planning *planning, struct err_text *why);
} acts[] = {
    {"problem", plan_problem}, {"make", plan_make}, {"put", plan_put},
    {"publish", plan_publish}, {"show", plan_show}, {"tub", plan_ask_tub},
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
        stand_done(&planning.published);
        stand_done(&planning.draft);
        json_decref(planning.ask.yields);
        return e;
    }
    return err_input(why, "do", word, "problem, make, put, publish, show or tub");
}
