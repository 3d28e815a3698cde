/* draft.c - batches and runs that tubs move between. */
#include "daemon/plan/draft.h"

#include <stdlib.h>
#include <string.h>

enum err
draft_init(struct draft *d, const struct problem *p, struct err_text *why)
{
    memset(d, 0, sizeof *d);
    d->p = p;
    enum err e = problem_list(p->tubs_n, sizeof *d->batch_of, &d->batch_of, why);
    if (e == ERR_OK)
        e = problem_list(p->tubs_n, sizeof *d->run_of, &d->run_of, why);
    if (e != ERR_OK) {
        draft_done(d);
        return e;
    }
    for (int i = 0; i < p->tubs_n; i++)
        d->batch_of[i] = d->run_of[i] = DRAFT_NONE;
    return ERR_OK;
}

void
draft_done(struct draft *d)
{
    for (int i = 0; i < d->batches_n; i++)
        free(d->batches[i].tubs);
    free(d->batches);
    free(d->batch_of);
    free(d->run_of);
    memset(d, 0, sizeof *d);
}

enum err
draft_add(struct draft *d, int recipe, int day, const int *tubs, const int *runs, int n,
          struct err_text *why)
{
    if (d->batches_n == d->batches_room) {
        int room = d->batches_room == 0 ? 16 : d->batches_room * 2;
        struct draft_batch *more = realloc(d->batches, (size_t)room * sizeof *more);
        if (more == NULL)
            return err_set(ERR_MEM, why, "no memory for a batch");
        d->batches = more;
        d->batches_room = room;
    }
    struct draft_batch *b = &d->batches[d->batches_n];
    *b = (struct draft_batch){recipe, day, problem_ready_day(d->p, recipe, day), 0, NULL, n};
    enum err e = problem_list(n, sizeof *b->tubs, &b->tubs, why);
    if (e != ERR_OK)
        return e;
    for (int i = 0; i < n; i++) {
        b->tubs[i] = tubs[i];
        b->g += d->p->tubs[tubs[i]].g;
        d->batch_of[tubs[i]] = d->batches_n;
        d->run_of[tubs[i]] = runs == NULL ? DRAFT_NONE : runs[i];
    }
    d->batches_n++;
    return ERR_OK;
}

void
draft_remove(struct draft *d, int batch)
{
    struct draft_batch *b = &d->batches[batch];
    for (int i = 0; i < b->n; i++)
        d->batch_of[b->tubs[i]] = d->run_of[b->tubs[i]] = DRAFT_NONE;
    free(b->tubs);
    *b = d->batches[--d->batches_n];
    for (int i = 0; batch < d->batches_n && i < b->n; i++)
        d->batch_of[b->tubs[i]] = batch;
}

enum err
draft_copy(const struct draft *from, struct draft *out_to, struct err_text *why)
{
    struct draft to;
    int *runs = NULL;
    enum err e = draft_init(&to, from->p, why);
    if (e != ERR_OK)
        return e;
    e = problem_list(from->p->tubs_n, sizeof *runs, &runs, why);
    for (int i = 0; e == ERR_OK && i < from->batches_n; i++) {
        const struct draft_batch *b = &from->batches[i];
        for (int k = 0; k < b->n; k++)
            runs[k] = from->run_of[b->tubs[k]];
        e = draft_add(&to, b->recipe, b->day, b->tubs, runs, b->n, why);
    }
    free(runs);
    if (e != ERR_OK) {
        draft_done(&to);
        return e;
    }
    *out_to = to;
    return ERR_OK;
}

static void
set_runs(const struct plan *plan, int *run_of)
{
    for (int i = 0; i < plan->loads_n; i++)
        for (int k = 0; k < plan->loads[i].tubs_n; k++)
            run_of[plan->loads[i].tubs[k]] = plan->loads[i].run;
}

enum err
draft_from_plan(struct draft *out, const struct problem *p, const struct plan *plan,
                struct err_text *why)
{
    struct draft d;
    int *run_of = NULL;
    int *runs = NULL;
    enum err e = draft_init(&d, p, why);
    if (e != ERR_OK)
        return e;
    e = problem_list(p->tubs_n, sizeof *run_of, &run_of, why);
    if (e == ERR_OK)
        e = problem_list(p->tubs_n, sizeof *runs, &runs, why);
    for (int i = 0; e == ERR_OK && i < p->tubs_n; i++)
        run_of[i] = DRAFT_NONE;
    if (e == ERR_OK)
        set_runs(plan, run_of);
    for (int i = 0; e == ERR_OK && i < plan->batches_n; i++) {
        const struct plan_batch *b = &plan->batches[i];
        for (int k = 0; k < b->tubs_n; k++)
            runs[k] = run_of[b->tubs[k]];
        e = draft_add(&d, b->recipe, b->day, b->tubs, runs, b->tubs_n, why);
    }
    free(run_of);
    free(runs);
    if (e != ERR_OK) {
        draft_done(&d);
        return e;
    }
    *out = d;
    return ERR_OK;
}

void
draft_loads(const struct draft *d, int64_t *out_g)
{
    memset(out_g, 0, (size_t)d->p->runs_n * sizeof *out_g);
    for (int i = 0; i < d->p->tubs_n; i++)
        if (d->run_of[i] != DRAFT_NONE)
            out_g[d->run_of[i]] += d->p->tubs[i].g;
}

void
draft_supply(const struct draft *d, int64_t *out_supply)
{
    memset(out_supply, 0, (size_t)share_supply_n(d->p) * sizeof *out_supply);
    for (int i = 0; i < d->batches_n; i++) {
        const struct draft_batch *b = &d->batches[i];
        const struct problem_recipe *r = &d->p->recipes[b->recipe];
        *share_supply_at(d->p, out_supply, r->product, b->ready) += b->g * r->yield_ml_per_kg;
    }
}

/* Tubs in order of run, then id; from[i] is where those of run i begin. */
static void
sort_by_run(const struct draft *d, int *from, int *tubs)
{
    int runs = d->p->runs_n;
    for (int i = 0; i < d->p->tubs_n; i++)
        if (d->run_of[i] != DRAFT_NONE)
            from[d->run_of[i] + 1]++;
    for (int i = 0; i < runs; i++)
        from[i + 1] += from[i];
    for (int i = 0; i < d->p->tubs_n; i++)
        if (d->run_of[i] != DRAFT_NONE)
            tubs[from[d->run_of[i]]++] = i;
    for (int i = runs; i > 0; i--) /* each was moved on to where the next begins */
        from[i] = from[i - 1];
    from[0] = 0;
}

static enum err
add_loads(const struct draft *d, struct plan *plan, struct err_text *why)
{
    int *from = NULL;
    int *tubs = NULL;
    enum err e = problem_list(d->p->runs_n + 1, sizeof *from, &from, why);
    if (e == ERR_OK)
        e = problem_list(d->p->tubs_n, sizeof *tubs, &tubs, why);
    if (e == ERR_OK)
        sort_by_run(d, from, tubs);
    for (int i = 0; e == ERR_OK && i < d->p->runs_n; i++)
        if (from[i + 1] > from[i])
            e = plan_add_load(plan, i, &tubs[from[i]], from[i + 1] - from[i], why);
    free(from);
    free(tubs);
    return e;
}

enum err
draft_plan(const struct draft *d, struct plan **out_plan, struct err_text *why)
{
    struct plan *plan = plan_new();
    enum err e = plan == NULL ? err_set(ERR_MEM, why, "no memory for the plan") : ERR_OK;
    for (int i = 0; e == ERR_OK && i < d->batches_n; i++)
        e = plan_add_batch(plan, d->batches[i].recipe, d->batches[i].day, d->batches[i].tubs,
                           d->batches[i].n, why);
    if (e == ERR_OK)
        e = add_loads(d, plan, why);
    if (e != ERR_OK) {
        plan_free(plan);
        return e;
    }
    *out_plan = plan;
    return ERR_OK;
}
