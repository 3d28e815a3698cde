/* plan_diff.c - `knockbox plan diff`. */
#include "client/plan_diff.h"

#include <stdio.h>
#include <string.h>
#include "client/ask.h"
#include "client/plan/view_events.h"
#include "client/plan/whatif.h"
#include "client/print_to.h"
#include "client/writer.h"
#include "daemon/plan/differ.h"
#include "daemon/plan/plan_file.h"
#include "daemon/plan/problem_file.h"
#include "proto/when.h"

enum {
    TUBS_TOLD = 8, /* in text; JSON has all */
    NEWS_TOLD = 6,
    NO_CAUSE = -1,
};

struct kept { /* one of the two plans, as the hub keeps it */
    json_t *view;
    struct problem *problem;
    struct plan *plan;
    int32_t day;
    int64_t number;
};

static void
kept_done(struct kept *kept)
{
    plan_free(kept->plan);
    problem_free(kept->problem);
    json_decref(kept->view);
}

static enum err
parse(struct kept *kept, struct err_text *why)
{
    const char *problem = view_text(kept->view, "problem"), *tubs = view_text(kept->view, "tubs"),
               *plan = view_text(kept->view, "plan");
    kept->number = view_number(kept->view, "number");
    if (!day_parse(view_text(kept->view, "day"), &kept->day) || problem[0] == '\0')
        return err_set(ERR_NOT_FOUND, why, "plan %lld was kept without its problem",
                       (long long)kept->number);
    enum err e = problem_parse(problem, strlen(problem), tubs, strlen(tubs), &kept->problem, why);
    return e == ERR_OK ? plan_parse(plan, strlen(plan), kept->problem, &kept->plan, why) : e;
}

/* `number` NULL: the published plan, or with `draft` the newest draft. */
static enum err
fetch(const struct given *given, const char *number, bool draft, struct kept *out_kept,
      struct err_text *why)
{
    struct question question = {.word = "plan"};
    question_arg(&question, "do", "show");
    question_arg(&question, "full", "1");
    question_arg(&question, "number", number);
    question_arg(&question, "draft", draft ? "1" : NULL);
    enum err e = ask_once(given, &question, &out_kept->view, why);
    if (e == ERR_OK && number == NULL && !draft &&
        strcmp(view_text(out_kept->view, "state"), "published") != 0)
        return err_set(ERR_NOT_FOUND, why, "no plan is published yet: there is nothing to compare");
    return e == ERR_OK ? parse(out_kept, why) : e;
}

static enum err
fetch_both(const struct given *given, struct kept *from, struct kept *to, struct err_text *why)
{
    const char *first = given->n_args > 1 ? given->args[1] : NULL;
    const char *second = given->n_args > 2 ? given->args[2] : NULL;
    enum err e = fetch(given, second != NULL ? first : NULL, false, from, why);
    if (e == ERR_OK)
        e = fetch(given, second != NULL ? second : first, first == NULL, to, why);
    if (e == ERR_OK && to->day < from->day) {
        struct kept kept = *from;
        *from = *to;
        *to = kept;
    }
    return e;
}

/* ---- telling */

static const struct news_item *
cause_of(const struct differ *differ, const struct differ_item *item)
{
    return item->cause >= 0 ? &differ->news.items[item->cause] : NULL;
}

static json_t *
date_json(int32_t today, int day)
{
    char text[DAY_TEXT];
    return day >= 0 ? json_string(day_print(today + day, text)) : json_null();
}

static json_t *
items_json(const struct differ *differ, int32_t today)
{
    json_t *list = json_array();
    for (int i = 0; i < differ->n; i++) {
        const struct differ_item *item = &differ->items[i];
        const struct news_item *cause = cause_of(differ, item);
        (void)json_array_append_new(
            list, json_pack("{s:s, s:s, s:o, s:s, s:s, s:s}", "what", differ_word(item->kind), "id",
                            item->id, "day", date_json(today, item->day), "words", item->words,
                            "cause", cause != NULL ? news_word(cause->kind) : "none", "why",
                            cause != NULL ? cause->words : "no fact that touches it changed"));
    }
    return list;
}

static json_t *
news_json(const struct differ *differ, int32_t today)
{
    json_t *list = json_array();
    for (int i = 0; i < differ->news.n; i++) {
        const struct news_item *item = &differ->news.items[i];
        (void)json_array_append_new(list, json_pack("{s:s, s:s, s:o, s:b, s:s}", "fact",
                                                    news_word(item->kind), "id", item->id, "day",
                                                    date_json(today, item->day), "contradicts",
                                                    item->contradicts, "words", item->words));
    }
    return list;
}

static json_t *
answer_json(const struct kept *from, const struct kept *to, const struct differ *differ)
{
    char worth[CHECK_TEXT_SIZE];
    check_text(differ->worth_more, worth);
    return json_pack("{s:I, s:I, s:b, s:s, s:o, s:o}", "from", (json_int_t)from->number, "to",
                     (json_int_t)to->number, "fits", differ->fits, "worth_more_cents", worth,
                     "changes", items_json(differ, to->day), "facts", news_json(differ, to->day));
}

/* The changes that one fact (its place, -1: none) is behind; of tubs only so many in all. */
static void
print_items(struct writer *writer, const struct differ *differ, int cause, int *tubs)
{
    for (int i = 0; i < differ->n; i++) {
        const struct differ_item *item = &differ->items[i];
        if (item->cause != cause || (item->kind == DIFFER_TUB && ++*tubs > TUBS_TOLD))
            continue;
        writer_line(writer, "- %s", item->words);
    }
}

static bool
has_items(const struct differ *differ, int cause)
{
    for (int i = 0; i < differ->n; i++)
        if (differ->items[i].cause == cause)
            return true;
    return false;
}

/* Facts with what they changed, those first that the older plan cannot live with. */
static void
print_causes(struct writer *writer, const struct differ *differ, int *tubs)
{
    for (int contradicts = 1; contradicts >= 0; contradicts--)
        for (int i = 0; i < differ->news.n; i++) {
            const struct news_item *item = &differ->news.items[i];
            if (item->contradicts != (contradicts != 0) || !has_items(differ, i))
                continue;
            writer_line(writer, "Because %s:", item->words);
            print_items(writer, differ, i, tubs);
        }
    if (has_items(differ, NO_CAUSE))
        writer_line(writer,
                    differ->news.n > 0 ? "In the wake of what is new:" : "No fact changed:");
    print_items(writer, differ, NO_CAUSE, tubs);
}

static void
print_news(struct writer *writer, const struct differ *differ)
{
    int told = 0;
    for (int i = 0; i < differ->news.n; i++) {
        const struct news_item *item = &differ->news.items[i];
        if (has_items(differ, i))
            continue;
        if (told == 0)
            writer_line(writer, "The books also say:");
        if (told++ < NEWS_TOLD)
            writer_line(writer, "- %s", item->words);
    }
    if (told > NEWS_TOLD)
        writer_line(writer, "- and %d facts more: knockbox plan diff --json", told - NEWS_TOLD);
}

static void
print_worth(struct writer *writer, const struct differ *differ)
{
    char money[48];
    check_units more = differ->worth_more;
    const char *left = differ->fits ? "the older one" : "what is left of the older one";
    if (more > -CHECK_UNITS_PER_CENT / 2 && more < CHECK_UNITS_PER_CENT / 2)
        writer_line(writer, "By today's books it is worth as much as %s.", left);
    else
        writer_line(writer, "By today's books it is worth %s %s than %s.",
                    whatif_money(more < 0 ? -more : more, money), more < 0 ? "less" : "more", left);
}

static void
print_text(struct writer *writer, const struct kept *from, const struct kept *to,
           const struct differ *differ)
{
    char title[96];
    int tubs = 0;
    (void)snprintf(title, sizeof title, "From plan %lld to %s %lld", (long long)from->number,
                   strcmp(view_text(to->view, "state"), "draft") == 0 ? "draft" : "plan",
                   (long long)to->number);
    writer_title(writer, title, "");
    if (differ->n == 0)
        writer_line(writer, "Nothing changes.");
    print_causes(writer, differ, &tubs);
    if (tubs > TUBS_TOLD)
        writer_line(writer, "- and %d tubs more: knockbox plan diff --json", tubs - TUBS_TOLD);
    print_news(writer, differ);
    if (!differ->fits)
        writer_line(writer, "The older plan cannot be done as it is.");
    print_worth(writer, differ);
}

static void
tell(const struct given *given, const struct kept *from, const struct kept *to,
     const struct differ *differ)
{
    struct writer writer;
    bool as_json = strcmp(print_form(given), "json") == 0;
    writer_init(&writer, as_json ? OUTPUT_JSON : OUTPUT_TEXT, stdout);
    if (!as_json) {
        print_text(&writer, from, to, differ);
        return;
    }
    json_t *answer = answer_json(from, to, differ);
    writer_answer(&writer, answer);
    json_decref(answer);
}

enum err
plan_diff(const struct given *given, struct err_text *why)
{
    struct kept from = {.view = NULL}, to = {.view = NULL};
    struct differ differ = {.n = 0};
    enum err e = fetch_both(given, &from, &to, why);
    if (e == ERR_OK)
        e = differ_find(from.problem, from.plan, to.problem, to.plan, to.day - from.day, to.day,
                        &differ, why);
    if (e == ERR_OK)
        tell(given, &from, &to, &differ);
    differ_done(&differ);
    kept_done(&from);
    kept_done(&to);
    return e;
}
