/* redraft.c - a draft when the books contradict the published plan. */
#include "daemon/serve/redraft.h"

#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/record/kind.h"

/* What came back, piece by piece. */
struct heard {
    FILE *f;
    enum err code;
    struct err_text *why;
};

static enum err
hear(void *owner, const Knockbox__Reply *reply)
{
    struct heard *heard = owner;
    if (reply->has_data)
        (void)fwrite(reply->data.data, 1, reply->data.len, heard->f);
    if (reply->has_code && reply->code != 0) {
        heard->code = (enum err)reply->code;
        (void)snprintf(heard->why->s, sizeof heard->why->s, "%s",
                       reply->text != NULL ? reply->text : "no");
    }
    return ERR_OK;
}

static void
ask(struct serve *serve, const char *act, struct heard *heard)
{
    static const struct caller itself = {ROLE_BIT_OPERATOR, "the hub itself"};
    Knockbox__Request request = KNOCKBOX__REQUEST__INIT;
    Knockbox__Arg arg = KNOCKBOX__ARG__INIT, *args[] = {&arg};
    arg.name = (char *)"do";
    arg.value = (char *)(uintptr_t)act;
    request.has_version = true;
    request.version = 1;
    request.word = (char *)"plan";
    request.n_args = 1;
    request.args = args;
    serve_request(serve, 0, &itself, &request, hear, heard);
}

/* *out_answer is yours; NULL with an error. */
static enum err
ask_plan(struct serve *serve, const char *act, json_t **out_answer, struct err_text *why)
{
    char *text = NULL;
    size_t len = 0;
    struct heard heard = {open_memstream(&text, &len), ERR_OK, why};
    *out_answer = NULL;
    if (heard.f == NULL)
        return err_set(ERR_MEM, why, "no memory to look at the plan");
    ask(serve, act, &heard);
    if (fclose(heard.f) == 0 && heard.code == ERR_OK)
        *out_answer = json_loadb(text, len, 0, NULL);
    free(text);
    if (heard.code == ERR_OK && *out_answer == NULL)
        return err_set(ERR_MEM, why, "no memory to look at the plan");
    return heard.code;
}

enum err
redraft_look(struct serve *serve, int64_t *out_plan, int64_t *out_draft, struct err_text *why)
{
    json_t *plan = NULL, *draft = NULL;
    *out_plan = *out_draft = 0;
    enum err e = ask_plan(serve, "show", &plan, why);
    if (e == ERR_NOT_FOUND)
        return ERR_OK; /* nothing is published yet */
    bool due = json_array_size(json_object_get(plan, "news")) > 0 &&
               json_object_get(plan, "newer_draft") == NULL;
    *out_plan = json_integer_value(json_object_get(plan, "number"));
    if (e == ERR_OK && due)
        e = ask_plan(serve, "make", &draft, why);
    if (e == ERR_OK && due)
        *out_draft = json_integer_value(json_object_get(draft, "number"));
    if (*out_draft == *out_plan)
        *out_draft = 0; /* what is published is still the best there is */
    json_decref(plan);
    json_decref(draft);
    return e;
}
