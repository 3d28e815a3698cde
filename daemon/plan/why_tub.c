/* why_tub.c - why a plan does not use a tub. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/plan/check.h"
#include "daemon/plan/why_look.h"

enum {
    TRIALS_MOST = 300
};

static const struct problem_tub *
tub_of(const struct why_look *look, int tub)
{
    return &look->p->tubs[tub];
}

/* ---- what no resource can mend ---- */

static void
say_used(struct why_look *look, int tub)
{
    char mix[16], by[16];
    const struct plan_batch *batch = &look->plan->batches[look->batch_of[tub]];
    const char *recipe = look->p->recipes[batch->recipe].id;
    int run = look->run_of[tub];
    if (run == WHY_NONE)
        why_say(look, "It is used: %.2f kg into %s of %s; it is in the kitchen.",
                (double)tub_of(look, tub)->g / 1000, recipe,
                why_date(look->today, batch->day, mix));
    else
        why_say(look, "It is used: %.2f kg into %s of %s; run %s brings it on %s.",
                (double)tub_of(look, tub)->g / 1000, recipe, why_date(look->today, batch->day, mix),
                look->p->runs[run].id, why_date(look->today, look->p->runs[run].day, by));
}

static bool
no_recipe(struct why_look *look, int tub)
{
    const struct problem *p = look->p;
    const struct problem_tub *t = tub_of(look, tub);
    bool takes = false, fits = false;
    for (int r = 0; r < p->recipes_n; r++) {
        takes |= problem_takes(&p->recipes[r], t->profile);
        fits |= problem_takes(&p->recipes[r], t->profile) && t->g <= p->recipes[r].puck_max_g;
    }
    if (!takes)
        why_say(look, "No recipe takes grounds of %s.", p->profiles[t->profile].id);
    else if (!fits)
        why_say(look, "At %.2f kg it is heavier than any batch that takes it may be.",
                (double)t->g / 1000);
    return !fits;
}

/* Why no run can bring it. */
static void
say_no_run(struct why_look *look, int tub)
{
    const struct problem *p = look->p;
    const struct problem_tub *t = tub_of(look, tub);
    int first = WHY_NONE, last = WHY_NONE;
    char a[16], b[16];
    for (int i = 0; i < p->runs_n; i++)
        if (p->runs[i].route == p->sites[t->site].route && p->runs[i].day >= 0) {
            first = first == WHY_NONE || p->runs[i].day < first ? p->runs[i].day : first;
            last = p->runs[i].day > last ? p->runs[i].day : last;
        }
    if (first == WHY_NONE)
        why_say(look, "No van run passes %s in these %d days.", p->sites[t->site].id, p->days);
    else if (first > t->use_by_day)
        why_say(look, "The first run past %s is on %s, after its date, %s.", p->sites[t->site].id,
                why_date(look->today, first, a), why_date(look->today, t->use_by_day, b));
    else
        why_say(look, "It is frozen on %s, too late for the last run past %s, on %s.",
                why_date(look->today, t->frozen_day, a), p->sites[t->site].id,
                why_date(look->today, last, b));
}

/* Whether tubs for a batch of `day` go out on an evening on which this one is there and good. */
static bool
evening_fits(const struct why_look *look, int tub, int from, int day)
{
    int thaw = look->p->calendar[day].thaw_day;
    return thaw != PROBLEM_NEVER && thaw >= from && thaw <= tub_of(look, tub)->use_by_day;
}

static bool
no_evening(struct why_look *look, int tub, int from)
{
    char a[16], b[16];
    for (int d = 0; d < look->p->days; d++)
        if (evening_fits(look, tub, from, d))
            return false;
    why_say(look,
            "There is no evening between %s, when it can be in the kitchen, and its date, %s, on "
            "which tubs go out to thaw.",
            why_date(look->today, from, a),
            why_date(look->today, tub_of(look, tub)->use_by_day, b));
    return true;
}

/* ---- the best use of it in the plan as it is ---- */

struct trial {
    struct why_look *look;
    int tub, run;      /* the run that is to bring it, WHY_NONE: it is there */
    int *room;         /* tubs of a line */
    check_units worth; /* of the plan as it is */
    check_units best;  /* of the best plan with the tub in it */
    int batch, out;    /* how: into this batch, in the place of this tub or WHY_NONE */
    int left;          /* trials */
    char broken[WHY_TEXT / 2];
};

/* A line's tubs without `out`, and with the tub when `with`; how many there are. */
static int
line_tubs(const struct trial *t, const int *tubs, int n, int out, bool with)
{
    int k = 0;
    for (int i = 0; i < n; i++)
        if (tubs[i] != out)
            t->room[k++] = tubs[i];
    if (with)
        t->room[k++] = t->tub;
    return k;
}

static enum err
add_loads(const struct trial *t, int out, struct plan *plan, struct err_text *why)
{
    const struct plan *from = t->look->plan;
    bool rides = t->run == WHY_NONE;
    enum err e = ERR_OK;
    for (int i = 0; i < from->loads_n && e == ERR_OK; i++) {
        const struct plan_load *load = &from->loads[i];
        bool with = load->run == t->run;
        int n = line_tubs(t, load->tubs, load->tubs_n, out, with);
        rides = rides || with;
        if (n > 0)
            e = plan_add_load(plan, load->run, t->room, n, why);
    }
    return e == ERR_OK && !rides ? plan_add_load(plan, t->run, &t->tub, 1, why) : e;
}

/* The plan with the tub in the batch, in the place of `out`. */
static enum err
plan_with(const struct trial *t, int batch, int out, struct plan *plan, struct err_text *why)
{
    const struct plan *from = t->look->plan;
    enum err e = add_loads(t, out, plan, why);
    for (int i = 0; i < from->batches_n && e == ERR_OK; i++) {
        const struct plan_batch *b = &from->batches[i];
        int n = line_tubs(t, b->tubs, b->tubs_n, out, i == batch);
        e = plan_add_batch(plan, b->recipe, b->day, t->room, n, why);
    }
    for (int i = 0; i < from->orders_n && e == ERR_OK; i++)
        e = plan_add_order(plan, from->orders[i].order, from->orders[i].ml, why);
    for (int i = 0; i < from->sales_n && e == ERR_OK; i++)
        e = plan_add_sale(plan, from->sales[i].product, from->sales[i].day, from->sales[i].ml, why);
    for (int i = 0; i < from->discards_n && e == ERR_OK; i++)
        e = plan_add_discard(plan, from->discards[i].product, from->discards[i].day,
                             from->discards[i].ml, why);
    return e;
}

static enum err
try_in(struct trial *t, int batch, int out, struct err_text *why)
{
    struct check_result check;
    struct plan *plan = plan_new();
    t->left--;
    enum err e = plan != NULL ? plan_with(t, batch, out, plan, why)
                              : err_set(ERR_MEM, why, "no memory for a plan");
    if (e == ERR_OK)
        e = check_plan(t->look->p, plan, &check, why);
    plan_free(plan);
    if (e != ERR_OK)
        return e;
    if (check.broken_n > 0 && t->broken[0] == '\0')
        (void)snprintf(t->broken, sizeof t->broken, "%.120s", check.broken[0].text);
    if (check.broken_n == 0 && (t->batch == WHY_NONE || check.worth > t->best)) {
        t->best = check.worth;
        t->batch = batch;
        t->out = out;
    }
    return ERR_OK;
}

static enum err
try_batch(struct trial *t, int batch, struct err_text *why)
{
    const struct plan_batch *b = &t->look->plan->batches[batch];
    enum err e = try_in(t, batch, WHY_NONE, why);
    for (int i = 0; i < b->tubs_n && e == ERR_OK && t->left > 0; i++)
        e = try_in(t, batch, b->tubs[i], why);
    return e;
}

static void
say_best(struct trial *t)
{
    struct why_look *look = t->look;
    char date[16];
    if (t->batch == WHY_NONE) {
        if (t->broken[0] != '\0')
            why_say(look, "It goes into no batch of the plan as it is: %s.", t->broken);
        else
            why_say(look, "No batch of the plan takes it.");
        return;
    }
    const struct plan_batch *b = &look->plan->batches[t->batch];
    double less = check_cents(t->worth - t->best) / 100;
    (void)why_date(look->today, b->day, date);
    const char *recipe = look->p->recipes[b->recipe].id;
    const char *out = t->out != WHY_NONE ? look->p->tubs[t->out].id : "";
    why_say(look, "Put into %s of %s%s%s, with all else as it is, it makes the plan worth %.2f %s.",
            recipe, date, t->out != WHY_NONE ? " in the place of " : " as well", out,
            less < 0 ? -less : less, less < 0 ? "more" : "less");
}

static enum err
find_best(struct why_look *look, int tub, int run, int from, struct err_text *why)
{
    struct trial t = {.look = look, .tub = tub, .run = run, .batch = WHY_NONE, .left = TRIALS_MOST};
    const struct problem *p = look->p;
    struct check_result now;
    enum err e = check_plan(p, look->plan, &now, why);
    t.worth = e == ERR_OK ? now.worth : 0;
    if (e == ERR_OK)
        e = problem_list(p->tubs_n + 1, sizeof *t.room, &t.room, why);
    for (int i = 0; i < look->plan->batches_n && e == ERR_OK && t.left > 0; i++) {
        const struct plan_batch *b = &look->plan->batches[i];
        if (problem_takes(&p->recipes[b->recipe], p->tubs[tub].profile) &&
            evening_fits(look, tub, from, b->day))
            e = try_batch(&t, i, why);
    }
    free(t.room);
    if (e == ERR_OK)
        say_best(&t);
    return e;
}

/* ---- what one more unit might mend ---- */

static void
bind_van(struct why_look *look, int tub, int run)
{
    const struct problem *p = look->p;
    char date[16];
    if (run == WHY_NONE)
        return;
    int64_t g = p->tubs[tub].g, free_g = p->runs[run].van_g - look->load_g[run];
    if (free_g < g) {
        why_ask_for(look, "van", "%s+%.3f", p->runs[run].id, (double)g / 1000);
        why_say(look, "Run %s of %s has room for %.2f kg more; the tub has %.2f kg.",
                p->runs[run].id, why_date(look->today, p->runs[run].day, date),
                (double)free_g / 1000, (double)g / 1000);
    } else if (look->load_g[run] == 0) {
        why_say(look, "Run %s of %s brings nothing; to go it costs %.2f.", p->runs[run].id,
                why_date(look->today, p->runs[run].day, date),
                (double)p->runs[run].fixed_cents / 100);
    }
}

/* Every batch that could take it and could start. */
static void
bind_batches(struct why_look *look, int tub, int from)
{
    const struct problem *p = look->p;
    int said = look->out->said_n;
    bool free_day = false;
    for (int r = 0; r < p->recipes_n; r++)
        for (int d = 0; d < p->days; d++)
            if (problem_takes(&p->recipes[r], p->tubs[tub].profile) &&
                evening_fits(look, tub, from, d)) {
                free_day |= !why_bind(look, r, d);
                if (look->out->said_n > said + 2)
                    look->out->said_n = said + 2; /* two examples are enough */
            }
    if (free_day)
        why_say(look, "There are days with a station, work and ingredients for one more batch: it "
                      "would cost more than its product brings.");
}

static void
say_unused(struct why_look *look, int tub)
{
    const struct problem_tub *t = tub_of(look, tub);
    char date[16];
    int64_t rate = problem_unused_cents_per_kg(look->p, t);
    (void)why_date(look->today, t->use_by_day, date);
    if (t->use_by_day < look->p->days)
        why_say(look, "Left until its date, %s, it is lost.", date);
    else
        why_say(look, "It keeps until %s, after the plan's last day%s.", date,
                rate > 0 ? "" : ": it can wait");
}

enum err
why_tub(const struct problem *p, const struct plan *plan, int32_t today, int tub,
        struct why_answer *out_answer, struct err_text *why)
{
    struct why_look look;
    int run = WHY_NONE;
    enum err e = why_look_init(&look, p, plan, today, out_answer, why);
    int from = e == ERR_OK ? why_first_evening(p, tub, &run) : WHY_NONE;
    if (e != ERR_OK) {
        why_look_done(&look);
        return e;
    }
    out_answer->settled = true;
    if (look.batch_of[tub] != WHY_NONE) {
        say_used(&look, tub);
    } else if (no_recipe(&look, tub)) {
        say_unused(&look, tub);
    } else if (from == WHY_NONE) {
        say_no_run(&look, tub);
    } else if (!no_evening(&look, tub, from)) {
        out_answer->settled = false;
        e = find_best(&look, tub, run, from, why);
        say_unused(&look, tub);
        bind_van(&look, tub, run);
        bind_batches(&look, tub, from);
        (void)why_bind_fridge(&look);
    }
    why_look_done(&look);
    return e;
}
