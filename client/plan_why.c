/* plan_why.c - `knockbox plan why`. */
#include "client/plan_why.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "client/ask.h"
#include "client/plan/whatif.h"
#include "client/plan_posed.h"
#include "client/print_to.h"
#include "client/writer.h"
#include "daemon/plan/change.h"
#include "daemon/plan/why.h"
#include "proto/when.h"

enum {
    FEW_TUBS = 40,    /* solved with effort 1 */
    MANY_TUBS = 2000, /* a solve is seconds: one is enough */
};

struct value { /* of one more unit of what binds */
    char said[CHANGE_SAID];
    check_units worth;
    bool proven;
    double gap_cents; /* of both plans together; -1: not known */
};

struct asking {
    const struct given *given;
    struct plan_posed posed;
    struct whatif_side now;
    const struct plan *plan; /* the one that is explained, lent */
    char subject[160];
    struct why_answer answer;
    struct value values[WHY_ASKS];
    int values_n;
    check_units better; /* what a plan made now is worth more than the one that stands */
};

/* ---- what is asked about */

static enum err
ask_tub_state(struct asking *a, const char *code, struct err_text *why)
{
    struct question question = {.word = "plan"};
    json_t *answer = NULL;
    question_arg(&question, "do", "tub");
    question_arg(&question, "code", code);
    enum err e = ask_once(a->given, &question, &answer, why);
    const char *words = json_string_value(json_object_get(answer, "words"));
    if (e == ERR_OK) {
        (void)snprintf(a->answer.said[0], WHY_TEXT, "%s", words != NULL ? words : "");
        a->answer.said_n = 1;
        a->answer.settled = true;
    }
    json_decref(answer);
    return e;
}

static enum err
about_tub(struct asking *a, const char *code, struct err_text *why)
{
    const struct problem *p = a->posed.problem;
    int tub = problem_find(p->tubs, p->tubs_n, sizeof *p->tubs, code);
    (void)snprintf(a->subject, sizeof a->subject, "tub %.100s", code);
    return tub >= 0 ? why_tub(p, a->plan, a->posed.today, tub, &a->answer, why)
                    : ask_tub_state(a, code, why);
}

static enum err
about_batch(struct asking *a, const char *recipe, const char *date, struct err_text *why)
{
    const struct problem *p = a->posed.problem;
    int at = problem_find(p->recipes, p->recipes_n, sizeof *p->recipes, recipe);
    int32_t day = 0;
    (void)snprintf(a->subject, sizeof a->subject, "batch of %.64s, %.16s", recipe, date);
    if (at < 0)
        return err_set(ERR_INPUT, why, "the plan knows no recipe %.64s", recipe);
    if (!day_parse(date, &day) || day < a->posed.today || day >= a->posed.today + p->days)
        return err_input(why, "day", date, "a day of the plan, YYYY-MM-DD");
    return why_batch(p, a->plan, a->posed.today, at, day - a->posed.today, &a->answer, why);
}

/* An order by the beginning of its id; else the first of a product that is short, else its first. */
static int
find_order(const struct asking *a, const char *text)
{
    const struct problem *p = a->posed.problem;
    int first = -1;
    for (int i = 0; i < p->orders_n; i++)
        if (strncmp(p->orders[i].id, text, strlen(text)) == 0)
            return i;
    for (int i = 0; i < p->orders_n; i++) {
        int64_t served = 0;
        if (strcmp(p->products[p->orders[i].product].id, text) != 0)
            continue;
        for (int k = 0; k < a->plan->orders_n; k++)
            served += a->plan->orders[k].order == i ? a->plan->orders[k].ml : 0;
        if (served < p->orders[i].ml)
            return i;
        first = first < 0 ? i : first;
    }
    return first;
}

static enum err
about_order(struct asking *a, const char *text, struct err_text *why)
{
    const struct problem *p = a->posed.problem;
    int order = text[0] != '\0' ? find_order(a, text) : -1;
    if (order < 0)
        return err_set(ERR_INPUT, why,
                       "the plan has no order that begins with %.64s, and none of a product of "
                       "that name",
                       text);
    (void)snprintf(a->subject, sizeof a->subject, "order %.40s", p->orders[order].id);
    return why_order(p, a->plan, a->posed.today, order, &a->answer, why);
}

static enum err
find_subject(struct asking *a, struct err_text *why)
{
    static const char usage[] = "why what? knockbox plan why tub CODE, or batch RECIPE DATE, or "
                                "order ID";
    const char *const *args = a->given->args;
    size_t n = a->given->n_args;
    if (n == 3 && strcmp(args[1], "tub") == 0)
        return about_tub(a, args[2], why);
    if (n == 4 && strcmp(args[1], "batch") == 0)
        return about_batch(a, args[2], args[3], why);
    if (n == 3 && strcmp(args[1], "order") == 0)
        return about_order(a, args[2], why);
    if (n == 2)
        return about_tub(a, args[1], why);
    return err_set(ERR_USAGE, why, "%s", usage);
}

/* ---- what one more unit is worth */

static struct whatif_how
how_of(const struct asking *a)
{
    return (struct whatif_how){given_value(a->given, "--solver"), FEW_TUBS};
}

static enum err
solve_one(struct asking *a, const struct why_ask *ask, struct err_text *why)
{
    struct change change = {change_find(ask->kind), ask->value};
    struct whatif_side then = {.plan = NULL};
    struct whatif_how how = how_of(a);
    struct problem *changed = NULL;
    struct value *value = &a->values[a->values_n];
    char said[1][CHANGE_SAID];
    enum err e = change_problem(a->posed.problem, a->posed.today, &change, 1, &changed, said, why);
    if (e == ERR_OK)
        e = whatif_compare(&a->now, changed, &how, &then, why);
    if (e == ERR_OK) {
        double now = whatif_gap_cents(&a->now), gap = whatif_gap_cents(&then);
        memcpy(value->said, said[0], sizeof value->said);
        value->worth = then.check.worth;
        value->proven = whatif_proven(&a->now) && whatif_proven(&then);
        value->gap_cents = now >= 0 && gap >= 0 ? now + gap : -1;
        a->values_n++;
    }
    whatif_done(&then);
    problem_free(changed);
    return e;
}

static int
by_worth(const void *x, const void *y)
{
    const struct value *a = x, *b = y;
    if (a->worth != b->worth)
        return a->worth > b->worth ? -1 : 1;
    return strcmp(a->said, b->said);
}

/* Worths become differences at the end: a later solve may have bettered the plan of now. */
static enum err
solve_asks(struct asking *a, struct err_text *why)
{
    enum err e = ERR_OK;
    int most = a->posed.problem->tubs_n > MANY_TUBS ? 1 : WHY_ASKS;
    for (int i = 0; i < a->answer.asks_n && i < most && !a->answer.settled && e == ERR_OK; i++)
        e = solve_one(a, &a->answer.asks[i], why);
    for (int i = 0; i < a->values_n; i++) {
        check_units more = a->values[i].worth - a->now.check.worth;
        a->values[i].worth = more > 0 ? more : 0; /* never less: the plan of now fits there too */
    }
    qsort(a->values, (size_t)a->values_n, sizeof *a->values, by_worth);
    return e;
}

static enum err
solve_now(struct asking *a, struct err_text *why)
{
    struct check_result stands;
    struct whatif_how how = how_of(a);
    enum err e = whatif_solve(a->posed.problem, a->posed.start, &how, &a->now, why);
    a->plan = a->posed.start != NULL ? a->posed.start : a->now.plan;
    if (e == ERR_OK && a->posed.start != NULL) {
        e = check_plan(a->posed.problem, a->posed.start, &stands, why);
        a->better = e == ERR_OK ? a->now.check.worth - stands.worth : 0;
    }
    return e;
}

/* ---- telling */

static json_t *
answer_json(const struct asking *a)
{
    json_t *said = json_array(), *values = json_array();
    for (int i = 0; i < a->answer.said_n; i++)
        (void)json_array_append_new(said, json_string(a->answer.said[i]));
    for (int i = 0; i < a->values_n; i++) {
        char worth[CHECK_TEXT_SIZE];
        const struct value *v = &a->values[i];
        check_text(v->worth, worth);
        (void)json_array_append_new(
            values, json_pack("{s:s, s:s, s:b, s:o}", "unit", v->said, "worth_cents", worth,
                              "proven", v->proven, "within_cents",
                              v->gap_cents >= 0 ? json_real(v->gap_cents) : json_null()));
    }
    return json_pack("{s:s, s:o, s:o}", "subject", a->subject, "why", said, "one_more", values);
}

static void
print_value(struct writer *writer, const struct value *v)
{
    char money[48], worth[64];
    (void)snprintf(worth, sizeof worth, "worth %s", whatif_money(v->worth, money));
    if (v->worth < CHECK_UNITS_PER_CENT / 2)
        (void)snprintf(worth, sizeof worth, "worth nothing");
    if (v->proven)
        writer_line(writer, "- %s: %s", v->said, worth);
    else if (v->gap_cents >= 0)
        writer_line(writer, "- %s: about %s (within %.2f)", v->said, worth, v->gap_cents / 100);
    else
        writer_line(writer, "- %s: about %s", v->said, worth);
}

static void
print_text(struct writer *writer, const struct asking *a)
{
    char title[192], money[48];
    (void)snprintf(title, sizeof title, "Why: %s", a->subject);
    writer_title(writer, title,
                 a->posed.start != NULL ? "the plan that stands" : "a plan made now");
    for (int i = 0; i < a->answer.said_n; i++)
        writer_line(writer, "%s", a->answer.said[i]);
    if (a->values_n > 0)
        writer_line(writer, "%s, found by solving again:",
                    a->values_n == 1 ? "One more of what binds" : "One more of each that binds");
    for (int i = 0; i < a->values_n; i++)
        print_value(writer, &a->values[i]);
    if (a->better >= CHECK_UNITS_PER_CENT && !a->answer.settled)
        writer_line(writer, "A plan made now would be worth %s more: knockbox plan make",
                    whatif_money(a->better, money));
}

static void
tell(const struct asking *a)
{
    struct writer writer;
    bool as_json = strcmp(print_form(a->given), "json") == 0;
    writer_init(&writer, as_json ? OUTPUT_JSON : OUTPUT_TEXT, stdout);
    if (as_json) {
        json_t *answer = answer_json(a);
        writer_answer(&writer, answer);
        json_decref(answer);
    } else {
        print_text(&writer, a);
    }
    if (a->now.remark[0] != '\0' && !a->given->quiet)
        (void)fprintf(stderr, "knockbox: %s\n", a->now.remark);
}

enum err
plan_why(const struct given *given, struct err_text *why)
{
    struct asking *a = calloc(1, sizeof *a);
    if (a == NULL)
        return err_set(ERR_MEM, why, "no memory for an answer");
    a->given = given;
    enum err e = plan_posed_ask(given, &a->posed, why);
    if (e == ERR_OK)
        e = solve_now(a, why);
    if (e == ERR_OK)
        e = find_subject(a, why);
    if (e == ERR_OK)
        e = solve_asks(a, why);
    if (e == ERR_OK)
        tell(a);
    whatif_done(&a->now);
    plan_posed_done(&a->posed);
    free(a);
    return e;
}
