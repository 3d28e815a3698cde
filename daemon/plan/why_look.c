/* why_look.c - what a plan leaves of each resource, and which of them bind. */
#include "daemon/plan/why_look.h"

#include <inttypes.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "proto/when.h"

enum {
    NEARLY_FULL_PCT = 98
};

char *
why_date(int32_t today, int day, char out[16])
{
    static const char *const weekdays[] = {"Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"};
    static const char *const months[] = {"Jan", "Feb", "Mar", "Apr", "May", "Jun",
                                         "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"};
    int year, month, of_month;
    day_split(today + day, &year, &month, &of_month);
    (void)snprintf(out, 16, "%.3s %d %.3s", weekdays[day_weekday(today + day) - 1], of_month % 100,
                   months[month - 1]);
    return out;
}

/* ---- beginning and end ---- */

int64_t
why_batch_g(const struct why_look *look, int batch)
{
    int64_t g = 0;
    for (int i = 0; i < look->plan->batches[batch].tubs_n; i++)
        g += look->p->tubs[look->plan->batches[batch].tubs[i]].g;
    return g;
}

static void
look_at_plan(struct why_look *look)
{
    const struct problem *p = look->p;
    for (int i = 0; i < p->tubs_n; i++)
        look->batch_of[i] = look->run_of[i] = WHY_NONE;
    for (int i = 0; i < look->plan->batches_n; i++) {
        const struct plan_batch *batch = &look->plan->batches[i];
        for (int k = 0; k < batch->tubs_n; k++)
            look->batch_of[batch->tubs[k]] = i;
        int ready = problem_ready_day(p, batch->recipe, batch->day);
        left_use(&look->left, batch->recipe, batch->day, ready, why_batch_g(look, i), 1);
    }
    for (int i = 0; i < look->plan->loads_n; i++) {
        const struct plan_load *load = &look->plan->loads[i];
        for (int k = 0; k < load->tubs_n; k++) {
            look->run_of[load->tubs[k]] = load->run;
            look->load_g[load->run] += p->tubs[load->tubs[k]].g;
        }
    }
}

enum err
why_look_init(struct why_look *look, const struct problem *p, const struct plan *plan,
              int32_t today, struct why_answer *out, struct err_text *why)
{
    *look = (struct why_look){.p = p, .plan = plan, .today = today, .out = out};
    memset(out, 0, sizeof *out);
    enum err e = left_init(&look->left, p, why);
    if (e == ERR_OK)
        e = problem_list(p->tubs_n, sizeof *look->batch_of, &look->batch_of, why);
    if (e == ERR_OK)
        e = problem_list(p->tubs_n, sizeof *look->run_of, &look->run_of, why);
    if (e == ERR_OK)
        e = problem_list(p->runs_n, sizeof *look->load_g, &look->load_g, why);
    if (e == ERR_OK)
        look_at_plan(look);
    return e;
}

void
why_look_done(struct why_look *look)
{
    left_done(&look->left);
    free(look->batch_of);
    free(look->run_of);
    free(look->load_g);
}

/* ---- what is said, and asked ---- */

void
why_say(struct why_look *look, const char *format, ...)
{
    va_list args;
    if (look->out->said_n == WHY_SENTENCES)
        return;
    va_start(args, format);
    (void)vsnprintf(look->out->said[look->out->said_n++], WHY_TEXT, format, args);
    va_end(args);
}

void
why_ask_for(struct why_look *look, const char *kind, const char *format, ...)
{
    struct why_answer *out = look->out;
    struct why_ask ask = {.kind = kind};
    va_list args;
    va_start(args, format);
    (void)vsnprintf(ask.value, sizeof ask.value, format, args);
    va_end(args);
    for (int i = 0; i < out->asks_n; i++)
        if (strcmp(out->asks[i].kind, kind) == 0 && strcmp(out->asks[i].value, ask.value) == 0)
            return;
    if (out->asks_n < WHY_ASKS)
        out->asks[out->asks_n++] = ask;
}

/* ---- what binds ---- */

int
why_first_evening(const struct problem *p, int tub, int *out_run)
{
    const struct problem_tub *t = &p->tubs[tub];
    int best = WHY_NONE;
    *out_run = WHY_NONE;
    if (t->at == PROBLEM_AT_KITCHEN)
        return 0;
    for (int i = 0; i < p->runs_n; i++) {
        const struct problem_run *run = &p->runs[i];
        bool fits = run->route == p->sites[t->site].route && t->frozen_day < run->day &&
                    run->day <= t->use_by_day && run->day >= 0;
        if (fits && (best == WHY_NONE || run->day < best)) {
            best = run->day;
            *out_run = i;
        }
    }
    return best;
}

static bool
bind_stations(struct why_look *look, int day, int ready)
{
    char a[16], b[16];
    for (int x = day; x < ready && x < look->p->days; x++) {
        if (look->left.stations[x] > 0)
            continue;
        why_ask_for(look, "station", "+1");
        why_say(look, "A batch from %s on finds no station: all %d are taken on %s.",
                why_date(look->today, day, a), look->p->stations, why_date(look->today, x, b));
        return true;
    }
    return false;
}

static bool
bind_labour(struct why_look *look, int day, int64_t need_ms, const char *what)
{
    char date[16];
    if (day >= look->p->days || look->left.labour_ms[day] >= need_ms)
        return false;
    why_ask_for(look, "labour", "+1");
    why_say(look, "%s takes %.1f h, and %s has %.1f h of work left.", what,
            (double)need_ms / 3600000, why_date(look->today, day, date),
            (double)(look->left.labour_ms[day] > 0 ? look->left.labour_ms[day] : 0) / 3600000);
    return true;
}

static bool
bind_parts(struct why_look *look, const struct problem_recipe *r, int day, int64_t g)
{
    const struct problem *p = look->p;
    bool binds = false;
    for (int part = 0; part < p->ingredients_n; part++) {
        int64_t least_mg = INT64_MAX;
        for (int x = day; x < p->days; x++)
            if (look->left.part_mg[part * p->days + x] < least_mg)
                least_mg = look->left.part_mg[part * p->days + x];
        if (r->need_g_per_kg[part] == 0 || least_mg >= g * r->need_g_per_kg[part])
            continue;
        char date[16];
        int64_t lack_mg = g * r->need_g_per_kg[part] - least_mg; /* a kilogram alone is no batch */
        why_ask_for(look, "ingredient", "%s+%lld", p->ingredients[part].id,
                    (long long)((lack_mg + 999999) / 1000000));
        why_say(look, "%s is short on %s: %.2f kg are left, a batch takes %.2f kg.",
                p->ingredients[part].id, why_date(look->today, day, date), (double)least_mg / 1e6,
                (double)(g * r->need_g_per_kg[part]) / 1e6);
        binds = true;
    }
    return binds;
}

bool
why_bind(struct why_look *look, int recipe, int day)
{
    const struct problem *p = look->p;
    const struct problem_recipe *r = &p->recipes[recipe];
    int ready = problem_ready_day(p, recipe, day);
    int64_t g = r->puck_min_g > 0 ? r->puck_min_g : 1;
    char what[96];
    bool binds = bind_stations(look, day, ready < 0 ? p->days : ready);
    (void)snprintf(what, sizeof what, "Mixing a batch of %.63s", r->id);
    binds |= bind_labour(look, day, r->mix_s_per_batch * 1000 + r->mix_s_per_kg * g, what);
    (void)snprintf(what, sizeof what, "Bottling a batch of %.63s", r->id);
    if (ready >= 0)
        binds |=
            bind_labour(look, ready, r->bottle_s_per_batch * 1000 + r->bottle_s_per_kg * g, what);
    return bind_parts(look, r, day, g) || binds;
}

/* What stands at the end of day x at most: all that was ready by then less what went out. */
static int64_t
standing_ml(const struct why_look *look, int x)
{
    const struct problem *p = look->p;
    const struct plan *plan = look->plan;
    int64_t ml = 0;
    for (int i = 0; i < p->stock_n; i++)
        ml += p->stock[i].best_before_day > x ? p->stock[i].ml : 0;
    for (int i = 0; i < p->straining_n; i++)
        if (p->straining[i].ready_day <= x)
            ml +=
                p->straining[i].puck_g * p->recipes[p->straining[i].recipe].yield_ml_per_kg / 1000;
    for (int i = 0; i < plan->batches_n; i++)
        if (problem_ready_day(p, plan->batches[i].recipe, plan->batches[i].day) <= x)
            ml += why_batch_g(look, i) * p->recipes[plan->batches[i].recipe].yield_ml_per_kg / 1000;
    for (int i = 0; i < plan->orders_n; i++)
        ml -= p->orders[plan->orders[i].order].due_day <= x ? plan->orders[i].ml : 0;
    for (int i = 0; i < plan->sales_n; i++)
        ml -= plan->sales[i].day <= x ? plan->sales[i].ml : 0;
    for (int i = 0; i < plan->discards_n; i++)
        ml -= plan->discards[i].day <= x ? plan->discards[i].ml : 0;
    return ml;
}

bool
why_bind_fridge(struct why_look *look)
{
    for (int x = 0; x < look->p->calendar_n; x++) {
        char date[16];
        int64_t ml = standing_ml(look, x);
        if (ml < look->p->fridge_ml / 100 * NEARLY_FULL_PCT || ml == 0)
            continue;
        why_ask_for(look, "fridge", "+1");
        why_say(look, "The cold store is full on %s: %.1f l of %.1f l.",
                why_date(look->today, x, date), (double)ml / 1000,
                (double)look->p->fridge_ml / 1000);
        return true;
    }
    return false;
}
