/* polish.c - one window of days as a programme over tubs. */
#include "daemon/plan/polish.h"

#include <stdlib.h>
#include <string.h>

struct polish {
    struct draft *d;
    const struct problem *p;
    const struct classes *c;
    const struct share *share;
    const struct polish_window *window;
    struct model m;
    int *tubs; /* that may move */
    int tubs_n;
    int64_t *load_g; /* by run: of tubs that stay */
    double settled;  /* cents that tubs that stay save and cost */
    double *start, *x;
    int *slot_of; /* by batch of the draft: its slot in the model */
};

static bool
is_free(const struct polish *s, const struct draft_batch *b)
{
    return s->window->free_place[classes_place(s->c, b->day)];
}

/* Batches of one recipe on one day that the model allows for: what the stations hold. */
static int
copies(const struct problem *p)
{
    return p->stations < 3 ? p->stations : 3;
}

int64_t
polish_size(const struct problem *p, const struct classes *classes, int places)
{
    int64_t usable = 0;
    for (int i = 0; i < p->tubs_n; i++)
        usable += classes->class_of[i] >= 0;
    return usable * places * p->recipes_n * copies(p);
}

static enum err
add_slots(struct polish *s, struct err_text *why)
{
    enum err e = ERR_OK;
    for (int i = 0; e == ERR_OK && i < s->d->batches_n; i++) {
        const struct draft_batch *b = &s->d->batches[i];
        s->slot_of[i] = -1;
        if (is_free(s, b))
            continue;
        s->slot_of[i] = s->m.slots_n;
        e = model_add_slot(&s->m, b->recipe, classes_place(s->c, b->day), 1, (double)b->g, why);
    }
    for (int place = 0; e == ERR_OK && place < s->c->days_n; place++)
        for (int r = 0; e == ERR_OK && s->window->free_place[place] && r < s->p->recipes_n; r++)
            for (int k = 0; e == ERR_OK && k < copies(s->p); k++)
                e = model_add_slot(&s->m, r, place, 1, -1, why);
    return e;
}

static void
sort_out_tubs(struct polish *s)
{
    for (int i = 0; i < s->p->tubs_n; i++) {
        const struct problem_tub *t = &s->p->tubs[i];
        int batch = s->d->batch_of[i];
        int run = s->d->run_of[i];
        if (s->c->class_of[i] < 0)
            continue;
        if (batch == DRAFT_NONE || is_free(s, &s->d->batches[batch])) {
            s->tubs[s->tubs_n++] = i;
            continue;
        }
        double kg = (double)t->g / 1000;
        s->settled += kg * (double)problem_unused_cents_per_kg(s->p, t);
        if (run != DRAFT_NONE) {
            s->load_g[run] += t->g;
            s->settled -= kg * model_run_cents_per_kg(s->p, run);
        }
    }
}

/* Free batches by falling mass take the free slots of their recipe and day in turn. */
static void
match_slots(struct polish *s)
{
    for (int slot = 0; slot < s->m.slots_n; slot++) {
        const struct model_slot *k = &s->m.slots[slot];
        int best = -1;
        for (int i = 0; k->fixed_g < 0 && i < s->d->batches_n; i++) {
            const struct draft_batch *b = &s->d->batches[i];
            if (s->slot_of[i] < 0 && b->recipe == k->recipe && b->day == k->day &&
                (best < 0 || b->g > s->d->batches[best].g))
                best = i;
        }
        if (best >= 0)
            s->slot_of[best] = slot;
    }
}

/* The draft as it is, in whole numbers of the model. */
static void
set_start(struct polish *s)
{
    match_slots(s);
    for (int i = 0; i < s->d->batches_n; i++)
        if (s->slot_of[i] >= 0)
            s->start[s->m.slots[s->slot_of[i]].n_col] = 1;
    for (int i = 0; i < s->p->tubs_n; i++)
        if (s->d->run_of[i] != DRAFT_NONE)
            s->start[s->m.run_col[s->d->run_of[i]]] = 1;
    for (int i = 0; i < s->m.picks_n; i++) {
        const struct model_pick *k = &s->m.picks[i];
        int batch = s->d->batch_of[k->tub];
        bool in = k->slot >= 0 ? batch != DRAFT_NONE && s->slot_of[batch] == k->slot
                               : s->d->run_of[k->tub] == k->run;
        s->start[k->col] = in ? 1 : 0;
    }
}

static enum err
build(struct polish *s, struct err_text *why)
{
    enum err e = model_init(&s->m, s->p, s->c, s->share, why);
    if (e == ERR_OK)
        e = problem_list(s->p->tubs_n, sizeof *s->tubs, &s->tubs, why);
    if (e == ERR_OK)
        e = problem_list(s->p->runs_n, sizeof *s->load_g, &s->load_g, why);
    if (e == ERR_OK)
        e = problem_list(s->d->batches_n, sizeof *s->slot_of, &s->slot_of, why);
    if (e == ERR_OK)
        e = add_slots(s, why);
    if (e != ERR_OK)
        return e;
    sort_out_tubs(s);
    e = model_add_kitchen(&s->m, s->load_g, s->settled, why);
    if (e == ERR_OK)
        e = model_add_tubs(&s->m, s->tubs, s->tubs_n, why);
    if (e == ERR_OK)
        e = problem_list(s->m.lp.cols, sizeof *s->start, &s->start, why);
    if (e == ERR_OK)
        e = problem_list(s->m.lp.cols, sizeof *s->x, &s->x, why);
    if (e == ERR_OK)
        set_start(s);
    return e;
}

static bool
picked(const struct polish *s, const struct model_pick *k)
{
    return s->x[k->col] > 0.5;
}

/* The batch of a free slot, as picked. */
static enum err
add_batch(struct polish *s, struct draft *to, int slot, int *tubs, int *runs, struct err_text *why)
{
    int n = 0;
    for (int i = 0; i < s->m.picks_n; i++)
        if (s->m.picks[i].slot == slot && picked(s, &s->m.picks[i])) {
            tubs[n] = s->m.picks[i].tub;
            runs[n++] = DRAFT_NONE;
        }
    for (int t = 0; t < n; t++)
        for (int i = 0; i < s->m.picks_n; i++)
            if (s->m.picks[i].slot < 0 && s->m.picks[i].tub == tubs[t] && picked(s, &s->m.picks[i]))
                runs[t] = s->m.picks[i].run;
    return n == 0
               ? ERR_OK
               : draft_add(to, s->m.slots[slot].recipe, s->m.slots[slot].day, tubs, runs, n, why);
}

/* The draft with its free days as the programme has them. */
static enum err
rebuild(struct polish *s, struct draft *out, struct err_text *why)
{
    struct draft to;
    int *tubs = NULL;
    int *runs = NULL;
    enum err e = draft_copy(s->d, &to, why);
    if (e != ERR_OK)
        return e;
    e = problem_list(s->p->tubs_n, sizeof *tubs, &tubs, why);
    if (e == ERR_OK)
        e = problem_list(s->p->tubs_n, sizeof *runs, &runs, why);
    for (int i = to.batches_n - 1; i >= 0; i--)
        if (is_free(s, &to.batches[i]))
            draft_remove(&to, i);
    for (int slot = 0; e == ERR_OK && slot < s->m.slots_n; slot++)
        if (s->m.slots[slot].fixed_g < 0)
            e = add_batch(s, &to, slot, tubs, runs, why);
    free(tubs);
    free(runs);
    if (e != ERR_OK)
        draft_done(&to);
    else
        *out = to;
    return e;
}

static enum err
solve(struct polish *s, bool *out_better, double *out_bound, struct err_text *why)
{
    double worth = 0;
    struct draft to;
    struct lp_search how = {
        .nodes = s->window->nodes, .gap = s->window->gap, .start = s->start, .quick = true};
    enum err e = lp_search(&s->m.lp, &how, s->x, &worth, out_bound, why);
    if (e == ERR_NOT_FOUND)
        return ERR_OK;
    if (e == ERR_OK)
        e = rebuild(s, &to, why);
    if (e != ERR_OK)
        return e;
    draft_done(s->d);
    *s->d = to;
    *out_better = true;
    return ERR_OK;
}

enum err
polish_days(struct draft *d, const struct classes *classes, const struct share *share,
            const struct polish_window *window, bool *out_better, double *out_bound,
            struct err_text *why)
{
    struct polish s = {.d = d, .p = d->p, .c = classes, .share = share, .window = window};
    *out_better = false;
    *out_bound = LP_FREE;
    enum err e = build(&s, why);
    if (e == ERR_OK)
        e = solve(&s, out_better, out_bound, why);
    model_done(&s.m);
    free(s.tubs);
    free(s.load_g);
    free(s.slot_of);
    free(s.start);
    free(s.x);
    return e;
}
