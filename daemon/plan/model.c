/* model.c - the kitchen's part of the programme: slots, resources, product. */
#include "daemon/plan/model.h"

#include <stdlib.h>
#include <string.h>

static enum err
grow(void *list, int n, int *room, size_t size, struct err_text *why)
{
    void *old;
    memcpy(&old, list, sizeof old);
    if (n < *room)
        return ERR_OK;
    int more = *room == 0 ? 64 : *room * 2;
    void *wide = realloc(old, (size_t)more * size);
    if (wide == NULL)
        return err_set(ERR_MEM, why, "no memory for the model");
    memcpy(list, &wide, sizeof wide);
    *room = more;
    return ERR_OK;
}

enum err
model_init(struct model *m, const struct problem *p, const struct classes *classes,
           const struct share *share, struct err_text *why)
{
    memset(m, 0, sizeof *m);
    m->p = p;
    m->classes = classes;
    m->share = share;
    lp_init(&m->lp);
    enum err e = problem_list(p->runs_n, sizeof *m->run_col, &m->run_col, why);
    if (e == ERR_OK)
        e = problem_list(p->runs_n, sizeof *m->van_row, &m->van_row, why);
    return e;
}

void
model_done(struct model *m)
{
    lp_done(&m->lp);
    free(m->slots);
    free(m->wants);
    free(m->flows);
    free(m->draws);
    free(m->mixes);
    free(m->picks);
    free(m->run_col);
    free(m->van_row);
    memset(m, 0, sizeof *m);
}

enum err
model_add_slot(struct model *m, int recipe, int place, int most, double fixed_g,
               struct err_text *why)
{
    enum err e = grow(&m->slots, m->slots_n, &m->slots_room, sizeof *m->slots, why);
    int day = m->classes->days[place];
    int ready = problem_ready_day(m->p, recipe, day);
    if (e == ERR_OK && ready >= 0)
        m->slots[m->slots_n++] = (struct model_slot){.recipe = recipe,
                                                     .day = day,
                                                     .ready = ready,
                                                     .place = place,
                                                     .most = most,
                                                     .fixed_g = fixed_g};
    return e;
}

enum err
model_add_all_slots(struct model *m, struct err_text *why)
{
    for (int place = 0; place < m->classes->days_n; place++)
        for (int r = 0; r < m->p->recipes_n; r++) {
            enum err e = model_add_slot(m, r, place, m->p->stations, -1, why);
            if (e != ERR_OK)
                return e;
        }
    return ERR_OK;
}

/* ---- batches and what they use ---- */

/* Cents of work and ingredients for a kilogram of grounds, and for a batch. */
static double
cents_per_kg(const struct problem *p, const struct problem_recipe *r)
{
    double cents =
        (double)(r->mix_s_per_kg + r->bottle_s_per_kg) * (double)p->labour_cents_per_hour / 3600;
    for (int i = 0; i < p->ingredients_n; i++)
        cents += (double)r->need_g_per_kg[i] * (double)p->ingredients[i].cents_per_kg / 1000;
    return cents;
}

static double
cents_per_batch(const struct problem *p, const struct problem_recipe *r)
{
    return (double)(r->mix_s_per_batch + r->bottle_s_per_batch) * (double)p->labour_cents_per_hour /
           3600;
}

static void
add_slot_columns(struct model *m, struct model_slot *s)
{
    const struct problem_recipe *r = &m->p->recipes[s->recipe];
    double kg = s->fixed_g / 1000;
    bool fixed = s->fixed_g >= 0;
    s->n_col = lp_col(&m->lp, fixed ? 1 : 0, s->most, -cents_per_batch(m->p, r), true);
    s->g_col = lp_col(&m->lp, fixed ? kg : 0, fixed ? kg : (double)(r->puck_max_g * s->most) / 1000,
                      -cents_per_kg(m->p, r), false);
    if (fixed)
        return;
    int most = lp_row(&m->lp, -LP_FREE, 0);
    lp_put(&m->lp, most, s->g_col, 1);
    lp_put(&m->lp, most, s->n_col, -(double)r->puck_max_g / 1000);
    int least = lp_row(&m->lp, 0, LP_FREE);
    lp_put(&m->lp, least, s->g_col, 1);
    lp_put(&m->lp, least, s->n_col, -(double)r->puck_min_g / 1000);
}

static void
add_stations(struct model *m, int day)
{
    int busy = 0;
    for (int i = 0; i < m->p->straining_n; i++)
        busy += m->p->straining[i].ready_day > day;
    int left = m->p->stations - busy;
    int row = lp_row(&m->lp, -LP_FREE, left > 0 ? left : 0);
    for (int i = 0; i < m->slots_n; i++)
        if (m->slots[i].day <= day && day < m->slots[i].ready)
            lp_put(&m->lp, row, m->slots[i].n_col, 1);
}

static double
hours(int64_t s)
{
    return (double)s / 3600;
}

static void
add_labour(struct model *m, int day)
{
    double left = hours(m->p->calendar[day].labour_s);
    for (int i = 0; i < m->p->straining_n; i++) {
        const struct problem_straining *b = &m->p->straining[i];
        const struct problem_recipe *r = &m->p->recipes[b->recipe];
        if (b->ready_day == day)
            left -= hours(r->bottle_s_per_batch) + hours(r->bottle_s_per_kg * b->puck_g) / 1000;
    }
    int row = lp_row(&m->lp, -LP_FREE, left > 0 ? left : 0);
    for (int i = 0; i < m->slots_n; i++) {
        const struct model_slot *s = &m->slots[i];
        const struct problem_recipe *r = &m->p->recipes[s->recipe];
        if (s->day == day) {
            lp_put(&m->lp, row, s->n_col, hours(r->mix_s_per_batch));
            lp_put(&m->lp, row, s->g_col, hours(r->mix_s_per_kg));
        } else if (s->ready == day) {
            lp_put(&m->lp, row, s->n_col, hours(r->bottle_s_per_batch));
            lp_put(&m->lp, row, s->g_col, hours(r->bottle_s_per_kg));
        }
    }
}

/* Only the last day before each delivery, and the last of all, can bind. */
static bool
part_can_bind(const struct problem_ingredient *g, int day, int days)
{
    if (day == days - 1)
        return true;
    for (int i = 0; i < g->deliveries_n; i++)
        if (g->deliveries[i].day == day + 1)
            return true;
    return false;
}

static void
add_parts(struct model *m, int part)
{
    const struct problem_ingredient *g = &m->p->ingredients[part];
    for (int day = 0; day < m->p->days; day++) {
        if (!part_can_bind(g, day, m->p->days))
            continue;
        int64_t have = g->stock_g;
        for (int i = 0; i < g->deliveries_n; i++)
            have += g->deliveries[i].day <= day ? g->deliveries[i].g : 0;
        int row = lp_row(&m->lp, -LP_FREE, (double)have / 1000);
        for (int i = 0; i < m->slots_n; i++)
            if (m->slots[i].day <= day)
                lp_put(&m->lp, row, m->slots[i].g_col,
                       (double)m->p->recipes[m->slots[i].recipe].need_g_per_kg[part] / 1000);
    }
}

/* Departure from the published plan: t >= n - was and t >= was - n, at `cents` each. */
static void
add_change(struct model *m, int recipe, int day)
{
    int was = problem_previous_batches(m->p, recipe, day);
    double cents = (double)problem_change_cents(m->p, day);
    bool any = false;
    for (int i = 0; i < m->slots_n; i++)
        any = any || (m->slots[i].recipe == recipe && m->slots[i].day == day);
    if (cents == 0 || !any) {
        m->lp.constant -= cents * was;
        return;
    }
    int t = lp_col(&m->lp, 0, LP_FREE, -cents, false);
    int above = lp_row(&m->lp, -was, LP_FREE);
    int below = lp_row(&m->lp, was, LP_FREE);
    lp_put(&m->lp, above, t, 1);
    lp_put(&m->lp, below, t, 1);
    for (int i = 0; i < m->slots_n; i++) {
        if (m->slots[i].recipe != recipe || m->slots[i].day != day)
            continue;
        lp_put(&m->lp, above, m->slots[i].n_col, -1);
        lp_put(&m->lp, below, m->slots[i].n_col, 1);
    }
}

static void
add_batches(struct model *m)
{
    for (int i = 0; i < m->slots_n; i++)
        add_slot_columns(m, &m->slots[i]);
    for (int day = 0; day < m->p->days; day++) {
        add_stations(m, day);
        add_labour(m, day);
    }
    for (int part = 0; part < m->p->ingredients_n; part++)
        add_parts(m, part);
    for (int recipe = 0; recipe < m->p->recipes_n; recipe++)
        for (int day = 0; day <= m->p->previous_until_day; day++)
            add_change(m, recipe, day);
}

/* ---- product ---- */

static enum err
add_wants(struct model *m, struct err_text *why)
{
    int n = 0;
    const struct share_demand *d = share_demands(m->share, &n);
    enum err e = problem_list(n, sizeof *m->wants, &m->wants, why);
    for (int i = 0; e == ERR_OK && i < n; i++) {
        struct model_want *w = &m->wants[m->wants_n > 0 ? m->wants_n - 1 : 0];
        if (m->wants_n > 0 && w->product == d[i].product && w->day == d[i].day &&
            d[w->first].cents_per_l == d[i].cents_per_l) {
            w->n++;
            w->ml += d[i].ml;
            continue;
        }
        m->wants[m->wants_n++] = (struct model_want){
            .first = i, .n = 1, .product = d[i].product, .day = d[i].day, .ml = d[i].ml};
    }
    for (int i = 0; e == ERR_OK && i < m->wants_n; i++)
        m->wants[i].col = lp_col(&m->lp, 0, (double)m->wants[i].ml / 1000,
                                 (double)d[m->wants[i].first].cents_per_l, false);
    return e;
}

/* Litres of a product that stand ready (`day` days: later) without any new batch, and what of
 * them is past its last day by then. */
static void
standing(const struct problem *p, int product, int day, double *out_ready, double *out_off)
{
    *out_ready = 0;
    *out_off = 0;
    for (int i = 0; i < p->stock_n; i++) {
        const struct problem_stock *s = &p->stock[i];
        if (s->product != product || s->best_before_day < 0)
            continue;
        *out_ready += day == 0 ? (double)s->ml / 1000 : 0;
        *out_off += s->best_before_day <= day ? (double)s->ml / 1000 : 0;
    }
    for (int i = 0; i < p->straining_n; i++) {
        const struct problem_straining *b = &p->straining[i];
        const struct problem_recipe *r = &p->recipes[b->recipe];
        double l = (double)(b->puck_g * r->yield_ml_per_kg) / 1000000;
        int last = b->ready_day + p->products[product].shelf_days - 1;
        if (r->product != product)
            continue;
        *out_ready += b->ready_day == day || (day == p->days && b->ready_day > day) ? l : 0;
        *out_off += last <= day && b->ready_day < p->days ? l : 0;
    }
}

static double
litres_per_kg(const struct problem *p, const struct model_slot *s)
{
    return (double)p->recipes[s->recipe].yield_ml_per_kg / 1000;
}

/* stands(day) = stands(day-1) + ready - served - poured or past its date. */
static void
add_balance(struct model *m, int product, int day, int before, int stands)
{
    double ready = 0;
    double off = 0;
    standing(m->p, product, day, &ready, &off);
    int row = lp_row(&m->lp, ready, ready);
    lp_put(&m->lp, row, stands, 1);
    if (before >= 0)
        lp_put(&m->lp, row, before, -1);
    for (int i = 0; i < m->slots_n; i++)
        if (m->p->recipes[m->slots[i].recipe].product == product &&
            (m->slots[i].ready == day || (day == m->p->days && m->slots[i].ready > day)))
            lp_put(&m->lp, row, m->slots[i].g_col, -litres_per_kg(m->p, &m->slots[i]));
    if (day == m->p->days)
        return;
    lp_put(&m->lp, row, lp_col(&m->lp, 0, LP_FREE, 0, false), 1);
    for (int i = 0; i < m->wants_n; i++)
        if (m->wants[i].product == product && m->wants[i].day == day)
            lp_put(&m->lp, row, m->wants[i].col, 1);
}

/* What stands after a day cannot be more than the lots that are not past their last day. */
static void
add_expiry(struct model *m, int product, int day, int stands)
{
    int shelf = m->p->products[product].shelf_days;
    double good = 0;
    double off = 0;
    double ready = 0;
    bool binds = false;
    for (int x = 0; x <= day; x++) {
        standing(m->p, product, x, &ready, &off);
        good += ready;
    }
    good -= off;
    binds = off > 0;
    for (int i = 0; i < m->slots_n; i++)
        binds = binds || (m->p->recipes[m->slots[i].recipe].product == product &&
                          m->slots[i].ready + shelf - 1 <= day);
    if (!binds)
        return;
    int row = lp_row(&m->lp, -LP_FREE, good);
    lp_put(&m->lp, row, stands, 1);
    for (int i = 0; i < m->slots_n; i++) {
        const struct model_slot *s = &m->slots[i];
        if (m->p->recipes[s->recipe].product == product && s->ready <= day &&
            s->ready + shelf - 1 > day)
            lp_put(&m->lp, row, s->g_col, -litres_per_kg(m->p, s));
    }
}

static void
add_product(struct model *m, int product, const int *store_row)
{
    int before = -1;
    for (int day = 0; day <= m->p->days; day++) {
        int stands = lp_col(&m->lp, 0, LP_FREE, 0, false);
        add_balance(m, product, day, before, stands);
        if (day < m->p->days)
            add_expiry(m, product, day, stands);
        lp_put(&m->lp, store_row[day], stands, 1);
        before = stands;
    }
    for (int i = 0; i < m->wants_n; i++) {
        if (m->wants[i].product != product || m->wants[i].day != m->p->days)
            continue;
        int row = lp_row(&m->lp, -LP_FREE, 0); /* of what is left, so much is worth something */
        lp_put(&m->lp, row, m->wants[i].col, 1);
        lp_put(&m->lp, row, before, -1);
    }
}

static enum err
add_products(struct model *m, struct err_text *why)
{
    int *store_row = NULL;
    enum err e = add_wants(m, why);
    if (e == ERR_OK)
        e = problem_list(m->p->days + 1, sizeof *store_row, &store_row, why);
    if (e != ERR_OK)
        return e;
    for (int day = 0; day <= m->p->days; day++)
        store_row[day] = lp_row(&m->lp, -LP_FREE, (double)m->p->fridge_ml / 1000);
    for (int i = 0; i < m->p->products_n; i++)
        add_product(m, i, store_row);
    free(store_row);
    return ERR_OK;
}

/* ---- vans and what is the same for every plan ---- */

static void
add_runs(struct model *m, const int64_t *load_g)
{
    for (int i = 0; i < m->p->runs_n; i++) {
        const struct problem_run *r = &m->p->runs[i];
        double load = load_g == NULL ? 0 : (double)load_g[i] / 1000;
        m->run_col[i] = lp_col(&m->lp, load > 0 ? 1 : 0, 1, -(double)r->fixed_cents, true);
        m->van_row[i] = lp_row(&m->lp, -LP_FREE, -load);
        lp_put(&m->lp, m->van_row[i], m->run_col[i], -(double)r->van_g / 1000);
    }
}

static void
add_constant(struct model *m)
{
    const struct problem *p = m->p;
    for (int i = 0; i < p->orders_n; i++)
        m->lp.constant -= (double)p->orders[i].ml * (double)p->orders[i].penalty_cents_per_l / 1000;
    for (int i = 0; i < p->tubs_n; i++)
        m->lp.constant -=
            (double)p->tubs[i].g * (double)problem_unused_cents_per_kg(p, &p->tubs[i]) / 1000;
}

enum err
model_add_kitchen(struct model *m, const int64_t *load_g, double settled, struct err_text *why)
{
    add_batches(m);
    add_runs(m, load_g);
    add_constant(m);
    m->lp.constant += settled;
    enum err e = add_products(m, why);
    if (e == ERR_OK && m->lp.failed)
        e = err_set(ERR_MEM, why, "no memory for the model");
    return e;
}

double
model_run_cents_per_kg(const struct problem *p, int run)
{
    return run < 0 ? 0 : (double)p->runs[run].cents_per_kg;
}

/* ---- grounds from classes of tubs ---- */

static enum err
add_flow(struct model *m, int at, int run, struct err_text *why)
{
    const struct tub_class *c = &m->classes->list[at];
    enum err e = grow(&m->flows, m->flows_n, &m->flows_room, sizeof *m->flows, why);
    if (e != ERR_OK)
        return e;
    double kg = (double)c->g / 1000;
    if (run >= 0 && kg > (double)m->p->runs[run].van_g / 1000)
        kg = (double)m->p->runs[run].van_g / 1000;
    int col = lp_col(&m->lp, 0, kg, (double)c->rate - model_run_cents_per_kg(m->p, run), false);
    m->flows[m->flows_n++] = (struct model_flow){at, run, col};
    if (run < 0)
        return ERR_OK;
    lp_put(&m->lp, m->van_row[run], col, 1);
    int row = lp_row(&m->lp, -LP_FREE, 0); /* nothing comes with a run that does not go */
    lp_put(&m->lp, row, col, 1);
    lp_put(&m->lp, row, m->run_col[run], -kg);
    return ERR_OK;
}

static enum err
add_flows(struct model *m, int at, struct err_text *why)
{
    const struct tub_class *c = &m->classes->list[at];
    int first = m->flows_n;
    if (c->route == CLASSES_KITCHEN)
        return add_flow(m, at, -1, why);
    for (int i = c->run_from; i < c->run_to; i++) {
        enum err e = add_flow(m, at, m->classes->runs[i], why);
        if (e != ERR_OK)
            return e;
    }
    if (m->flows_n - first < 2)
        return ERR_OK;
    int row = lp_row(&m->lp, -LP_FREE, (double)c->g / 1000);
    for (int i = first; i < m->flows_n; i++)
        lp_put(&m->lp, row, m->flows[i].col, 1);
    return ERR_OK;
}

/* The first batch day whose tubs go out on the run's day or later. */
static int
first_place(const struct model *m, int run)
{
    int place = 0;
    while (run >= 0 && m->p->calendar[m->classes->days[place]].thaw_day < m->p->runs[run].day)
        place++;
    return place;
}

/* Tubs of one profile that can wait until the same batch day: in by flow, out by draw, and what
 * waits between is never less than nothing. */
static enum err
add_pool(struct model *m, int profile, int last, int from, int to, const int *mix_row,
         struct err_text *why)
{
    int first_flow = m->flows_n;
    for (int at = from; at < to; at++) {
        enum err e = add_flows(m, at, why);
        if (e != ERR_OK)
            return e;
    }
    bool comes_later = false;
    for (int i = first_flow; i < m->flows_n; i++)
        comes_later = comes_later || first_place(m, m->flows[i].run) > 0;
    int row = -1;
    for (int place = 0; place <= last; place++) {
        enum err e = grow(&m->draws, m->draws_n, &m->draws_room, sizeof *m->draws, why);
        if (e != ERR_OK)
            return e;
        if (row < 0 || comes_later) {
            int waits = row < 0 || place > last ? -1 : lp_col(&m->lp, 0, LP_FREE, 0, false);
            if (waits >= 0)
                lp_put(&m->lp, row, waits, 1);
            row = lp_row(&m->lp, 0, 0);
            if (waits >= 0)
                lp_put(&m->lp, row, waits, -1);
            for (int i = first_flow; i < m->flows_n; i++)
                if (!comes_later || first_place(m, m->flows[i].run) == place)
                    lp_put(&m->lp, row, m->flows[i].col, -1);
        }
        int col = lp_col(&m->lp, 0, LP_FREE, 0, false);
        m->draws[m->draws_n++] = (struct model_draw){profile, last, place, col};
        lp_put(&m->lp, row, col, 1);
        lp_put(&m->lp, mix_row[place], col, -1);
    }
    return ERR_OK;
}

/* Kilograms of the profile into every slot that takes it; mix_row[place] joins draws to them. */
static enum err
add_mixes(struct model *m, int profile, int *mix_row, const int *fill_row, struct err_text *why)
{
    for (int place = 0; place < m->classes->days_n; place++)
        mix_row[place] = lp_row(&m->lp, 0, 0);
    for (int i = 0; i < m->slots_n; i++) {
        if (!problem_takes(&m->p->recipes[m->slots[i].recipe], profile))
            continue;
        enum err e = grow(&m->mixes, m->mixes_n, &m->mixes_room, sizeof *m->mixes, why);
        if (e != ERR_OK)
            return e;
        int col = lp_col(&m->lp, 0, LP_FREE, 0, false);
        m->mixes[m->mixes_n++] = (struct model_mix){profile, i, col};
        lp_put(&m->lp, mix_row[m->slots[i].place], col, 1);
        lp_put(&m->lp, fill_row[i], col, -1);
    }
    return ERR_OK;
}

static enum err
add_profiles(struct model *m, int *mix_row, const int *fill_row, struct err_text *why)
{
    const struct tub_class *list = m->classes->list;
    int n = m->classes->list_n;
    for (int from = 0, to = 0; from < n; from = to) {
        if (from == 0 || list[from].profile != list[from - 1].profile) {
            enum err e = add_mixes(m, list[from].profile, mix_row, fill_row, why);
            if (e != ERR_OK)
                return e;
        }
        while (to < n && list[to].profile == list[from].profile && list[to].last == list[from].last)
            to++;
        enum err e = add_pool(m, list[from].profile, list[from].last, from, to, mix_row, why);
        if (e != ERR_OK)
            return e;
    }
    return ERR_OK;
}

enum err
model_add_classes(struct model *m, struct err_text *why)
{
    int *mix_row = NULL;
    int *fill_row = NULL;
    enum err e = problem_list(m->classes->days_n, sizeof *mix_row, &mix_row, why);
    if (e == ERR_OK)
        e = problem_list(m->slots_n, sizeof *fill_row, &fill_row, why);
    for (int i = 0; e == ERR_OK && i < m->slots_n; i++) {
        fill_row[i] = lp_row(&m->lp, 0, 0);
        lp_put(&m->lp, fill_row[i], m->slots[i].g_col, 1);
    }
    if (e == ERR_OK)
        e = add_profiles(m, mix_row, fill_row, why);
    free(mix_row);
    free(fill_row);
    if (e == ERR_OK && m->lp.failed)
        e = err_set(ERR_MEM, why, "no memory for the model");
    return e;
}

/* ---- grounds from single tubs ---- */

static enum err
add_pick(struct model *m, int tub, int slot, int run, double worth, int *out_col,
         struct err_text *why)
{
    enum err e = grow(&m->picks, m->picks_n, &m->picks_room, sizeof *m->picks, why);
    if (e != ERR_OK)
        return e;
    *out_col = lp_col(&m->lp, 0, 1, worth, true);
    m->picks[m->picks_n++] = (struct model_pick){tub, slot, run, *out_col};
    return ERR_OK;
}

/* The tub into any slot in time: x[slot]; all of them at most 1. (Rows "no tub in a vessel that is
 * not used" would be tighter, and cost more time than they save.) */
static enum err
add_tub_slots(struct model *m, int tub, const int *fill_row, struct err_text *why)
{
    const struct problem_tub *t = &m->p->tubs[tub];
    const struct tub_class *c = &m->classes->list[m->classes->class_of[tub]];
    double kg = (double)t->g / 1000;
    int once = lp_row(&m->lp, -LP_FREE, 1);
    for (int i = 0; i < m->slots_n; i++) {
        const struct model_slot *s = &m->slots[i];
        const struct problem_recipe *r = &m->p->recipes[s->recipe];
        int first = c->route == CLASSES_KITCHEN ? 0 : first_place(m, m->classes->runs[c->run_from]);
        if (s->fixed_g >= 0 || s->place > c->last || s->place < first || t->g > r->puck_max_g ||
            !problem_takes(r, t->profile))
            continue;
        int col = 0;
        enum err e = add_pick(m, tub, i, -1, kg * (double)c->rate, &col, why);
        if (e != ERR_OK)
            return e;
        lp_put(&m->lp, once, col, 1);
        lp_put(&m->lp, fill_row[i], col, -kg);
    }
    return ERR_OK;
}

/* A tub at a café comes with a run before it goes out to thaw. */
static enum err
add_tub_runs(struct model *m, int tub, int first_pick, struct err_text *why)
{
    const struct tub_class *c = &m->classes->list[m->classes->class_of[tub]];
    double kg = (double)m->p->tubs[tub].g / 1000;
    int picks = m->picks_n;
    for (int i = c->run_from; i < c->run_to; i++) {
        int run = m->classes->runs[i];
        int col = 0;
        if (m->p->runs[run].van_g < m->p->tubs[tub].g)
            continue;
        enum err e = add_pick(m, tub, -1, run, -kg * model_run_cents_per_kg(m->p, run), &col, why);
        if (e != ERR_OK)
            return e;
        lp_put(&m->lp, m->van_row[run], col, kg);
        int row = lp_row(&m->lp, -LP_FREE, 0);
        lp_put(&m->lp, row, col, 1);
        lp_put(&m->lp, row, m->run_col[run], -1);
    }
    for (int place = 0; place <= c->last; place++) { /* used by then, so brought by then */
        int row = -1;
        for (int k = first_pick; k < picks; k++) {
            if (m->slots[m->picks[k].slot].place != place)
                continue;
            row = row < 0 ? lp_row(&m->lp, -LP_FREE, 0) : row;
        }
        for (int k = first_pick; row >= 0 && k < picks; k++)
            if (m->slots[m->picks[k].slot].place <= place)
                lp_put(&m->lp, row, m->picks[k].col, 1);
        for (int k = picks; row >= 0 && k < m->picks_n; k++)
            if (first_place(m, m->picks[k].run) <= place)
                lp_put(&m->lp, row, m->picks[k].col, -1);
    }
    return ERR_OK;
}

/* Slots of one recipe and day are alike: the later one is not used before the earlier. */
static void
add_slot_order(struct model *m)
{
    for (int i = 1; i < m->slots_n; i++) {
        const struct model_slot *a = &m->slots[i - 1];
        const struct model_slot *b = &m->slots[i];
        if (a->recipe != b->recipe || a->day != b->day || a->fixed_g >= 0 || b->fixed_g >= 0)
            continue;
        int row = lp_row(&m->lp, 0, LP_FREE);
        lp_put(&m->lp, row, a->n_col, 1);
        lp_put(&m->lp, row, b->n_col, -1);
        row = lp_row(&m->lp, 0, LP_FREE);
        lp_put(&m->lp, row, a->g_col, 1);
        lp_put(&m->lp, row, b->g_col, -1);
    }
}

enum err
model_add_tubs(struct model *m, const int *tubs, int n, struct err_text *why)
{
    int *fill_row = NULL;
    enum err e = problem_list(m->slots_n, sizeof *fill_row, &fill_row, why);
    for (int i = 0; e == ERR_OK && i < m->slots_n; i++) {
        if (m->slots[i].fixed_g >= 0)
            continue;
        fill_row[i] = lp_row(&m->lp, 0, 0);
        lp_put(&m->lp, fill_row[i], m->slots[i].g_col, 1);
    }
    for (int i = 0; e == ERR_OK && i < n; i++) {
        int first_pick = m->picks_n;
        if (m->classes->class_of[tubs[i]] < 0)
            continue;
        e = add_tub_slots(m, tubs[i], fill_row, why);
        if (e == ERR_OK && m->classes->list[m->classes->class_of[tubs[i]]].route != CLASSES_KITCHEN)
            e = add_tub_runs(m, tubs[i], first_pick, why);
    }
    free(fill_row);
    if (e == ERR_OK)
        add_slot_order(m);
    if (e == ERR_OK && m->lp.failed)
        e = err_set(ERR_MEM, why, "no memory for the model");
    return e;
}
