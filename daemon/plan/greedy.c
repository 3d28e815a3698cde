/* greedy.c - several habits of building a plan, the best kept and trimmed. */
#include "daemon/plan/greedy.h"

#include <stdlib.h>
#include <string.h>

#include "daemon/plan/build.h"

/* How much trimming a problem gets: tubs x builds stays below this. */
enum {
    TRIM_BUDGET = 40000
};

struct search {
    const struct problem *p;
    struct share *share;
    struct plan *best;
    share_units best_worth;
    struct build_habit best_habit;
    bool *run_off, *slot_off; /* of the best */
    bool *try_run_off, *try_slot_off;
    long budget; /* tubs that may still be looked at */
};

/* Builds in this habit and keeps the plan when it is worth more. */
static enum err
try_habit(struct search *s, const struct build_habit *habit, bool *out_better, struct err_text *why)
{
    struct plan *plan = NULL;
    share_units worth = 0;
    enum err e = build_plan(s->p, s->share, habit, &plan, &worth, why);
    s->budget -= s->p->tubs_n + 1;
    *out_better = false;
    if (e != ERR_OK)
        return e;
    if (s->best != NULL && worth <= s->best_worth) {
        plan_free(plan);
        return ERR_OK;
    }
    *out_better = true;
    plan_free(s->best);
    s->best = plan;
    s->best_worth = worth;
    s->best_habit = *habit;
    return ERR_OK;
}

static enum err
try_habits(struct search *s, struct err_text *why)
{
    for (int off = 0; off < 2; off++) {
        for (int i = 0; i < s->p->runs_n; i++)
            s->try_run_off[i] = off != 0;
        for (int day_by_day = 0; day_by_day < 2; day_by_day++)
            for (int m = 0; m < BUILD_MEASURES; m++) {
                struct build_habit habit = {(enum build_measure)m, day_by_day != 0,
                                            off ? s->try_run_off : NULL, NULL};
                bool better;
                enum err e = try_habit(s, &habit, &better, why);
                if (e != ERR_OK)
                    return e;
                if (better)
                    memcpy(s->run_off, s->try_run_off, (size_t)s->p->runs_n * sizeof(bool));
            }
    }
    return ERR_OK;
}

/* Turns each member of a list of switches off, and keeps that when the plan gets better. */
static enum err
trim(struct search *s, bool *off, bool *try_off, int n, const bool *matters, struct err_text *why)
{
    for (int i = 0; i < n && s->budget > 0; i++) {
        if (off[i] || !matters[i])
            continue;
        memcpy(s->try_run_off, s->run_off, (size_t)s->p->runs_n * sizeof(bool));
        memcpy(s->try_slot_off, s->slot_off, (size_t)(s->p->recipes_n * s->p->days) * sizeof(bool));
        try_off[i] = true;
        struct build_habit habit = s->best_habit;
        habit.run_off = s->try_run_off;
        habit.slot_off = s->try_slot_off;
        bool better;
        enum err e = try_habit(s, &habit, &better, why);
        if (e != ERR_OK)
            return e;
        if (better)
            off[i] = true;
    }
    return ERR_OK;
}

/* Marks the runs or the slots that the best plan uses. */
static void
mark_runs(const struct search *s, bool *out)
{
    memset(out, 0, (size_t)s->p->runs_n * sizeof(bool));
    for (int i = 0; i < s->best->loads_n; i++)
        out[s->best->loads[i].run] = true;
}

static void
mark_slots(const struct search *s, bool *out)
{
    memset(out, 0, (size_t)(s->p->recipes_n * s->p->days) * sizeof(bool));
    for (int i = 0; i < s->best->batches_n; i++)
        out[s->best->batches[i].recipe * s->p->days + s->best->batches[i].day] = true;
}

static enum err
trim_all(struct search *s, struct err_text *why)
{
    int slots = s->p->recipes_n * s->p->days;
    bool *matters = NULL;
    enum err e =
        problem_list(slots > s->p->runs_n ? slots : s->p->runs_n, sizeof *matters, &matters, why);
    for (int round = 0; e == ERR_OK && round < 2; round++) {
        mark_runs(s, matters);
        e = trim(s, s->run_off, s->try_run_off, s->p->runs_n, matters, why);
        if (e != ERR_OK)
            break;
        mark_slots(s, matters);
        e = trim(s, s->slot_off, s->try_slot_off, slots, matters, why);
    }
    free(matters);
    return e;
}

static enum err
search(struct search *s, struct err_text *why)
{
    int slots = s->p->recipes_n * s->p->days;
    enum err e = share_new(s->p, &s->share, why);
    if (e == ERR_OK)
        e = problem_list(s->p->runs_n, sizeof *s->run_off, &s->run_off, why);
    if (e == ERR_OK)
        e = problem_list(s->p->runs_n, sizeof *s->try_run_off, &s->try_run_off, why);
    if (e == ERR_OK)
        e = problem_list(slots, sizeof *s->slot_off, &s->slot_off, why);
    if (e == ERR_OK)
        e = problem_list(slots, sizeof *s->try_slot_off, &s->try_slot_off, why);
    if (e == ERR_OK)
        e = try_habits(s, why);
    return e == ERR_OK ? trim_all(s, why) : e;
}

enum err
greedy_plan(const struct problem *p, struct plan **out_plan, struct err_text *why)
{
    struct search s = {.p = p, .budget = TRIM_BUDGET};
    enum err e = search(&s, why);
    share_free(s.share);
    free(s.run_off);
    free(s.slot_off);
    free(s.try_run_off);
    free(s.try_slot_off);
    if (e != ERR_OK) {
        plan_free(s.best);
        return e;
    }
    *out_plan = s.best;
    return ERR_OK;
}
