/* plan_posed.c - the problem that the hub would solve now, with the plan that stands. */
#include "client/plan_posed.h"

#include <stdio.h>
#include <string.h>
#include "client/ask.h"
#include "daemon/plan/plan_file.h"
#include "daemon/plan/problem_file.h"
#include "proto/when.h"

static const char *
text_of(const json_t *object, const char *name)
{
    const char *text = json_string_value(json_object_get(object, name));
    return text != NULL ? text : "";
}

enum err
plan_posed_parse(json_t *taken, struct plan_posed *out_posed, struct err_text *why)
{
    const char *problem = text_of(taken, "problem"), *tubs = text_of(taken, "tubs"),
               *start = text_of(taken, "start");
    *out_posed = (struct plan_posed){.answer = taken};
    if (!day_parse(text_of(taken, "day"), &out_posed->today))
        return err_set(ERR_FORMAT, why, "the daemon's answer has no day: is it older?");
    enum err e =
        problem_parse(problem, strlen(problem), tubs, strlen(tubs), &out_posed->problem, why);
    if (e == ERR_OK && start[0] != '\0')
        e = plan_parse(start, strlen(start), out_posed->problem, &out_posed->start, why);
    return e;
}

enum err
plan_posed_ask(const struct given *given, struct plan_posed *out_posed, struct err_text *why)
{
    struct question question = {.word = "plan"};
    json_t *answer = NULL;
    *out_posed = (struct plan_posed){.answer = NULL};
    question_arg(&question, "do", "problem");
    question_arg(&question, "days", given_value(given, "--days"));
    enum err e = ask_once(given, &question, &answer, why);
    if (e == ERR_OK)
        return plan_posed_parse(answer, out_posed, why);
    json_decref(answer);
    return e;
}

void
plan_posed_done(struct plan_posed *posed)
{
    plan_free(posed->start);
    problem_free(posed->problem);
    json_decref(posed->answer);
    *posed = (struct plan_posed){.answer = NULL};
}
