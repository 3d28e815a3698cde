/* why_batch.c - why a plan makes no larger batch, or none, and why an order is short. */
#include <stdio.h>
#include <string.h>

#include "daemon/plan/why_look.h"

/* Spare tubs that a batch of the recipe on that day could take, up to `room_g` each. */
static int
spare_tubs(const struct why_look *look, int recipe, int day, int64_t room_g, int64_t *out_g)
{
    const struct problem *p = look->p;
    int n = 0, thaw = p->calendar[day].thaw_day;
    *out_g = 0;
    for (int i = 0; i < p->tubs_n; i++) {
        int run, evening = why_first_evening(p, i, &run);
        bool spare = look->batch_of[i] == WHY_NONE && p->tubs[i].g <= room_g &&
                     problem_takes(&p->recipes[recipe], p->tubs[i].profile) &&
                     evening != WHY_NONE && evening <= thaw && p->tubs[i].use_by_day >= thaw;
        n += spare;
        *out_g += spare ? p->tubs[i].g : 0;
    }
    return n;
}

/* ---- a batch ---- */

static int
batches_there(const struct why_look *look, int recipe, int day)
{
    int n = 0;
    for (int i = 0; i < look->plan->batches_n; i++)
        n += look->plan->batches[i].recipe == recipe && look->plan->batches[i].day == day;
    return n;
}

static bool
no_start(struct why_look *look, int day)
{
    const struct problem *p = look->p;
    char date[16];
    (void)why_date(look->today, day, date);
    if (p->calendar[day].thaw_day != PROBLEM_NEVER)
        return false;
    if (!p->calendar[day].working)
        why_say(look, "Nobody works in the kitchen on %s.", date);
    else
        why_say(look, "No batch can start on %s: its tubs would have had to go out before.", date);
    return true;
}

static void
say_sizes(struct why_look *look, int recipe, int day)
{
    const struct problem_recipe *r = &look->p->recipes[recipe];
    char date[16];
    for (int i = 0; i < look->plan->batches_n; i++) {
        const struct plan_batch *b = &look->plan->batches[i];
        if (b->recipe != recipe || b->day != day)
            continue;
        int64_t g = why_batch_g(look, i), spare_g;
        why_say(look, "%s of %s has %.2f kg in %d tubs; it may have %.2f to %.2f kg.", r->id,
                why_date(look->today, day, date), (double)g / 1000, b->tubs_n,
                (double)r->puck_min_g / 1000, (double)r->puck_max_g / 1000);
        int n = spare_tubs(look, recipe, day, r->puck_max_g - g, &spare_g);
        if (n == 0)
            why_say(look, "No spare tub fits into what room it has, %.2f kg.",
                    (double)(r->puck_max_g - g) / 1000);
        else
            why_say(look,
                    "%d spare %s would fit, %.2f kg: more product would bring less than it "
                    "costs, or something below binds.",
                    n, n == 1 ? "tub" : "tubs", (double)spare_g / 1000);
    }
}

static void
bind_grounds(struct why_look *look, int recipe, int day)
{
    const struct problem *p = look->p;
    const struct problem_recipe *r = &p->recipes[recipe];
    char date[16];
    int64_t spare_g = 0;
    (void)spare_tubs(look, recipe, day, r->puck_max_g, &spare_g);
    if (spare_g >= r->puck_min_g)
        return;
    why_say(look, "For one more batch on %s only %.2f kg of grounds are spare; it takes %.2f kg.",
            why_date(look->today, day, date), (double)spare_g / 1000, (double)r->puck_min_g / 1000);
    for (int i = 0; i < p->runs_n; i++)
        if (p->runs[i].day >= 0 && p->runs[i].day <= p->calendar[day].thaw_day &&
            look->load_g[i] > 0 && p->runs[i].van_g - look->load_g[i] < r->puck_min_g)
            why_ask_for(look, "van", "%s+1", p->runs[i].id);
}

enum err
why_batch(const struct problem *p, const struct plan *plan, int32_t today, int recipe, int day,
          struct why_answer *out_answer, struct err_text *why)
{
    struct why_look look;
    char date[16];
    enum err e = why_look_init(&look, p, plan, today, out_answer, why);
    if (e == ERR_OK && no_start(&look, day)) {
        out_answer->settled = true;
    } else if (e == ERR_OK) {
        int n = batches_there(&look, recipe, day);
        if (n == 0)
            why_say(&look, "The plan has no %s on %s.", p->recipes[recipe].id,
                    why_date(today, day, date));
        say_sizes(&look, recipe, day);
        bind_grounds(&look, recipe, day);
        bool binds = why_bind(&look, recipe, day);
        binds |= why_bind_fridge(&look);
        if (!binds && n == 0)
            why_say(&look, "Nothing is in its way: it would cost more than its product brings, or "
                           "its grounds are worth more elsewhere.");
    }
    why_look_done(&look);
    return e;
}

/* ---- an order ---- */

static int64_t
served_ml(const struct plan *plan, int order)
{
    for (int i = 0; i < plan->orders_n; i++)
        if (plan->orders[i].order == order)
            return plan->orders[i].ml;
    return 0;
}

/* The first day on which a batch of the product that is still to start can be ready. */
static int
first_ready(const struct problem *p, int product)
{
    int best = WHY_NONE;
    for (int r = 0; r < p->recipes_n; r++)
        for (int d = 0; d < p->days; d++) {
            int ready = problem_ready_day(p, r, d);
            if (p->recipes[r].product == product && p->calendar[d].thaw_day != PROBLEM_NEVER &&
                ready >= 0 && (best == WHY_NONE || ready < best))
                best = ready;
        }
    return best;
}

/* What goes out by its day to others that pay no more. */
static void
say_rivals(struct why_look *look, int order)
{
    const struct problem *p = look->p;
    const struct problem_order *o = &p->orders[order];
    int64_t worth = o->cents_per_l + o->penalty_cents_per_l, more_ml = 0;
    for (int i = 0; i < look->plan->orders_n; i++) {
        const struct problem_order *x = &p->orders[look->plan->orders[i].order];
        if (x != o && x->product == o->product && x->due_day <= o->due_day &&
            x->cents_per_l + x->penalty_cents_per_l >= worth)
            more_ml += look->plan->orders[i].ml;
    }
    for (int i = 0; i < look->plan->sales_n; i++) {
        const struct plan_sale *x = &look->plan->sales[i];
        for (int k = 0; k < p->sales_n; k++)
            if (x->product == o->product && x->day <= o->due_day &&
                p->sales[k].product == x->product && p->sales[k].day == x->day &&
                p->sales[k].cents_per_l >= worth)
                more_ml += x->ml;
    }
    if (more_ml > 0)
        why_say(look, "%.1f l go out by then to what pays as much or more a litre.",
                (double)more_ml / 1000);
}

/* Every batch that would be ready in time. */
static void
bind_in_time(struct why_look *look, int order)
{
    const struct problem *p = look->p;
    const struct problem_order *o = &p->orders[order];
    int said = look->out->said_n;
    bool free_day = false;
    for (int r = 0; r < p->recipes_n; r++)
        for (int d = 0; d < p->days; d++) {
            int ready = problem_ready_day(p, r, d);
            if (p->recipes[r].product != o->product || ready < 0 || ready > o->due_day ||
                p->calendar[d].thaw_day == PROBLEM_NEVER)
                continue;
            bind_grounds(look, r, d);
            free_day |= !why_bind(look, r, d) && look->out->said_n == said;
            if (look->out->said_n > said + 3)
                look->out->said_n = said + 3; /* three examples are enough */
        }
    if (free_day)
        why_say(look, "A batch more that is ready in time would cost more than it brings.");
}

enum err
why_order(const struct problem *p, const struct plan *plan, int32_t today, int order,
          struct why_answer *out_answer, struct err_text *why)
{
    struct why_look look;
    const struct problem_order *o = &p->orders[order];
    char due[16], ready_date[16];
    enum err e = why_look_init(&look, p, plan, today, out_answer, why);
    int64_t ml = served_ml(plan, order);
    if (e == ERR_OK) {
        int ready = first_ready(p, o->product);
        (void)why_date(today, o->due_day, due);
        out_answer->settled = ml == o->ml || ready == WHY_NONE || ready > o->due_day;
        why_say(&look, "%.1f l of %.1f l of %s due %s for %s are served%s.", (double)ml / 1000,
                (double)o->ml / 1000, p->products[o->product].id, due, p->sites[o->site].id,
                ml == o->ml ? ": it is not short" : "");
        if (ml < o->ml)
            say_rivals(&look, order);
        if (ml < o->ml && ready == WHY_NONE)
            why_say(&look, "No batch of %s can be ready in these days.",
                    p->products[o->product].id);
        else if (ml < o->ml && ready > o->due_day)
            why_say(&look,
                    "No batch that is still to start can be ready before %s: only what is bottled "
                    "or straining now can serve it.",
                    why_date(today, ready, ready_date));
        if (!out_answer->settled) {
            bind_in_time(&look, order);
            (void)why_bind_fridge(&look);
        }
    }
    why_look_done(&look);
    return e;
}
