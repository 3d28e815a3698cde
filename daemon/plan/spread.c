/* spread.c - one batch day after the other: choose tubs, fill vessels, tell the programme. */
#include "daemon/plan/spread.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/plan/left.h"
#include "daemon/plan/vessel.h"

enum {
    SPARE_LEAST = 5,
    SPARE_MOST = 80,
    CLOSE_ENOUGH_G = 10,
};

#define ANY_AMOUNT 1e12 /* kg */
#define SLACK 1e-6      /* kg: what is settled is settled to a milligram, rounding aside */

struct spread {
    const struct model *m;
    const struct problem *p;
    const struct classes *c;
    struct lp_warm *warm;
    struct left left;
    struct draft *draft;
    double *value;     /* by column: what the programme wants now */
    double *taken;     /* by flow: kilograms used so far */
    int64_t *van_left; /* by run */
    bool *used;        /* by tub: in a batch, or in a vessel being filled */
    int *order;        /* usable tubs by profile, oldest first */
    int *order_from;   /* by profile, and one more */
    double *mix_left;  /* by profile: kilograms still to go into the slot */
    int *chosen;       /* room for tubs */
    int *spare;
    int *runs;
};

static const struct problem_tub *
tub_of(const struct spread *s, int tub)
{
    return &s->p->tubs[tub];
}

static const struct tub_class *
class_of(const struct spread *s, int tub)
{
    return &s->c->list[s->c->class_of[tub]];
}

static int
oldest_first(const void *a, const void *b, void *problem)
{
    const struct problem *p = problem;
    const struct problem_tub *x = &p->tubs[*(const int *)a];
    const struct problem_tub *y = &p->tubs[*(const int *)b];
    int order = problem_tub_order(x, y);
    if (order != 0)
        return order;
    return *(const int *)a < *(const int *)b ? -1 : 1;
}

static void
sort_tubs(struct spread *s)
{
    int n = 0;
    for (int i = 0; i < s->p->tubs_n; i++)
        if (s->c->class_of[i] >= 0)
            s->order[n++] = i;
    qsort_r(s->order, (size_t)n, sizeof(int), oldest_first, (void *)s->p);
    for (int i = n - 1, f = s->p->profiles_n; f >= 0; f--) {
        s->order_from[f] = f == s->p->profiles_n ? n : s->order_from[f + 1];
        for (; i >= 0 && tub_of(s, s->order[i])->profile == f; i--)
            s->order_from[f] = i;
    }
}

/* ---- which tubs may come ---- */

/* The flow of the tub's class by which it may come today with `slack` kilograms over what the
 * programme wants; -1: none. The one with most to spare. */
static int
flow_for(const struct spread *s, int tub, int thaw, double slack)
{
    int at = s->c->class_of[tub];
    double kg = (double)tub_of(s, tub)->g / 1000;
    double most = kg / 2 - slack;
    int found = -1;
    int low = 0;
    int high = s->m->flows_n;
    while (low < high) { /* flows stand in order of their class */
        int mid = (low + high) / 2;
        if (s->m->flows[mid].class_at < at)
            low = mid + 1;
        else
            high = mid;
    }
    for (int i = low; i < s->m->flows_n && s->m->flows[i].class_at == at; i++) {
        const struct model_flow *f = &s->m->flows[i];
        double room = s->value[f->col] - s->taken[i];
        if (f->run >= 0 &&
            (s->p->runs[f->run].day > thaw ||
             s->p->runs[f->run].day <= tub_of(s, tub)->frozen_day ||
             s->p->runs[f->run].day > tub_of(s, tub)->use_by_day ||
             s->van_left[f->run] < tub_of(s, tub)->g || s->value[s->m->run_col[f->run]] < 0.5))
            continue;
        if (room >= most) {
            most = room;
            found = i;
        }
    }
    return found;
}

static void
take(struct spread *s, int tub, int flow)
{
    s->used[tub] = true;
    s->taken[flow] += (double)tub_of(s, tub)->g / 1000;
    if (s->m->flows[flow].run >= 0)
        s->van_left[s->m->flows[flow].run] -= tub_of(s, tub)->g;
}

/* ---- one day ---- */

/* Tubs of a profile for today, oldest first: about as many kilograms as the programme draws today,
 * whoever it had in mind (one that keeps can always wait in the place of one that does not).
 * Returns how many; they are in `out`, taken. */
static int
choose_profile(struct spread *s, int profile, int place, int *out)
{
    int thaw = s->p->calendar[s->c->days[place]].thaw_day;
    double left = 0;
    int n = 0;
    for (int i = 0; i < s->m->draws_n; i++)
        if (s->m->draws[i].profile == profile && s->m->draws[i].place == place)
            left += s->value[s->m->draws[i].col];
    for (int i = s->order_from[profile]; i < s->order_from[profile + 1]; i++) {
        int tub = s->order[i];
        double kg = (double)tub_of(s, tub)->g / 1000;
        if (s->used[tub] || class_of(s, tub)->last < place || left < kg / 2)
            continue;
        int flow = flow_for(s, tub, thaw, 0);
        if (flow < 0)
            continue;
        take(s, tub, flow);
        left -= kg;
        s->runs[tub] = flow;
        out[n++] = tub;
    }
    return n;
}

/* Gives a tub that was chosen back. */
static void
give_back(struct spread *s, int tub)
{
    int flow = s->runs[tub];
    s->used[tub] = false;
    s->taken[flow] -= (double)tub_of(s, tub)->g / 1000;
    if (s->m->flows[flow].run >= 0)
        s->van_left[s->m->flows[flow].run] += tub_of(s, tub)->g;
}

/* Batches of the slot that the programme wants. */
static int
wanted(const struct spread *s, int slot)
{
    return (int)floor(s->value[s->m->slots[slot].n_col] + 0.5);
}

/* While tubs are spare, their place in the van is kept for them (sign -1), then given free (1). */
static void
hold_vans(struct spread *s, const int *tubs, int n, int sign)
{
    for (int i = 0; i < n; i++) {
        int run = s->m->flows[s->runs[tubs[i]]].run;
        if (run >= 0)
            s->van_left[run] += sign * tub_of(s, tubs[i])->g;
    }
}

/* Tubs that might close a vessel of this recipe: oldest first, whether wanted or not. */
static int
find_spare(struct spread *s, const struct model_slot *slot, int reach, int *out)
{
    const struct problem_recipe *r = &s->p->recipes[slot->recipe];
    int thaw = s->p->calendar[slot->day].thaw_day;
    int n = 0;
    for (int f = 0; f < s->p->profiles_n; f++) {
        int found = 0;
        for (int i = s->order_from[f]; problem_takes(r, f) && i < s->order_from[f + 1]; i++) {
            int tub = s->order[i];
            if (found >= reach || s->used[tub] || class_of(s, tub)->last < slot->place)
                continue;
            int flow = flow_for(s, tub, thaw, ANY_AMOUNT);
            if (flow < 0)
                continue;
            s->runs[tub] = flow;
            hold_vans(s, &tub, 1, -1);
            out[n++] = tub;
            found++;
        }
    }
    return n;
}

/* Closes one vessel from the `reach` oldest spare tubs of each profile. */
static enum err
close_within(struct spread *s, const struct model_slot *slot, int reach, struct vessel *v,
             struct err_text *why)
{
    int *before = NULL;
    int before_n = v->n;
    enum err e = problem_list(v->n, sizeof *before, &before, why);
    if (e != ERR_OK)
        return e;
    memcpy(before, v->tubs, (size_t)v->n * sizeof *before);
    int n = find_spare(s, slot, reach, s->spare);
    vessel_close(s->p, v, s->spare, n, s->used);
    hold_vans(s, s->spare, n, 1);
    for (int i = 0; i < n; i++)
        if (s->used[s->spare[i]])
            take(s, s->spare[i], s->runs[s->spare[i]]);
    for (int i = 0; i < before_n; i++)
        if (!s->used[before[i]])
            give_back(s, before[i]);
    free(before);
    return ERR_OK;
}

/* Closes one vessel from what is spare; younger tubs are looked at only when the older do not do,
 * for one young tub in a vessel passes over all that are older. */
static enum err
close_one(struct spread *s, const struct model_slot *slot, struct vessel *v, struct err_text *why)
{
    enum err e = ERR_OK;
    for (int reach = SPARE_LEAST; e == ERR_OK && reach <= SPARE_MOST; reach *= 2)
        if (v->g + CLOSE_ENOUGH_G < v->most_g)
            e = close_within(s, slot, reach, v, why);
    return e;
}

/* Settles a vessel as a batch of the draft, or gives its tubs back when it is too empty. */
static enum err
settle(struct spread *s, const struct model_slot *slot, struct vessel *v, struct err_text *why)
{
    int *runs = NULL;
    if (v->n == 0 || v->g < s->p->recipes[slot->recipe].puck_min_g) {
        for (int i = 0; i < v->n; i++)
            give_back(s, v->tubs[i]);
        return ERR_OK;
    }
    enum err e = problem_list(v->n, sizeof *runs, &runs, why);
    for (int i = 0; e == ERR_OK && i < v->n; i++)
        runs[i] = s->m->flows[s->runs[v->tubs[i]]].run;
    if (e == ERR_OK)
        e = draft_add(s->draft, slot->recipe, slot->day, v->tubs, runs, v->n, why);
    free(runs);
    if (e == ERR_OK)
        left_use(&s->left, slot->recipe, slot->day, slot->ready, v->g, 1);
    return e;
}

/* Fills one vessel: `*n` chosen tubs are offered oldest first; those taken leave the list. */
static enum err
fill_vessel(struct spread *s, const struct model_slot *slot, int64_t target, int *tubs, int *n,
            struct err_text *why)
{
    struct vessel v = {0};
    int64_t most = left_most_grams(&s->left, slot->recipe, slot->day, slot->ready);
    int64_t min = s->p->recipes[slot->recipe].puck_min_g;
    v.most_g = target < min ? min : target;
    v.most_g = v.most_g > most ? most : v.most_g;
    enum err e = problem_list(s->p->tubs_n, sizeof *v.tubs, &v.tubs, why);
    if (e != ERR_OK)
        return e;
    int kept = 0;
    for (int i = 0; i < *n; i++) {
        const struct problem_tub *t = tub_of(s, tubs[i]);
        if (v.g + t->g <= v.most_g && problem_takes(&s->p->recipes[slot->recipe], t->profile)) {
            v.tubs[v.n++] = tubs[i];
            v.g += t->g;
        } else
            tubs[kept++] = tubs[i];
    }
    *n = kept;
    for (int i = 0; i < kept; i++) /* what is left over may be swapped in as well */
        give_back(s, tubs[i]);
    e = close_one(s, slot, &v, why);
    if (e == ERR_OK && v.g < min &&
        v.most_g < most) { /* from below it cannot be done: anything that is allowed */
        v.most_g = most < s->p->recipes[slot->recipe].puck_max_g
                       ? most
                       : s->p->recipes[slot->recipe].puck_max_g;
        e = close_one(s, slot, &v, why);
    }
    int again = 0;
    for (int i = 0; i < kept; i++) {
        if (s->used[tubs[i]])
            continue; /* was swapped in */
        int flow = flow_for(s, tubs[i], s->p->calendar[slot->day].thaw_day, ANY_AMOUNT);
        if (flow < 0)
            continue;
        s->runs[tubs[i]] = flow;
        take(s, tubs[i], flow);
        tubs[again++] = tubs[i];
    }
    *n = again;
    if (e == ERR_OK)
        e = settle(s, slot, &v, why);
    free(v.tubs);
    return e;
}

/* Moves of the chosen tubs of each profile as many as the mix wants into the slot's list. */
static int
portion(struct spread *s, int slot, int *chosen, int *chosen_n, int *out)
{
    int n = 0;
    int kept = 0;
    memset(s->mix_left, 0, (size_t)s->p->profiles_n * sizeof *s->mix_left);
    for (int i = 0; i < s->m->mixes_n; i++)
        if (s->m->mixes[i].slot == slot)
            s->mix_left[s->m->mixes[i].profile] = s->value[s->m->mixes[i].col];
    for (int i = 0; i < *chosen_n; i++) {
        const struct problem_tub *t = tub_of(s, chosen[i]);
        double kg = (double)t->g / 1000;
        if (s->mix_left[t->profile] >= kg / 2) {
            s->mix_left[t->profile] -= kg;
            out[n++] = chosen[i];
        } else
            chosen[kept++] = chosen[i];
    }
    *chosen_n = kept;
    return n;
}

static enum err
do_slot(struct spread *s, int slot, int *chosen, int *chosen_n, struct err_text *why)
{
    const struct model_slot *k = &s->m->slots[slot];
    int batches = wanted(s, slot);
    int *tubs = NULL;
    if (batches == 0)
        return ERR_OK;
    enum err e = problem_list(s->p->tubs_n, sizeof *tubs, &tubs, why);
    if (e != ERR_OK)
        return e;
    int n = portion(s, slot, chosen, chosen_n, tubs);
    double left_g = s->value[k->g_col] * 1000;
    for (int i = 0; e == ERR_OK && i < batches; i++) {
        int64_t target = (int64_t)floor(left_g / (batches - i) + 1e-3);
        int done = s->draft->batches_n;
        e = fill_vessel(s, k, target, tubs, &n, why);
        if (e == ERR_OK && s->draft->batches_n > done)
            left_g -= (double)s->draft->batches[done].g;
    }
    for (int i = 0; i < n; i++) /* left over: another slot of the day may want them */
        chosen[(*chosen_n)++] = tubs[i];
    free(tubs);
    return e;
}

/* ---- the programme is told what really happened ---- */

static void
settle_column(struct spread *s, int col, double value)
{
    lp_warm_bound(s->warm, col, value > SLACK ? value - SLACK : 0, value + SLACK);
}

static enum err
tell_day(struct spread *s, int place, struct err_text *why)
{
    const struct model *m = s->m;
    double *kg = NULL; /* by column */
    enum err e = problem_list(m->lp.cols, sizeof *kg, &kg, why);
    if (e != ERR_OK)
        return e;
    for (int i = 0; i < m->slots_n; i++) {
        const struct model_slot *k = &m->slots[i];
        if (k->place != place)
            continue;
        for (int b = 0; b < s->draft->batches_n; b++) {
            const struct draft_batch *d = &s->draft->batches[b];
            if (d->recipe != k->recipe || d->day != k->day)
                continue;
            kg[k->n_col] += 1;
            kg[k->g_col] += (double)d->g / 1000;
            for (int t = 0; t < d->n; t++) {
                for (int x = 0; x < m->mixes_n; x++)
                    if (m->mixes[x].slot == i &&
                        m->mixes[x].profile == tub_of(s, d->tubs[t])->profile)
                        kg[m->mixes[x].col] += (double)tub_of(s, d->tubs[t])->g / 1000;
                for (int x = 0; x < m->draws_n; x++)
                    if (m->draws[x].place == place &&
                        m->draws[x].profile == tub_of(s, d->tubs[t])->profile &&
                        m->draws[x].last == class_of(s, d->tubs[t])->last)
                        kg[m->draws[x].col] += (double)tub_of(s, d->tubs[t])->g / 1000;
            }
        }
        lp_warm_bound(s->warm, k->n_col, kg[k->n_col], kg[k->n_col]);
        settle_column(s, k->g_col, kg[k->g_col]);
        for (int x = 0; x < m->mixes_n; x++)
            if (m->mixes[x].slot == i)
                settle_column(s, m->mixes[x].col, kg[m->mixes[x].col]);
    }
    for (int x = 0; x < m->draws_n; x++)
        if (m->draws[x].place == place)
            settle_column(s, m->draws[x].col, kg[m->draws[x].col]);
    for (int i = 0; i < m->flows_n; i++) {
        double least = s->taken[i] > SLACK ? s->taken[i] - SLACK : 0;
        double most = m->lp.high[m->flows[i].col];
        lp_warm_bound(s->warm, m->flows[i].col, least, most > least ? most : least + 2 * SLACK);
    }
    free(kg);
    return ERR_OK;
}

/* Solves again; when nothing satisfies what has happened, the earlier values stay. */
static void
look_again(struct spread *s)
{
    double worth = 0;
    if (lp_warm_solve(s->warm, &worth, NULL) != ERR_OK)
        return;
    for (int i = 0; i < s->m->lp.cols; i++)
        s->value[i] = lp_warm_value(s->warm, i);
}

static enum err
do_day(struct spread *s, int place, bool again, struct err_text *why)
{
    int n = 0;
    if (again || place == 0)
        look_again(s);
    for (int f = 0; f < s->p->profiles_n; f++)
        n += choose_profile(s, f, place, &s->chosen[n]);
    for (int i = 0; i < s->m->slots_n; i++) {
        if (s->m->slots[i].place != place)
            continue;
        enum err e = do_slot(s, i, s->chosen, &n, why);
        if (e != ERR_OK)
            return e;
    }
    for (int i = 0; i < n; i++) /* chosen, but no vessel could take them */
        give_back(s, s->chosen[i]);
    return again ? tell_day(s, place, why) : ERR_OK;
}

static void
fix_whole(struct spread *s, const double *x)
{
    for (int i = 0; i < s->m->lp.cols; i++) {
        s->value[i] = x[i];
        if (s->m->lp.whole[i])
            lp_warm_bound(s->warm, i, floor(x[i] + 0.5), floor(x[i] + 0.5));
    }
}

static enum err
start(struct spread *s, struct err_text *why)
{
    const struct problem *p = s->p;
    const struct {
        int n;
        size_t size;
        void *out;
    } rooms[] = {
        {s->m->lp.cols, sizeof *s->value, &s->value},
        {s->m->flows_n, sizeof *s->taken, &s->taken},
        {p->runs_n, sizeof *s->van_left, &s->van_left},
        {p->tubs_n, sizeof *s->used, &s->used},
        {p->tubs_n, sizeof *s->order, &s->order},
        {p->profiles_n + 1, sizeof *s->order_from, &s->order_from},
        {p->profiles_n, sizeof *s->mix_left, &s->mix_left},
        {p->tubs_n, sizeof *s->chosen, &s->chosen},
        {p->tubs_n, sizeof *s->spare, &s->spare},
        {p->tubs_n, sizeof *s->runs, &s->runs},
    };
    enum err e = ERR_OK;
    for (size_t i = 0; e == ERR_OK && i < sizeof rooms / sizeof rooms[0]; i++)
        e = problem_list(rooms[i].n, rooms[i].size, rooms[i].out, why);
    if (e == ERR_OK)
        e = left_init(&s->left, p, why);
    if (e == ERR_OK)
        e = lp_warm_new(&s->m->lp, &s->warm, why);
    for (int i = 0; e == ERR_OK && i < p->runs_n; i++)
        s->van_left[i] = p->runs[i].van_g;
    return e;
}

static void
finish(struct spread *s)
{
    lp_warm_free(s->warm);
    left_done(&s->left);
    free(s->value);
    free(s->taken);
    free(s->van_left);
    free(s->used);
    free(s->order);
    free(s->order_from);
    free(s->mix_left);
    free(s->chosen);
    free(s->spare);
    free(s->runs);
}

enum err
spread_solution(const struct model *m, const double *x, bool again, struct draft *out_draft,
                struct err_text *why)
{
    struct draft draft;
    struct spread s = {.m = m, .p = m->p, .c = m->classes, .draft = &draft};
    enum err e = draft_init(&draft, m->p, why);
    if (e != ERR_OK)
        return e;
    e = start(&s, why);
    if (e == ERR_OK) {
        sort_tubs(&s);
        fix_whole(&s, x);
    }
    for (int place = 0; e == ERR_OK && place < m->classes->days_n; place++)
        e = do_day(&s, place, again, why);
    finish(&s);
    if (e != ERR_OK) {
        draft_done(&draft);
        return e;
    }
    *out_draft = draft;
    return ERR_OK;
}
