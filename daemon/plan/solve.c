/* solve.c - the plot of the optimiser: classes, tubs, days. */
#include "daemon/plan/solve.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/plan/polish.h"
#include "daemon/plan/product.h"
#include "daemon/plan/search.h"
#include "daemon/plan/spread.h"
#include "daemon/plan/tidy.h"

enum {
    WHOLE_PLAN_MOST = 400, /* picks of a programme over all days that is solved to the end */
    PAIR_MOST = 1500,      /* picks of a programme over two days that is worth a try */
    WINDOW_MOST = 5000,    /* and over one day */
    STARTS_MOST = 3,       /* drafts that get polished */
    WINDOWS_A_START = 25,
    WINDOWS_SOON = 4,
};

struct solving {
    const struct problem *p;
    int effort;
    solve_tell *tell;
    void *to;
    struct classes classes;
    struct share *share;
    struct draft best;
    check_units best_worth;
    double bound;                     /* cents */
    struct draft starts[STARTS_MOST]; /* the best drafts of the class programme, the best first */
    check_units start_worth[STARTS_MOST];
    int starts_n;
    int windows_left; /* programmes that may still be solved for this start */
    struct err_text *why;
};

static check_units
bound_units(const struct solving *s)
{
    if (s->bound >= LP_FREE / 2)
        return 0;
    check_units units = (check_units)ceil(s->bound * 10000) * (CHECK_UNITS_PER_CENT / 10000);
    return units > s->best_worth ? units : s->best_worth;
}

static enum err
tell_plan(struct solving *s, const struct plan *plan)
{
    return s->tell(s->to, plan, s->best_worth, bound_units(s), s->why);
}

/* Finishes the draft (taken: it is kept or ended here); the better one stays. */
static enum err
offer(struct solving *s, struct draft *d, bool *out_better)
{
    struct plan *plan = NULL;
    check_units worth = 0;
    *out_better = false;
    enum err e = product_finish(d, &s->classes, s->share, &plan, &worth, s->why);
    if (e == ERR_DAMAGED) { /* a mistake of ours: this draft is no good, others may be */
        draft_done(d);
        return ERR_OK;
    }
    if (e != ERR_OK || (s->best.p != NULL && worth <= s->best_worth)) {
        draft_done(d);
        plan_free(plan);
        return e;
    }
    *out_better = true;
    draft_done(&s->best);
    s->best = *d;
    s->best_worth = worth;
    e = tell_plan(s, plan);
    plan_free(plan);
    return e;
}

/* ---- classes ---- */

static enum err
keep_start(struct solving *s, const struct draft *d, check_units worth)
{
    int at = s->starts_n;
    struct draft copy;
    for (int i = 0; i < s->starts_n; i++)
        if (s->start_worth[i] == worth)
            return ERR_OK;
    while (at > 0 && s->start_worth[at - 1] < worth)
        at--;
    if (at == STARTS_MOST)
        return ERR_OK;
    enum err e = draft_copy(d, &copy, s->why);
    if (e != ERR_OK)
        return e;
    if (s->starts_n == STARTS_MOST)
        draft_done(&s->starts[--s->starts_n]);
    for (int i = s->starts_n; i > at; i--) {
        s->starts[i] = s->starts[i - 1];
        s->start_worth[i] = s->start_worth[i - 1];
    }
    s->starts[at] = copy;
    s->start_worth[at] = worth;
    s->starts_n++;
    return ERR_OK;
}

/* A finished worth of a draft that stays with the caller; ERR_OK and `*out_ok` false: no good. */
static enum err
weigh(struct solving *s, const struct draft *d, check_units *out_worth, bool *out_ok)
{
    struct plan *plan = NULL;
    enum err e = product_finish(d, &s->classes, s->share, &plan, out_worth, s->why);
    plan_free(plan);
    *out_ok = e == ERR_OK;
    return e == ERR_DAMAGED ? ERR_OK : e;
}

static enum err
offer_start(struct solving *s, struct draft *d)
{
    check_units worth = 0;
    bool ok = false;
    bool better = false;
    enum err e = weigh(s, d, &worth, &ok);
    if (e == ERR_OK && ok)
        e = keep_start(s, d, worth);
    if (e != ERR_OK) {
        draft_done(d);
        return e;
    }
    return offer(s, d, &better);
}

static enum err
spread_all(struct solving *s, const struct model *m, const struct search_found *found)
{
    for (int i = 0; i < found->n; i++)
        for (int again = 1; again >= 0; again--) {
            struct draft d;
            enum err e = spread_solution(m, found->x[i], again != 0, &d, s->why);
            if (e == ERR_OK)
                e = offer_start(s, &d);
            if (e != ERR_OK)
                return e;
        }
    return ERR_OK;
}

static enum err
do_classes(struct solving *s)
{
    struct model m;
    struct search_found found = {.n = 0};
    enum err e = model_init(&m, s->p, &s->classes, s->share, s->why);
    if (e == ERR_OK)
        e = model_add_all_slots(&m, s->why);
    if (e == ERR_OK)
        e = model_add_kitchen(&m, NULL, 0, s->why);
    if (e == ERR_OK)
        e = model_add_classes(&m, s->why);
    if (e == ERR_OK)
        e = search_classes(&m, s->effort, &found, s->why);
    if (e == ERR_OK) {
        s->bound = found.bound;
        e = spread_all(s, &m, &found);
    }
    search_done(&found);
    model_done(&m);
    return e;
}

/* ---- tubs ---- */

static int
nodes_times(const struct solving *s)
{
    return s->effort > 1 ? s->effort : 1;
}

/* Polishes one window of the draft; *out_better when its worth rose. */
static enum err
polish(struct solving *s, struct draft *d, const bool *free_place, int nodes, double gap,
       double *out_bound)
{
    struct polish_window window = {free_place, nodes, gap};
    bool better = false;
    return polish_days(d, &s->classes, s->share, &window, &better, out_bound, s->why);
}

static enum err
do_whole_plan(struct solving *s)
{
    struct draft d;
    bool *free_place = NULL;
    double bound = LP_FREE;
    bool better = false;
    enum err e = problem_list(s->classes.days_n, sizeof *free_place, &free_place, s->why);
    if (e != ERR_OK)
        return e;
    for (int i = 0; i < s->classes.days_n; i++)
        free_place[i] = true;
    e = draft_copy(&s->best, &d, s->why);
    if (e == ERR_OK)
        e = polish(s, &d, free_place, 20000 * nodes_times(s), 0.001, &bound);
    free(free_place);
    if (e != ERR_OK)
        return e;
    if (bound < s->bound && s->p->stations <= 3)
        s->bound = bound;
    return offer(s, &d, &better);
}

/* Polishing one draft: which windows have been looked at since it last changed. */
struct polishing {
    struct draft d;
    check_units worth;
    bool *free_place;
    int *seen;   /* by window: the draft's version when nothing was found */
    int version; /* from 1; one more with each change */
};

/* Whether no more is to be had than is worth the time: within so much of the bound. */
static bool
near_enough(const struct solving *s, check_units worth)
{
    double gap = s->effort > 1 ? 0.0002 : 0.0025;
    return s->bound < LP_FREE / 2 && check_cents(worth) >= s->bound - gap * fabs(s->bound);
}

static enum err
polish_window(struct solving *s, struct polishing *w, int a, int b)
{
    int days = s->classes.days_n;
    int *seen = &w->seen[a * days + b];
    check_units worth = 0;
    double bound = 0;
    bool ok = false;
    if (*seen == w->version || s->windows_left <= 0 || near_enough(s, w->worth))
        return ERR_OK;
    s->windows_left--;
    memset(w->free_place, 0, (size_t)days * sizeof *w->free_place);
    w->free_place[a] = w->free_place[b] = true;
    enum err e = polish(s, &w->d, w->free_place, 30 * nodes_times(s), 0.5, &bound);
    if (e == ERR_OK)
        e = weigh(s, &w->d, &worth, &ok);
    if (worth > w->worth + CHECK_UNITS_PER_CENT) {
        w->worth = worth;
        w->version++;
    }
    *seen = w->version;
    return e;
}

/* Windows of one day, then of two days, again and again until none brings anything. */
static enum err
polish_rounds(struct solving *s, struct polishing *w)
{
    int days = s->classes.days_n;
    bool pairs = polish_size(s->p, &s->classes, 2) <= PAIR_MOST;
    for (int before = 0; before < w->version;) {
        before = w->version;
        for (int apart = 0; apart < (pairs ? days : 1); apart++)
            for (int a = 0; a + apart < days; a++) {
                enum err e = polish_window(s, w, a, a + apart);
                if (e != ERR_OK)
                    return e;
            }
    }
    return ERR_OK;
}

static enum err
polish_start(struct solving *s, int start)
{
    struct polishing w = {.worth = s->start_worth[start], .version = 1};
    int days = s->classes.days_n;
    bool better = false;
    enum err e = draft_copy(&s->starts[start], &w.d, s->why);
    if (e == ERR_OK)
        e = problem_list(days, sizeof *w.free_place, &w.free_place, s->why);
    if (e == ERR_OK)
        e = problem_list(days * days, sizeof *w.seen, &w.seen, s->why);
    if (e == ERR_OK)
        e = polish_rounds(s, &w);
    free(w.free_place);
    free(w.seen);
    if (e == ERR_OK)
        return offer(s, &w.d, &better);
    draft_done(&w.d);
    return e;
}

static enum err
do_windows(struct solving *s)
{
    enum err e = ERR_OK;
    for (int i = 0; e == ERR_OK && i < s->starts_n; i++) {
        s->windows_left = s->effort > 0 ? WINDOWS_A_START * s->effort : WINDOWS_SOON;
        if (!near_enough(s, s->best_worth))
            e = polish_start(s, i);
    }
    return e;
}

static enum err
do_tubs(struct solving *s)
{
    int days = s->classes.days_n;
    if (days > 0 && polish_size(s->p, &s->classes, days) <= WHOLE_PLAN_MOST)
        return do_whole_plan(s);
    if (days > 0 && polish_size(s->p, &s->classes, 1) <= WINDOW_MOST)
        return do_windows(s);
    return ERR_OK;
}

/* ---- all of it ---- */

static enum err
do_first(struct solving *s, const struct plan *first)
{
    struct draft d;
    enum err e = draft_from_plan(&d, s->p, first, s->why);
    return e == ERR_OK ? offer_start(s, &d) : e;
}

/* Older tubs sooner, where that costs nothing. */
static enum err
do_tidy(struct solving *s)
{
    struct draft d;
    check_units worth = 0;
    bool ok = false;
    enum err e = draft_copy(&s->best, &d, s->why);
    if (e != ERR_OK)
        return e;
    e = tidy_draft(&d, s->why);
    if (e == ERR_OK)
        e = weigh(s, &d, &worth, &ok);
    if (e != ERR_OK || !ok || worth < s->best_worth) {
        draft_done(&d);
        return e;
    }
    draft_done(&s->best);
    s->best = d;
    s->best_worth = worth;
    return ERR_OK;
}

/* The last word: with the bound as it is now. */
static enum err
tell_last(struct solving *s)
{
    struct plan *plan = NULL;
    check_units worth = 0;
    enum err e = product_finish(&s->best, &s->classes, s->share, &plan, &worth, s->why);
    if (e == ERR_OK)
        e = tell_plan(s, plan);
    plan_free(plan);
    return e;
}

enum err
solve_problem(const struct problem *p, const struct plan *first, int effort, solve_tell *tell,
              void *to, struct err_text *why)
{
    struct solving s = {
        .p = p, .effort = effort, .tell = tell, .to = to, .bound = LP_FREE, .why = why};
    enum err e = classes_init(&s.classes, p, why);
    if (e == ERR_OK)
        e = share_new(p, &s.share, why);
    if (e == ERR_OK)
        e = do_first(&s, first);
    if (e == ERR_OK)
        e = do_classes(&s);
    if (e == ERR_OK)
        e = do_tubs(&s);
    if (e == ERR_OK)
        e = do_tidy(&s);
    if (e == ERR_OK)
        e = tell_last(&s);
    for (int i = 0; i < s.starts_n; i++)
        draft_done(&s.starts[i]);
    draft_done(&s.best);
    share_free(s.share);
    classes_done(&s.classes);
    return e;
}
