/* classes.c - tubs sorted by what the rules can tell of them. */
#include "daemon/plan/classes.h"

#include <stdlib.h>
#include <string.h>

/* What the rules can tell of one tub. */
struct look {
    int tub;
    bool usable;
    struct tub_class as;
};

static int
compare(int64_t a, int64_t b)
{
    return a < b ? -1 : a > b;
}

static int
thaw_order(const void *a, const void *b, void *problem)
{
    const struct problem *p = problem;
    int x = *(const int *)a;
    int y = *(const int *)b;
    int c = compare(p->calendar[x].thaw_day, p->calendar[y].thaw_day);
    return c != 0 ? c : compare(x, y);
}

static int
run_order(const void *a, const void *b, void *problem)
{
    const struct problem *p = problem;
    int x = *(const int *)a;
    int y = *(const int *)b;
    int c = compare(p->runs[x].route, p->runs[y].route);
    c = c != 0 ? c : compare(p->runs[x].day, p->runs[y].day);
    return c != 0 ? c : compare(x, y);
}

static int
class_order(const struct tub_class *x, const struct tub_class *y)
{
    int c = compare(x->profile, y->profile);
    c = c != 0 ? c : compare(x->last, y->last);
    c = c != 0 ? c : compare(x->route, y->route);
    c = c != 0 ? c : compare(y->rate, x->rate);
    c = c != 0 ? c : compare(x->run_from, y->run_from);
    return c != 0 ? c : compare(x->run_to, y->run_to);
}

static int
look_order(const void *a, const void *b, void *problem)
{
    const struct problem *p = problem;
    const struct look *x = a;
    const struct look *y = b;
    if (x->usable != y->usable)
        return x->usable ? -1 : 1;
    int c = class_order(&x->as, &y->as);
    c = c != 0 ? c : compare(p->tubs[x->tub].use_by_day, p->tubs[y->tub].use_by_day);
    return c != 0 ? c : compare(x->tub, y->tub);
}

static bool
some_recipe_takes(const struct problem *p, const struct problem_tub *t)
{
    for (int i = 0; i < p->recipes_n; i++)
        if (problem_takes(&p->recipes[i], t->profile) && t->g <= p->recipes[i].puck_max_g)
            return true;
    return false;
}

/* The runs that can bring the tub in time for a thaw day up to `thaw`. */
static void
find_runs(const struct classes *c, const struct problem *p, const struct problem_tub *t, int thaw,
          struct tub_class *as)
{
    as->run_from = 0;
    as->run_to = 0;
    for (int i = 0; i < p->runs_n; i++) {
        const struct problem_run *r = &p->runs[c->runs[i]];
        if (r->route != as->route || r->day <= t->frozen_day || r->day > t->use_by_day ||
            r->day > thaw || r->van_g < t->g)
            continue;
        if (as->run_to == 0)
            as->run_from = i;
        as->run_to = i + 1;
    }
}

static struct look
look_at(const struct classes *c, const struct problem *p, int tub)
{
    const struct problem_tub *t = &p->tubs[tub];
    struct look k = {.tub = tub, .usable = some_recipe_takes(p, t)};
    k.as.profile = t->profile;
    k.as.rate = problem_unused_cents_per_kg(p, t);
    k.as.route = t->at == PROBLEM_AT_KITCHEN ? CLASSES_KITCHEN : p->sites[t->site].route;
    k.as.last = -1;
    while (k.as.last + 1 < c->days_n &&
           p->calendar[c->days[k.as.last + 1]].thaw_day <= t->use_by_day)
        k.as.last++;
    if (k.as.last < 0)
        k.usable = false;
    if (k.usable && k.as.route != CLASSES_KITCHEN) {
        find_runs(c, p, t, p->calendar[c->days[k.as.last]].thaw_day, &k.as);
        k.usable = k.as.run_to > k.as.run_from;
    }
    return k;
}

static void
gather(struct classes *c, const struct problem *p, const struct look *looks)
{
    int n = 0;
    for (int i = 0; i < p->tubs_n; i++)
        c->class_of[i] = -1;
    for (; n < p->tubs_n && looks[n].usable; n++) {
        if (n == 0 || class_order(&looks[n - 1].as, &looks[n].as) != 0) {
            c->list[c->list_n] = looks[n].as;
            c->list[c->list_n++].tub_from = n;
        }
        struct tub_class *k = &c->list[c->list_n - 1];
        k->tub_to = n + 1;
        k->g += p->tubs[looks[n].tub].g;
        c->tubs[n] = looks[n].tub;
        c->class_of[looks[n].tub] = c->list_n - 1;
    }
}

static void
sort_days_and_runs(struct classes *c, const struct problem *p)
{
    for (int day = 0; day < p->days; day++)
        if (p->calendar[day].thaw_day != PROBLEM_NEVER)
            c->days[c->days_n++] = day;
    qsort_r(c->days, (size_t)c->days_n, sizeof(int), thaw_order, (void *)p);
    for (int i = 0; i < p->runs_n; i++)
        c->runs[i] = i;
    qsort_r(c->runs, (size_t)p->runs_n, sizeof(int), run_order, (void *)p);
}

enum err
classes_init(struct classes *c, const struct problem *p, struct err_text *why)
{
    struct look *looks = NULL;
    memset(c, 0, sizeof *c);
    enum err e = problem_list(p->days, sizeof *c->days, &c->days, why);
    if (e == ERR_OK)
        e = problem_list(p->runs_n, sizeof *c->runs, &c->runs, why);
    if (e == ERR_OK)
        e = problem_list(p->tubs_n, sizeof *c->tubs, &c->tubs, why);
    if (e == ERR_OK)
        e = problem_list(p->tubs_n, sizeof *c->class_of, &c->class_of, why);
    if (e == ERR_OK)
        e = problem_list(p->tubs_n, sizeof *c->list, &c->list, why);
    if (e == ERR_OK)
        e = problem_list(p->tubs_n, sizeof *looks, &looks, why);
    if (e != ERR_OK) {
        classes_done(c);
        return e;
    }
    sort_days_and_runs(c, p);
    for (int i = 0; i < p->tubs_n; i++)
        looks[i] = look_at(c, p, i);
    qsort_r(looks, (size_t)p->tubs_n, sizeof *looks, look_order, (void *)p);
    gather(c, p, looks);
    free(looks);
    return ERR_OK;
}

void
classes_done(struct classes *c)
{
    free(c->days);
    free(c->runs);
    free(c->tubs);
    free(c->class_of);
    free(c->list);
    memset(c, 0, sizeof *c);
}

bool
classes_has_run(const struct classes *c, int at, int run)
{
    for (int i = c->list[at].run_from; i < c->list[at].run_to; i++)
        if (c->runs[i] == run)
            return true;
    return false;
}

int
classes_place(const struct classes *c, int day)
{
    for (int i = 0; i < c->days_n; i++)
        if (c->days[i] == day)
            return i;
    return 0;
}
