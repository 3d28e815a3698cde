/* share.c - demands by falling worth, lots first expired first. */
#include "daemon/plan/share.h"

#include <stdlib.h>
#include <string.h>

enum {
    DAYS_ROOM = PROBLEM_DAYS_MAX + 1
};

/* Product that is ready on one day and good until another; days after the plan count as `days`. */
struct lot {
    int ready, last;
    int64_t ul;
};

struct share {
    const struct problem *p;
    struct share_demand *demands; /* by falling cents_per_l */
    int demands_n;
    struct share_demand *merged; /* by product, then falling worth; alike ones added up */
    int *merged_from;            /* by product, and one more: where its demands begin */
    struct lot **standing;       /* by product: stock and what is straining, by last, ready */
    int *standing_n;
    struct lot *work;   /* room for the lots of any product with all batches */
    int64_t *served_ul; /* by product and day 0 to days */
    int64_t *carry_ul;  /* by product and day 0 to days: what later demands need of it */
    int64_t *arrive_ul; /* by product and day 0 to days */
};

static int
compare(int64_t a, int64_t b)
{
    return a < b ? -1 : a > b;
}

static int
demand_order(const void *a, const void *b)
{
    const struct share_demand *x = a;
    const struct share_demand *y = b;
    int c = compare(y->cents_per_l, x->cents_per_l);
    c = c != 0 ? c : compare(x->day, y->day);
    c = c != 0 ? c : compare(x->product, y->product);
    c = c != 0 ? c : compare(x->kind, y->kind);
    return c != 0 ? c : compare(x->line, y->line);
}

static int
merged_order(const void *a, const void *b)
{
    const struct share_demand *x = a;
    const struct share_demand *y = b;
    int c = compare(x->product, y->product);
    return c != 0 ? c : demand_order(a, b);
}

static int
lot_order(const void *a, const void *b)
{
    const struct lot *x = a;
    const struct lot *y = b;
    int c = compare(x->last, y->last);
    return c != 0 ? c : compare(x->ready, y->ready);
}

static void
collect_demands(struct share *s)
{
    const struct problem *p = s->p;
    for (int i = 0; i < p->orders_n; i++) {
        const struct problem_order *o = &p->orders[i];
        s->demands[s->demands_n++] = (struct share_demand){
            SHARE_ORDER, i, o->product, o->due_day, o->cents_per_l + o->penalty_cents_per_l, o->ml};
    }
    for (int i = 0; i < p->sales_n; i++) {
        const struct problem_sale *v = &p->sales[i];
        s->demands[s->demands_n++] =
            (struct share_demand){SHARE_SALE, i, v->product, v->day, v->cents_per_l, v->ml};
    }
    for (int i = 0; i < p->products_n; i++) {
        const struct problem_product *v = &p->products[i];
        s->demands[s->demands_n++] =
            (struct share_demand){SHARE_END, i, i, p->days, v->end_cents_per_l, v->end_demand_ml};
    }
}

/* Demands of a product on one day at one price are one demand to share_product(). */
static void
merge_demands(struct share *s)
{
    memcpy(s->merged, s->demands, (size_t)s->demands_n * sizeof *s->merged);
    qsort(s->merged, (size_t)s->demands_n, sizeof *s->merged, merged_order);
    int n = 0;
    for (int i = 0; i < s->demands_n; i++) {
        struct share_demand *d = &s->merged[i];
        struct share_demand *last = &s->merged[n > 0 ? n - 1 : 0];
        if (n > 0 && last->product == d->product && last->day == d->day &&
            last->cents_per_l == d->cents_per_l)
            last->ml += d->ml;
        else
            s->merged[n++] = *d;
    }
    for (int i = n - 1; i >= 0; i--)
        s->merged_from[s->merged[i].product] = i;
    s->merged_from[s->p->products_n] = n;
}

static int
within(int day, int days)
{
    return day < 0 ? 0 : day > days ? days : day;
}

/* Adds to the standing lots of a product; lots of the same days are one. */
static void
add_standing(struct share *s, int product, int ready, int last, int64_t ul)
{
    struct lot *lots = s->standing[product];
    if (last < 0 || last < ready)
        return; /* nobody can have it any more */
    last = within(last, s->p->days);
    ready = within(ready, s->p->days);
    for (int i = 0; i < s->standing_n[product]; i++)
        if (lots[i].ready == ready && lots[i].last == last) {
            lots[i].ul += ul;
            return;
        }
    lots[s->standing_n[product]++] = (struct lot){ready, last, ul};
}

static enum err
collect_standing(struct share *s, struct err_text *why)
{
    const struct problem *p = s->p;
    for (int i = 0; i < p->products_n; i++) {
        enum err e =
            problem_list(p->stock_n + p->straining_n, sizeof(struct lot), &s->standing[i], why);
        if (e != ERR_OK)
            return e;
    }
    for (int i = 0; i < p->stock_n; i++)
        add_standing(s, p->stock[i].product, 0, p->stock[i].best_before_day, p->stock[i].ml * 1000);
    for (int i = 0; i < p->straining_n; i++) {
        const struct problem_straining *b = &p->straining[i];
        const struct problem_recipe *r = &p->recipes[b->recipe];
        int last = b->ready_day + p->products[r->product].shelf_days - 1;
        /* one that gets ready after the plan is there at its end, however short it keeps */
        add_standing(s, r->product, b->ready_day, b->ready_day >= p->days ? p->days : last,
                     b->puck_g * r->yield_ml_per_kg);
    }
    for (int i = 0; i < p->products_n; i++)
        qsort(s->standing[i], (size_t)s->standing_n[i], sizeof(struct lot), lot_order);
    return ERR_OK;
}

static enum err
make_room(struct share *s, struct err_text *why)
{
    const struct problem *p = s->p;
    int demands = p->orders_n + p->sales_n + p->products_n;
    int days = p->products_n * (p->days + 1);
    const struct {
        int n;
        size_t size;
        void *out;
    } rooms[] = {
        {demands, sizeof *s->demands, &s->demands},
        {demands, sizeof *s->merged, &s->merged},
        {p->products_n + 1, sizeof *s->merged_from, &s->merged_from},
        {p->products_n, sizeof *s->standing, &s->standing},
        {p->products_n, sizeof *s->standing_n, &s->standing_n},
        {p->stock_n + p->straining_n + p->days + 1, sizeof *s->work, &s->work},
        {days, sizeof *s->served_ul, &s->served_ul},
        {days, sizeof *s->carry_ul, &s->carry_ul},
        {days, sizeof *s->arrive_ul, &s->arrive_ul},
    };
    for (size_t i = 0; i < sizeof rooms / sizeof rooms[0]; i++) {
        enum err e = problem_list(rooms[i].n, rooms[i].size, rooms[i].out, why);
        if (e != ERR_OK)
            return e;
    }
    return ERR_OK;
}

enum err
share_new(const struct problem *p, struct share **out_share, struct err_text *why)
{
    struct share *s = calloc(1, sizeof *s);
    if (s == NULL)
        return err_set(ERR_MEM, why, "no memory to share out the product");
    s->p = p;
    enum err e = make_room(s, why);
    if (e == ERR_OK)
        e = collect_standing(s, why);
    if (e != ERR_OK) {
        share_free(s);
        return e;
    }
    collect_demands(s);
    qsort(s->demands, (size_t)s->demands_n, sizeof *s->demands, demand_order);
    merge_demands(s);
    *out_share = s;
    return ERR_OK;
}

void
share_free(struct share *s)
{
    if (s == NULL)
        return;
    for (int i = 0; s->standing != NULL && i < s->p->products_n; i++)
        free(s->standing[i]);
    free(s->demands);
    free(s->merged);
    free(s->merged_from);
    free(s->standing);
    free(s->standing_n);
    free(s->work);
    free(s->served_ul);
    free(s->carry_ul);
    free(s->arrive_ul);
    free(s);
}

const struct share_demand *
share_demands(const struct share *s, int *out_n)
{
    *out_n = s->demands_n;
    return s->demands;
}

int
share_supply_n(const struct problem *p)
{
    return p->products_n * (p->days + 1);
}

int64_t *
share_supply_at(const struct problem *p, int64_t *supply, int product, int ready)
{
    return &supply[product * (p->days + 1) + within(ready, p->days)];
}

/* All lots of a product into `out`, first expired first. */
static int
gather_lots(const struct share *s, int product, const int64_t *supply, struct lot *out)
{
    int days = s->p->days;
    int shelf = s->p->products[product].shelf_days;
    int n = 0;
    int i = 0;
    for (int ready = 0; ready <= days; ready++) {
        struct lot lot = {ready, ready == days ? days : within(ready + shelf - 1, days),
                          supply[product * (days + 1) + ready]};
        if (lot.ul == 0)
            continue;
        for (; i < s->standing_n[product]; i++) {
            if (lot_order(&s->standing[product][i], &lot) > 0)
                break;
            out[n++] = s->standing[product][i];
        }
        out[n++] = lot;
    }
    for (; i < s->standing_n[product]; i++)
        out[n++] = s->standing[product][i];
    return n;
}

/* Takes up to `want` on `day` from the lots, first expired first; returns what was missing. */
static int64_t
take(struct lot *lots, int n, int day, int64_t want)
{
    for (int i = 0; i < n && want > 0; i++) {
        if (lots[i].ready > day || lots[i].last < day)
            continue;
        int64_t part = want < lots[i].ul ? want : lots[i].ul;
        lots[i].ul -= part;
        want -= part;
    }
    return want;
}

/* What is missing in all when `want_ul[day]` is asked of the lots. */
static int64_t
missing(const struct lot *lots, int n, const int64_t *want_ul, int days)
{
    struct lot left[256];
    struct lot *l = left;
    int64_t total = 0;
    if (n > 256 && (l = malloc((size_t)n * sizeof *l)) == NULL)
        return INT64_MAX;
    memcpy(l, lots, (size_t)n * sizeof *l);
    for (int day = 0; day <= days; day++)
        total += take(l, n, day, want_ul[day]);
    if (l != left)
        free(l);
    return total;
}

/* How much of `ul` on `day` fits beside what is served already. */
static int64_t
fits(const struct lot *lots, int n, int64_t *served_ul, int days, int day, int64_t ul)
{
    served_ul[day] += ul;
    int64_t lack = missing(lots, n, served_ul, days);
    served_ul[day] -= ul;
    return lack >= ul ? 0 : ul - lack;
}

share_units
share_product(struct share *s, int product, const int64_t *supply)
{
    int64_t served[DAYS_ROOM] = {0};
    int days = s->p->days;
    int n = gather_lots(s, product, supply, s->work);
    int64_t left = 0;
    share_units worth = 0;
    for (int i = 0; i < n; i++)
        left += s->work[i].ul;
    for (int i = s->merged_from[product]; i < s->merged_from[product + 1] && left > 0; i++) {
        const struct share_demand *d = &s->merged[i];
        int64_t ul = fits(s->work, n, served, days, d->day, d->ml * 1000);
        served[d->day] += ul;
        left -= ul;
        worth += (share_units)ul * d->cents_per_l * (SHARE_UNITS_PER_CENT / 1000000);
    }
    return worth;
}

/* ---- with the cold store ---- */

static int64_t *
of_day(const struct share *s, int64_t *list, int product, int day)
{
    return &list[product * (s->p->days + 1) + day];
}

/* What must be carried over the end of each day so that later demands can be served. */
static void
set_carry(struct share *s, int product)
{
    int days = s->p->days;
    int64_t need = 0;
    for (int day = days; day >= 0; day--) {
        *of_day(s, s->carry_ul, product, day) = need;
        need += *of_day(s, s->served_ul, product, day) - *of_day(s, s->arrive_ul, product, day);
        need = need > 0 ? need : 0;
    }
}

/* Whether all that must be carried fits the cold store, with what stands there after the plan. */
static bool
carry_fits(const struct share *s)
{
    int days = s->p->days;
    int64_t end = 0;
    for (int day = 0; day < days; day++) {
        int64_t all = 0;
        for (int i = 0; i < s->p->products_n; i++)
            all += *of_day(s, s->carry_ul, i, day);
        if (all > s->p->fridge_ml * 1000)
            return false;
    }
    for (int i = 0; i < s->p->products_n; i++) {
        int64_t late = *of_day(s, s->arrive_ul, i, days);
        int64_t sold = *of_day(s, s->served_ul, i, days);
        end += late > sold ? late : sold;
    }
    return end <= s->p->fridge_ml * 1000;
}

static bool
fits_store(struct share *s, const struct share_demand *d, int64_t ul)
{
    int64_t *served = of_day(s, s->served_ul, d->product, d->day);
    *served += ul;
    set_carry(s, d->product);
    bool fine = carry_fits(s);
    *served -= ul;
    set_carry(s, d->product);
    return fine;
}

/* The most whole millilitres of at most `ml` that the cold store lets through. */
static int64_t
store_limit(struct share *s, const struct share_demand *d, int64_t ml)
{
    if (ml == 0 || fits_store(s, d, ml * 1000))
        return ml;
    int64_t low = 0;
    while (low + 1 < ml) {
        int64_t mid = low + (ml - low) / 2;
        if (fits_store(s, d, mid * 1000))
            low = mid;
        else
            ml = mid;
    }
    return low;
}

static void
set_arrivals(struct share *s, const int64_t *supply)
{
    int days = s->p->days;
    for (int i = 0; i < s->p->products_n; i++)
        for (int day = 0; day <= days; day++) {
            *of_day(s, s->arrive_ul, i, day) = supply[i * (days + 1) + day];
            *of_day(s, s->served_ul, i, day) = 0;
        }
    for (int i = 0; i < s->p->products_n; i++) {
        for (int k = 0; k < s->standing_n[i]; k++)
            *of_day(s, s->arrive_ul, i, s->standing[i][k].ready) += s->standing[i][k].ul;
        set_carry(s, i);
    }
}

void
share_choose(struct share *s, const int64_t *supply, int64_t *out_ml)
{
    int days = s->p->days;
    set_arrivals(s, supply);
    for (int i = 0; i < s->demands_n; i++) {
        const struct share_demand *d = &s->demands[i];
        int64_t *served = of_day(s, s->served_ul, d->product, 0);
        int n = gather_lots(s, d->product, supply, s->work);
        int64_t ml = fits(s->work, n, served, days, d->day, d->ml * 1000) / 1000;
        out_ml[i] = store_limit(s, d, ml);
        served[d->day] += out_ml[i] * 1000;
        set_carry(s, d->product);
    }
}

/* ---- written, day by day ---- */

/* The lots of every product while the days go by. */
struct days {
    struct share *s;
    struct plan *plan;
    struct lot **lots;
    int *lots_n;
    int64_t *ml; /* by demand: what is wanted, then what is given */
};

static int64_t
standing_on(const struct days *w, int product, int day)
{
    int64_t ul = 0;
    for (int i = 0; i < w->lots_n[product]; i++)
        if (w->lots[product][i].ready <= day)
            ul += w->lots[product][i].ul;
    return ul;
}

static enum err
write_line(struct days *w, const struct share_demand *d, int64_t ml, struct err_text *why)
{
    if (d->kind == SHARE_ORDER)
        return plan_add_order(w->plan, d->line, ml, why);
    return plan_add_sale(w->plan, d->product, d->day, ml, why);
}

/* Serves the demands of a day, the dearest first, as far as the lots go. */
static enum err
serve_day(struct days *w, int day, struct err_text *why)
{
    for (int i = 0; i < w->s->demands_n; i++) {
        const struct share_demand *d = &w->s->demands[i];
        if (d->day != day || w->ml[i] == 0)
            continue;
        struct lot *lots = w->lots[d->product];
        int n = w->lots_n[d->product];
        int64_t there = 0;
        for (int k = 0; k < n; k++)
            there += lots[k].ready <= day && day <= lots[k].last ? lots[k].ul : 0;
        int64_t ml = w->ml[i] < there / 1000 ? w->ml[i] : there / 1000;
        (void)take(lots, n, day, ml * 1000);
        enum err e = ml > 0 ? write_line(w, d, ml, why) : ERR_OK;
        if (e != ERR_OK)
            return e;
    }
    return ERR_OK;
}

/* Pours `ul` away (rounded up to whole ml) beyond what goes off today anyway. */
static enum err
pour(struct days *w, int product, int day, int64_t ul, struct err_text *why)
{
    int64_t off = 0;
    for (int i = 0; i < w->lots_n[product]; i++)
        if (w->lots[product][i].last == day && w->lots[product][i].ready <= day)
            off += w->lots[product][i].ul;
    int64_t there = standing_on(w, product, day);
    int64_t ml = (off + ul + 999) / 1000;
    if (ml > there / 1000)
        ml = there / 1000;
    (void)take(w->lots[product], w->lots_n[product], day, ml * 1000);
    return ml > 0 ? plan_add_discard(w->plan, product, day, ml, why) : ERR_OK;
}

/* What of product `i` stays after `day`; at the last day also what is still to come. */
static int64_t
stays(const struct days *w, int product, int day)
{
    int last_day = w->s->p->days - 1;
    int64_t ul = 0;
    for (int i = 0; i < w->lots_n[product]; i++) {
        const struct lot *l = &w->lots[product][i];
        if (l->last > day && (l->ready <= day || day == last_day))
            ul += l->ul;
    }
    return ul;
}

static int64_t
overfull(const struct days *w, int day)
{
    int64_t all = -w->s->p->fridge_ml * 1000;
    for (int i = 0; i < w->s->p->products_n; i++)
        all += stays(w, i, day);
    return all;
}

/* What can be poured away today: lots that are ready and would stay. */
static int64_t
pourable(const struct days *w, int product, int day)
{
    int64_t ul = 0;
    for (int i = 0; i < w->lots_n[product]; i++) {
        const struct lot *l = &w->lots[product][i];
        ul += l->ready <= day && l->last > day ? l->ul : 0;
    }
    return ul;
}

/* First what no demand waits for, then anything, until the rest fits the cold store. */
static enum err
empty_store(struct days *w, int day, struct err_text *why)
{
    for (int must = 0; must < 2; must++)
        for (int i = 0; i < w->s->p->products_n; i++) {
            int64_t over = overfull(w, day);
            if (over <= 0)
                return ERR_OK;
            int64_t spare = pourable(w, i, day);
            if (!must)
                spare -= *of_day(w->s, w->s->carry_ul, i, day);
            spare = spare < over ? spare : over;
            enum err e = spare > 0 ? pour(w, i, day, spare, why) : ERR_OK;
            if (e != ERR_OK)
                return e;
        }
    return ERR_OK;
}

static void
expire(struct days *w, int day)
{
    for (int i = 0; i < w->s->p->products_n; i++)
        for (int k = 0; k < w->lots_n[i]; k++)
            if (w->lots[i][k].last == day)
                w->lots[i][k].ul = 0;
}

static enum err
open_days(struct days *w, const int64_t *supply, const int64_t *ml, struct err_text *why)
{
    const struct problem *p = w->s->p;
    enum err e = problem_list(p->products_n, sizeof *w->lots, &w->lots, why);
    if (e == ERR_OK)
        e = problem_list(p->products_n, sizeof *w->lots_n, &w->lots_n, why);
    if (e == ERR_OK)
        e = problem_list(w->s->demands_n, sizeof *w->ml, &w->ml, why);
    for (int i = 0; e == ERR_OK && i < p->products_n; i++) {
        e = problem_list(w->s->standing_n[i] + p->days + 1, sizeof(struct lot), &w->lots[i], why);
        if (e == ERR_OK)
            w->lots_n[i] = gather_lots(w->s, i, supply, w->lots[i]);
    }
    if (e == ERR_OK)
        memcpy(w->ml, ml, (size_t)w->s->demands_n * sizeof *ml);
    return e;
}

static void
close_days(struct days *w)
{
    for (int i = 0; w->lots != NULL && i < w->s->p->products_n; i++)
        free(w->lots[i]);
    free(w->lots);
    free(w->lots_n);
    free(w->ml);
}

/* What is to be carried, for these amounts. */
static void
plan_carry(struct share *s, const int64_t *supply, const int64_t *ml)
{
    set_arrivals(s, supply);
    for (int i = 0; i < s->demands_n; i++)
        *of_day(s, s->served_ul, s->demands[i].product, s->demands[i].day) += ml[i] * 1000;
    for (int i = 0; i < s->p->products_n; i++)
        set_carry(s, i);
}

enum err
share_write(struct share *s, const int64_t *supply, const int64_t *ml, struct plan *plan,
            struct err_text *why)
{
    struct days w = {.s = s, .plan = plan};
    plan_carry(s, supply, ml);
    enum err e = open_days(&w, supply, ml, why);
    for (int day = 0; e == ERR_OK && day < s->p->days; day++) {
        e = serve_day(&w, day, why);
        if (e == ERR_OK)
            e = empty_store(&w, day, why);
        expire(&w, day);
    }
    close_days(&w);
    return e;
}
