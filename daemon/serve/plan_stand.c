/* plan_stand.c - a kept plan with the problem that it was made for. */
#include "daemon/serve/plan_stand.h"

#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/plan/carry.h"
#include "daemon/plan/plan_file.h"
#include "daemon/plan/problem_file.h"
#include "proto/when.h"

static const char *
text_of(const json_t *view, const char *name)
{
    const char *text = json_string_value(json_object_get(view, name));
    return text != NULL ? text : "";
}

static enum err
parse(struct stand *stand, struct err_text *why)
{
    const char *problem = text_of(stand->view, "problem"), *tubs = text_of(stand->view, "tubs"),
               *plan = text_of(stand->view, "plan");
    if (problem[0] == '\0')
        return ERR_OK; /* kept by a release that did not keep it */
    enum err e = problem_parse(problem, strlen(problem), tubs, strlen(tubs), &stand->problem, why);
    if (e == ERR_OK)
        e = plan_parse(plan, strlen(plan), stand->problem, &stand->plan, why);
    if (e == ERR_OK && stand->plan->unknown_n > 0)
        e = err_set(ERR_INPUT, why, "it names what its problem has not");
    if (e == ERR_OK || e == ERR_MEM)
        return e;
    err_prefix(why, "plan %lld: ", (long long)stand->number);
    return ERR_DAMAGED;
}

enum err
stand_init(struct stand *out_stand, json_t *taken, struct err_text *why)
{
    *out_stand = (struct stand){.view = taken};
    if (taken == NULL)
        return ERR_OK;
    out_stand->number = json_integer_value(json_object_get(taken, "number"));
    if (!day_parse(text_of(taken, "day"), &out_stand->day))
        return err_set(ERR_DAMAGED, why, "plan %lld has no day", (long long)out_stand->number);
    return parse(out_stand, why);
}

void
stand_done(struct stand *stand)
{
    plan_free(stand->plan);
    problem_free(stand->problem);
    json_decref(stand->view);
    *stand = (struct stand){.view = NULL};
}

enum err
stand_carry(const struct stand *stand, const struct problem *now, int32_t today,
            struct plan **out_plan, struct err_text *why)
{
    *out_plan = NULL;
    if (stand->problem == NULL || today < stand->day)
        return ERR_OK;
    return carry_plan(stand->problem, stand->plan, today - stand->day, now, out_plan, why);
}

enum err
stand_facts(const struct problem *p, char out[STAND_FACTS_SIZE], struct err_text *why)
{
    struct problem bare = *p; /* shares the lists; only printed */
    unsigned char hash[32];
    char *text = NULL;
    size_t len = 0;
    FILE *f = open_memstream(&text, &len);
    bare.previous_n = bare.change_n = 0;
    bare.previous_until_day = -1;
    if (f != NULL) {
        problem_print(&bare, "tubs.csv", f);
        problem_print_tubs(&bare, f);
    }
    if (f == NULL || fclose(f) != 0) {
        free(text);
        return err_set(ERR_MEM, why, "no memory for the planning problem");
    }
    (void)crypto_generichash(hash, sizeof hash, (const unsigned char *)text, len, NULL, 0);
    (void)sodium_bin2hex(out, STAND_FACTS_SIZE, hash, sizeof hash);
    free(text);
    return ERR_OK;
}

json_t *
stand_shown(json_t *view)
{
    static const char *const kept_apart[] = {"problem", "tubs", "facts"};
    for (size_t i = 0; i < sizeof kept_apart / sizeof kept_apart[0]; i++)
        (void)json_object_del(view, kept_apart[i]);
    return view;
}
