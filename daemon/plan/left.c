/* left.c - resources counted down batch by batch. */
#include "daemon/plan/left.h"

#include <stdlib.h>
#include <string.h>

enum {
    NO_BATCH = -1
};

static int64_t
least(int64_t a, int64_t b)
{
    return a < b ? a : b;
}

static int64_t
work_ms(int64_t s_per_batch, int64_t s_per_kg, int64_t g)
{
    return s_per_batch * 1000 + s_per_kg * g;
}

static void
set_days(struct left *l)
{
    const struct problem *p = l->p;
    for (int day = 0; day < p->days; day++) {
        l->stations[day] = p->stations;
        l->labour_ms[day] = p->calendar[day].labour_s * 1000;
        for (int i = 0; i < p->straining_n; i++) {
            const struct problem_straining *s = &p->straining[i];
            const struct problem_recipe *r = &p->recipes[s->recipe];
            l->stations[day] -= s->ready_day > day;
            if (s->ready_day == day)
                l->labour_ms[day] -= work_ms(r->bottle_s_per_batch, r->bottle_s_per_kg, s->puck_g);
        }
    }
}

static void
set_parts(struct left *l)
{
    const struct problem *p = l->p;
    for (int part = 0; part < p->ingredients_n; part++) {
        const struct problem_ingredient *g = &p->ingredients[part];
        for (int day = 0; day < p->days; day++) {
            int64_t have_g = g->stock_g;
            for (int i = 0; i < g->deliveries_n; i++)
                have_g += g->deliveries[i].day <= day ? g->deliveries[i].g : 0;
            l->part_mg[part * p->days + day] = have_g * 1000;
        }
    }
}

static void
set_late(struct left *l)
{
    const struct problem *p = l->p;
    l->late_ul = p->fridge_ml * 1000;
    for (int i = 0; i < p->straining_n; i++)
        if (p->straining[i].ready_day >= p->days)
            l->late_ul -=
                p->straining[i].puck_g * p->recipes[p->straining[i].recipe].yield_ml_per_kg;
}

enum err
left_init(struct left *l, const struct problem *p, struct err_text *why)
{
    memset(l, 0, sizeof *l);
    l->p = p;
    enum err e = problem_list(p->days, sizeof *l->stations, &l->stations, why);
    if (e == ERR_OK)
        e = problem_list(p->days, sizeof *l->labour_ms, &l->labour_ms, why);
    if (e == ERR_OK)
        e = problem_list(p->ingredients_n * p->days, sizeof *l->part_mg, &l->part_mg, why);
    if (e != ERR_OK) {
        left_done(l);
        return e;
    }
    set_days(l);
    set_parts(l);
    set_late(l);
    return ERR_OK;
}

void
left_done(struct left *l)
{
    free(l->stations);
    free(l->labour_ms);
    free(l->part_mg);
    memset(l, 0, sizeof *l);
}

/* Grams that `left_ms` of work allow. */
static int64_t
grams_of_work(int64_t left_ms, int64_t s_per_batch, int64_t s_per_kg)
{
    int64_t ms = left_ms - s_per_batch * 1000;
    if (ms < 0)
        return NO_BATCH;
    return s_per_kg == 0 ? INT64_MAX : ms / s_per_kg;
}

static int64_t
grams_of_parts(const struct left *l, const struct problem_recipe *r, int day)
{
    int64_t g = INT64_MAX;
    for (int part = 0; part < l->p->ingredients_n; part++) {
        if (r->need_g_per_kg[part] == 0)
            continue;
        for (int x = day; x < l->p->days; x++)
            g = least(g, l->part_mg[part * l->p->days + x] / r->need_g_per_kg[part]);
    }
    return g;
}

static int64_t
grams_of_store(const struct left *l, const struct problem_recipe *r)
{
    if (l->late_ul < 0)
        return NO_BATCH;
    return r->yield_ml_per_kg == 0 ? INT64_MAX : l->late_ul / r->yield_ml_per_kg;
}

int64_t
left_most_grams(const struct left *l, int recipe, int day, int ready)
{
    const struct problem_recipe *r = &l->p->recipes[recipe];
    for (int x = day; x < ready && x < l->p->days; x++)
        if (l->stations[x] < 1)
            return NO_BATCH;
    int64_t g =
        least(r->puck_max_g, grams_of_work(l->labour_ms[day], r->mix_s_per_batch, r->mix_s_per_kg));
    g = least(g, grams_of_parts(l, r, day));
    if (ready >= l->p->days)
        return least(g, grams_of_store(l, r));
    return least(g, grams_of_work(l->labour_ms[ready], r->bottle_s_per_batch, r->bottle_s_per_kg));
}

void
left_use(struct left *l, int recipe, int day, int ready, int64_t g, int sign)
{
    const struct problem *p = l->p;
    const struct problem_recipe *r = &p->recipes[recipe];
    for (int x = day; x < ready && x < p->days; x++)
        l->stations[x] -= sign;
    l->labour_ms[day] -= sign * work_ms(r->mix_s_per_batch, r->mix_s_per_kg, g);
    if (ready < p->days)
        l->labour_ms[ready] -= sign * work_ms(r->bottle_s_per_batch, r->bottle_s_per_kg, g);
    else
        l->late_ul -= sign * g * r->yield_ml_per_kg;
    for (int part = 0; part < p->ingredients_n; part++)
        for (int x = day; x < p->days; x++)
            l->part_mg[part * p->days + x] -= sign * g * r->need_g_per_kg[part];
}
