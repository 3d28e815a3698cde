/* tidy.c - staff mistrust plans that pass over old tubs; most of that costs nothing to avoid. */
#include "daemon/plan/tidy.h"

#include <stdlib.h>

enum {
    PAIRS_TUBS_MOST = 12000, /* two for two is looked for up to so many tubs */
    TRIES_MOST = 40,         /* older tubs looked at for one younger one */
};

struct tidy {
    struct draft *d;
    const struct problem *p;
    int *by_mass;    /* tubs by profile, mass, date */
    int *by_date;    /* tubs by profile, date */
    int *mass_place; /* by tub: its place in by_mass */
    int *from;       /* by profile, and one more: where it begins in both */
};

static const struct problem_tub *
tub_of(const struct tidy *s, int tub)
{
    return &s->p->tubs[tub];
}

static int
compare(int64_t a, int64_t b)
{
    return a < b ? -1 : a > b;
}

static int
date_order(const void *a, const void *b, void *problem)
{
    const struct problem *p = problem;
    const struct problem_tub *x = &p->tubs[*(const int *)a];
    const struct problem_tub *y = &p->tubs[*(const int *)b];
    int c = compare(x->profile, y->profile);
    c = c != 0 ? c : compare(x->use_by_day, y->use_by_day);
    return c != 0 ? c : compare(*(const int *)a, *(const int *)b);
}

static int
mass_order(const void *a, const void *b, void *problem)
{
    const struct problem *p = problem;
    const struct problem_tub *x = &p->tubs[*(const int *)a];
    const struct problem_tub *y = &p->tubs[*(const int *)b];
    int c = compare(x->profile, y->profile);
    c = c != 0 ? c : compare(x->g, y->g);
    return c != 0 ? c : date_order(a, b, problem);
}

static int
thaw_of(const struct tidy *s, int batch)
{
    return s->p->calendar[s->d->batches[batch].day].thaw_day;
}

/* Whether tub `b` is in the kitchen and good on the thaw day of a batch. */
static bool
there(const struct tidy *s, int b, int batch)
{
    const struct problem_tub *t = tub_of(s, b);
    int run = s->d->run_of[b];
    if (t->use_by_day < thaw_of(s, batch))
        return false;
    return run != DRAFT_NONE ? s->p->runs[run].day <= thaw_of(s, batch)
                             : t->at == PROBLEM_AT_KITCHEN;
}

/* Whether `b` is used after the batch, or never. */
static bool
later(const struct tidy *s, int b, int batch)
{
    int other = s->d->batch_of[b];
    return other == DRAFT_NONE || s->d->batches[other].day > s->d->batches[batch].day;
}

/* Whether older `b` may take the place of younger `a`, who is in `batch`. */
static bool
may_swap(const struct tidy *s, int a, int b, int batch)
{
    return tub_of(s, b)->use_by_day < tub_of(s, a)->use_by_day && later(s, b, batch) &&
           there(s, b, batch);
}

static void
put(struct tidy *s, int batch, int out, int in)
{
    struct draft_batch *b = &s->d->batches[batch];
    for (int i = 0; i < b->n; i++)
        if (b->tubs[i] == out)
            b->tubs[i] = in;
    b->g += tub_of(s, in)->g - tub_of(s, out)->g;
    s->d->batch_of[in] = batch;
}

/* `a` and `b` change places. Who is in no batch is not collected either. */
static void
swap(struct tidy *s, int a, int b)
{
    int of_a = s->d->batch_of[a];
    int of_b = s->d->batch_of[b];
    put(s, of_a, a, b);
    if (of_b != DRAFT_NONE)
        put(s, of_b, b, a);
    else {
        s->d->batch_of[a] = DRAFT_NONE;
        s->d->run_of[a] = DRAFT_NONE;
    }
}

/* The oldest tub of the same mass that may take the place of `a`; DRAFT_NONE: there is none. */
static int
same_mass(const struct tidy *s, int a, int batch)
{
    int f = tub_of(s, a)->profile;
    int found = DRAFT_NONE;
    for (int i = s->mass_place[a] - 1; i >= s->from[f]; i--) { /* older ones stand before */
        int b = s->by_mass[i];
        if (tub_of(s, b)->g != tub_of(s, a)->g)
            break;
        if (may_swap(s, a, b, batch))
            found = b;
    }
    return found;
}

/* ---- two for two ---- */

/* Whether a2 and b2 may go along with the swap of a and b, and even out the masses. */
static bool
evens_out(const struct tidy *s, int a, int b, int a2, int b2, int batch)
{
    const struct problem_tub *x = tub_of(s, a2);
    const struct problem_tub *y = tub_of(s, b2);
    return a2 != a && b2 != b && x->profile == y->profile &&
           tub_of(s, a)->g + x->g == tub_of(s, b)->g + y->g && y->use_by_day <= x->use_by_day &&
           later(s, b2, batch) && there(s, b2, batch);
}

static bool
swap_pairs(struct tidy *s, int a, int b, int batch)
{
    int other = s->d->batch_of[b];
    for (int i = 0; other != DRAFT_NONE && i < s->d->batches[batch].n; i++)
        for (int k = 0; k < s->d->batches[other].n; k++) {
            int a2 = s->d->batches[batch].tubs[i];
            int b2 = s->d->batches[other].tubs[k];
            if (!evens_out(s, a, b, a2, b2, batch))
                continue;
            swap(s, a, b);
            swap(s, a2, b2);
            return true;
        }
    return false;
}

static bool
swap_with_company(struct tidy *s, int a, int batch)
{
    int f = tub_of(s, a)->profile;
    int tries = 0;
    for (int i = s->from[f]; i < s->from[f + 1] && tries < TRIES_MOST; i++) {
        int b = s->by_date[i];
        if (tub_of(s, b)->use_by_day >= tub_of(s, a)->use_by_day)
            break;
        if (s->d->batch_of[b] == DRAFT_NONE || !may_swap(s, a, b, batch))
            continue;
        tries++;
        if (swap_pairs(s, a, b, batch))
            return true;
    }
    return false;
}

static void
tidy_batch(struct tidy *s, int batch, bool pairs)
{
    for (int i = 0; i < s->d->batches[batch].n; i++) {
        int a = s->d->batches[batch].tubs[i];
        int b = same_mass(s, a, batch);
        if (b != DRAFT_NONE)
            swap(s, a, b);
        else if (pairs)
            (void)swap_with_company(s, a, batch);
    }
}

/* ---- all of it ---- */

static void
sort_all(struct tidy *s)
{
    int n = s->p->tubs_n;
    for (int i = 0; i < n; i++)
        s->by_mass[i] = s->by_date[i] = i;
    qsort_r(s->by_mass, (size_t)n, sizeof(int), mass_order, (void *)s->p);
    qsort_r(s->by_date, (size_t)n, sizeof(int), date_order, (void *)s->p);
    for (int i = 0; i < n; i++) {
        s->mass_place[s->by_mass[i]] = i;
        s->from[tub_of(s, s->by_mass[i])->profile + 1] = i + 1;
    }
    for (int f = 1; f <= s->p->profiles_n; f++)
        if (s->from[f] == 0)
            s->from[f] = s->from[f - 1];
}

static void
tidy_days(struct tidy *s)
{
    bool pairs = s->p->tubs_n <= PAIRS_TUBS_MOST;
    for (int round = 0; round < 2; round++)
        for (int day = 0; day < s->p->days; day++)
            for (int batch = 0; batch < s->d->batches_n; batch++)
                if (s->d->batches[batch].day == day)
                    tidy_batch(s, batch, pairs && round > 0);
}

enum err
tidy_draft(struct draft *d, struct err_text *why)
{
    struct tidy s = {.d = d, .p = d->p};
    enum err e = problem_list(d->p->tubs_n, sizeof *s.by_mass, &s.by_mass, why);
    if (e == ERR_OK)
        e = problem_list(d->p->tubs_n, sizeof *s.by_date, &s.by_date, why);
    if (e == ERR_OK)
        e = problem_list(d->p->tubs_n, sizeof *s.mass_place, &s.mass_place, why);
    if (e == ERR_OK)
        e = problem_list(d->p->profiles_n + 1, sizeof *s.from, &s.from, why);
    if (e == ERR_OK) {
        sort_all(&s);
        tidy_days(&s);
    }
    free(s.by_mass);
    free(s.by_date);
    free(s.mass_place);
    free(s.from);
    return e;
}
