/* search.c - dives and neighbourhoods over the class programme. */
#include "daemon/plan/search.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum {
    WHOLE_SMALL = 40,   /* so many whole numbers: searched to the end */
    COLS_MEDIUM = 2000, /* searched whole, for so many nodes */
    TENTHS_FIRST = 4,
    TENTHS_LEAST = 3,
    TENTHS_MOST = 9,
    COLS_LARGE = 7000, /* above: fewer dives and smaller neighbourhoods */
};

#define EXACT 1e-6

struct searching {
    const struct model *m;
    const struct lp *lp;
    struct search_found *found;
    int effort;
    int step;   /* neighbourhoods searched so far */
    int tenths; /* of AREA_SOME: more after one that was searched to its end, less after one that
                 * brought nothing in all its nodes */
    struct lp_warm *warm;
    double *relaxed;    /* the continuous solution */
    double *low, *high; /* bounds in use */
    double *x;          /* room for a solution */
    int *place_of;      /* by column: the batch day's place of a slot's batches, else -1 */
    struct err_text *why;
};

/* Keeps a solution among the best; equal ones once. */
static enum err
keep(struct searching *s, double worth)
{
    struct search_found *f = s->found;
    int at = f->n;
    for (int i = 0; i < f->n; i++)
        if (fabs(f->worth[i] - worth) < EXACT)
            return ERR_OK;
    while (at > 0 && f->worth[at - 1] < worth)
        at--;
    if (at == SEARCH_KEPT)
        return ERR_OK;
    double *copy = NULL;
    enum err e = problem_list(s->lp->cols, sizeof *copy, &copy, s->why);
    if (e != ERR_OK)
        return e;
    memcpy(copy, s->x, (size_t)s->lp->cols * sizeof *copy);
    if (f->n == SEARCH_KEPT)
        free(f->x[--f->n]);
    for (int i = f->n; i > at; i--) {
        f->x[i] = f->x[i - 1];
        f->worth[i] = f->worth[i - 1];
    }
    f->x[at] = copy;
    f->worth[at] = worth;
    f->n++;
    return ERR_OK;
}

static void
reset_bounds(struct searching *s)
{
    memcpy(s->low, s->lp->low, (size_t)s->lp->cols * sizeof *s->low);
    memcpy(s->high, s->lp->high, (size_t)s->lp->cols * sizeof *s->high);
}

/* ---- dives ---- */

static double
off_whole(double v)
{
    return fabs(v - floor(v + 0.5));
}

/* The column nearest to a whole number of those that are not; -1: none. *out_n: how many. */
static int
nearest(const struct searching *s, int *out_n)
{
    int best = -1;
    *out_n = 0;
    for (int i = 0; i < s->lp->cols; i++) {
        if (!s->lp->whole[i] || s->low[i] == s->high[i] || off_whole(s->x[i]) <= EXACT)
            continue;
        ++*out_n;
        if (best < 0 || off_whole(s->x[i]) < off_whole(s->x[best]))
            best = i;
    }
    return best;
}

/* Fixes the nearest `part` of what is not whole yet. */
static void
fix_nearest(struct searching *s, double part)
{
    int n = 0;
    (void)nearest(s, &n);
    int fix = (int)(n * part);
    for (int k = 0; k < (fix < 1 ? 1 : fix); k++) {
        int i = nearest(s, &n);
        s->low[i] = s->high[i] = floor(s->x[i] + 0.5);
        lp_warm_bound(s->warm, i, s->low[i], s->high[i]);
    }
}

static bool
solve_warm(struct searching *s, double *out_worth)
{
    if (lp_warm_solve(s->warm, out_worth, NULL) != ERR_OK)
        return false;
    for (int i = 0; i < s->lp->cols; i++)
        s->x[i] = lp_warm_value(s->warm, i);
    return true;
}

/* Rounds and solves in turn until all is whole. A dive that ends nowhere is no error. */
static enum err
dive(struct searching *s, double part)
{
    double worth = 0;
    int n = 1;
    reset_bounds(s);
    for (int i = 0; i < s->lp->cols; i++)
        if (s->lp->whole[i])
            lp_warm_bound(s->warm, i, s->low[i], s->high[i]);
    while (n > 0) {
        if (!solve_warm(s, &worth))
            return ERR_OK;
        (void)nearest(s, &n);
        if (n > 0)
            fix_nearest(s, part);
    }
    return keep(s, worth);
}

/* ---- a part of the whole numbers free ---- */

enum area {
    AREA_ALL,       /* everything */
    AREA_DISAGREES, /* where the continuous solution and the best one differ */
    AREA_NEAR,      /* batches where they differ, but by less than one and a half */
    AREA_EARLY,     /* batches of the first half of the days */
    AREA_LATE,
    AREA_MIDDLE,
    AREA_SOME, /* so many tenths, by lot: another lot at each step */
};

/* A lot that is the same on every machine. */
static bool
drawn(int step, int tenths, int col)
{
    uint64_t z = ((uint64_t)step << 32) + (uint64_t)col + UINT64_C(0x9E3779B97F4A7C15);
    z = (z ^ (z >> 30)) * UINT64_C(0xBF58476D1CE4E5B9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94D049BB133111EB);
    return (z ^ (z >> 31)) % 10 < (uint64_t)tenths;
}

static bool
in_area(const struct searching *s, enum area area, int col)
{
    double off = fabs(s->relaxed[col] - floor(s->found->x[0][col] + 0.5));
    int days = s->m->classes->days_n;
    int place = s->place_of[col];
    switch (area) {
    case AREA_ALL:
        return true;
    case AREA_DISAGREES:
        return off > 0.1;
    case AREA_NEAR:
        return place >= 0 && off > EXACT && off < 1.5;
    case AREA_EARLY:
        return place >= 0 && place <= days / 2;
    case AREA_LATE:
        return place >= days / 2;
    case AREA_MIDDLE:
        return place >= days / 4 && place <= days / 4 + days / 2;
    default:
        return drawn(s->step, s->tenths, col);
    }
}

/* How wide the next lot is drawn. */
static void
adapt(struct searching *s, double before, double bound)
{
    double best = s->found->worth[0];
    if (bound <= best + 1 + 2e-6 * fabs(best))
        s->tenths += s->tenths < TENTHS_MOST;
    else if (best <= before + 1)
        s->tenths -= s->tenths > TENTHS_LEAST;
}

/* Searches with all whole numbers outside of the area as in the best solution. */
static enum err
search_area(struct searching *s, enum area area, int nodes)
{
    double worth = 0;
    double bound = 0;
    s->step++;
    reset_bounds(s);
    for (int i = 0; s->found->n > 0 && i < s->lp->cols; i++)
        if (s->lp->whole[i] && !in_area(s, area, i))
            s->low[i] = s->high[i] = floor(s->found->x[0][i] + 0.5);
    struct lp sub = *s->lp; /* the same programme with other bounds */
    sub.low = s->low;
    sub.high = s->high;
    struct lp_search how = {.nodes = nodes * (s->effort > 1 ? s->effort : 1),
                            .gap = 0.5,
                            .start = s->found->n > 0 ? s->found->x[0] : NULL,
                            .quick = true};
    enum err e = lp_search(&sub, &how, s->x, &worth, &bound, s->why);
    if (area == AREA_ALL && bound < s->found->bound)
        s->found->bound = bound;
    double before = s->found->n > 0 ? s->found->worth[0] : -LP_FREE;
    if (e == ERR_OK)
        e = keep(s, worth);
    if (s->found->n > 0 && area == AREA_SOME)
        adapt(s, before, bound);
    return e == ERR_NOT_FOUND ? ERR_OK : e;
}

struct step {
    enum area area;
    int nodes;
};

static enum err
do_steps(struct searching *s, const struct step *steps, size_t n)
{
    enum err e = ERR_OK;
    for (size_t i = 0; e == ERR_OK && i < n; i++)
        if (s->found->n > 0 || steps[i].area == AREA_ALL)
            e = search_area(s, steps[i].area, steps[i].nodes);
    return e;
}

#define STEPS(...)                                  \
    do_steps(s, (const struct step[]){__VA_ARGS__}, \
             sizeof((const struct step[]){__VA_ARGS__}) / sizeof(struct step))

static enum err
search_small(struct searching *s)
{
    return STEPS({AREA_ALL, 3000});
}

static enum err
search_medium(struct searching *s)
{
    enum err e = dive(s, 0.5);
    if (e == ERR_OK)
        e = dive(s, 0.2);
    for (int round = 0; e == ERR_OK && round < s->effort; round++)
        e = STEPS({AREA_DISAGREES, 100}, {AREA_NEAR, 120}, {AREA_EARLY, 40}, {AREA_LATE, 40},
                  {AREA_SOME, 50}, {AREA_NEAR, 120}, {AREA_SOME, 50}, {AREA_SOME, 50});
    return e == ERR_OK ? STEPS({AREA_ALL, 1}) : e;
}

static enum err
search_large(struct searching *s)
{
    enum err e = dive(s, 0.2);
    if (e == ERR_OK)
        e = dive(s, 0.05);
    return e == ERR_OK ? STEPS({AREA_DISAGREES, 30}, {AREA_NEAR, 40}, {AREA_LATE, 20}) : e;
}

static enum err
search_huge(struct searching *s)
{
    enum err e = dive(s, 0.2);
    return e == ERR_OK ? STEPS({AREA_EARLY, 10}) : e;
}

/* ---- all of it ---- */

static enum err
start(struct searching *s)
{
    const struct {
        size_t size;
        void *out;
    } rooms[] = {
        {sizeof *s->relaxed, &s->relaxed},   {sizeof *s->low, &s->low},
        {sizeof *s->high, &s->high},         {sizeof *s->x, &s->x},
        {sizeof *s->place_of, &s->place_of},
    };
    enum err e = ERR_OK;
    for (size_t i = 0; e == ERR_OK && i < sizeof rooms / sizeof rooms[0]; i++)
        e = problem_list(s->lp->cols, rooms[i].size, rooms[i].out, s->why);
    if (e == ERR_OK)
        e = lp_warm_new(s->lp, &s->warm, s->why);
    for (int i = 0; e == ERR_OK && i < s->lp->cols; i++)
        s->place_of[i] = -1;
    for (int i = 0; e == ERR_OK && i < s->m->slots_n; i++)
        s->place_of[s->m->slots[i].n_col] = s->m->slots[i].place;
    return e;
}

/* The continuous solution is the first bound. */
static void
relax(struct searching *s)
{
    double worth = 0;
    if (!solve_warm(s, &worth))
        return;
    memcpy(s->relaxed, s->x, (size_t)s->lp->cols * sizeof *s->x);
    s->found->bound = worth + 1e-6 * fabs(worth) + 1e-3;
}

/* For an answer at once: dives, and one look around. */
static enum err
search_quick(struct searching *s)
{
    static const double parts[] = {0.5, 0.2, 0.05};
    enum err e = ERR_OK;
    size_t dives = s->lp->cols > COLS_LARGE ? 1 : sizeof parts / sizeof parts[0];
    for (size_t i = 0; e == ERR_OK && i < dives; i++)
        e = dive(s, parts[i]);
    if (e == ERR_OK && s->lp->cols <= COLS_MEDIUM)
        e = STEPS({AREA_NEAR, 20}, {AREA_SOME, 10});
    return e;
}

static enum err
search(struct searching *s)
{
    int whole = 0;
    relax(s);
    for (int i = 0; i < s->lp->cols; i++)
        whole += s->lp->whole[i];
    if (whole <= WHOLE_SMALL)
        return search_small(s);
    if (s->effort == 0)
        return search_quick(s);
    if (s->lp->cols <= COLS_MEDIUM)
        return search_medium(s);
    return s->lp->cols <= COLS_LARGE ? search_large(s) : search_huge(s);
}

enum err
search_classes(const struct model *m, int effort, struct search_found *out, struct err_text *why)
{
    struct searching s = {
        .m = m, .lp = &m->lp, .found = out, .effort = effort, .tenths = TENTHS_FIRST, .why = why};
    memset(out, 0, sizeof *out);
    out->bound = LP_FREE;
    enum err e = start(&s);
    if (e == ERR_OK)
        e = search(&s);
    lp_warm_free(s.warm);
    free(s.relaxed);
    free(s.low);
    free(s.high);
    free(s.x);
    free(s.place_of);
    if (e != ERR_OK)
        search_done(out);
    return e;
}

void
search_done(struct search_found *found)
{
    for (int i = 0; i < found->n; i++)
        free(found->x[i]);
    memset(found, 0, sizeof *found);
}
