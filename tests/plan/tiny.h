/* tiny.h - tiny planning problems made up from a number, filled by hand as the ledger would. */
#ifndef TESTS_PLAN_TINY_H
#define TESTS_PLAN_TINY_H

#include "kit.h"

struct tiny_size {
    int tubs, days, recipes, stations, products;
    bool roomy; /* a cold store that never binds */
};

static inline void
tiny_id(char *out, const char *letter, int n)
{
    snprintf(out, PROBLEM_ID_SIZE, "%s%02d", letter, n);
}

static inline void
tiny_list(int n, size_t size, void *out)
{
    cr_assert(problem_list(n, size, out, NULL) == ERR_OK);
}

static inline void
tiny_calendar(struct problem *p, uint64_t *chance)
{
    p->tail_days = 5;
    p->calendar_n = p->days + p->tail_days;
    tiny_list(p->calendar_n, sizeof *p->calendar, &p->calendar);
    for (int d = 0; d < p->calendar_n; d++) {
        bool off = d > 0 && d < p->calendar_n - 1 && kit_span(chance, 0, 5) == 0;
        bool starts = d > 0 && d < p->days && !off && p->calendar[d - 1].working;
        p->calendar[d].working = !off;
        p->calendar[d].thaw_day = starts ? d - 1 : PROBLEM_NEVER;
        p->calendar[d].labour_s = off ? 0 : kit_span(chance, 2000, 9000);
    }
}

static inline void
tiny_kitchen(struct problem *p, const struct tiny_size *z, uint64_t *chance)
{
    p->profiles_n = 2;
    tiny_list(2, sizeof *p->profiles, &p->profiles);
    tiny_id(p->profiles[0].id, "P", 0);
    tiny_id(p->profiles[1].id, "P", 1);
    p->ingredients_n = 1;
    tiny_list(1, sizeof *p->ingredients, &p->ingredients);
    tiny_id(p->ingredients[0].id, "sugar", 0);
    p->ingredients[0].stock_g = kit_span(chance, 0, 6000);
    p->ingredients[0].cents_per_kg = kit_span(chance, 0, 200);
    p->ingredients[0].deliveries_n = 1;
    tiny_list(1, sizeof(struct problem_delivery), &p->ingredients[0].deliveries);
    p->ingredients[0].deliveries[0] =
        (struct problem_delivery){kit_span(chance, 0, z->days), kit_span(chance, 0, 9000)};
    p->recipes_n = z->recipes;
    tiny_list(z->recipes, sizeof *p->recipes, &p->recipes);
    for (int i = 0; i < z->recipes; i++) {
        struct problem_recipe *r = &p->recipes[i];
        tiny_id(r->id, "R", i);
        r->product = i % z->products;
        problem_take(r, i % 2);
        if (kit_span(chance, 0, 1) == 0)
            problem_take(r, 1 - i % 2);
        r->puck_max_g = kit_span(chance, 30, 60) * 100;
        r->puck_min_g = r->puck_max_g * kit_span(chance, 2, 6) / 10;
        r->yield_ml_per_kg = kit_span(chance, 900, 3000);
        r->strain_days = kit_span(chance, 1, 2);
        r->need_g_per_kg[0] = kit_span(chance, 0, 1500);
        r->mix_s_per_batch = kit_span(chance, 0, 3000);
        r->mix_s_per_kg = kit_span(chance, 0, 60);
        r->bottle_s_per_batch = kit_span(chance, 0, 2000);
        r->bottle_s_per_kg = kit_span(chance, 0, 200);
    }
}

static inline void
tiny_demand(struct problem *p, const struct tiny_size *z, uint64_t *chance)
{
    p->products_n = z->products;
    tiny_list(z->products, sizeof *p->products, &p->products);
    for (int i = 0; i < z->products; i++) {
        tiny_id(p->products[i].id, "Q", i);
        p->products[i].shelf_days = z->roomy ? 60 : kit_span(chance, 1, 9);
        p->products[i].end_demand_ml = kit_span(chance, 0, 8000);
        p->products[i].end_cents_per_l = kit_span(chance, 0, 900);
    }
    p->stock_n = z->products;
    tiny_list(p->stock_n, sizeof *p->stock, &p->stock);
    for (int i = 0; i < p->stock_n; i++)
        p->stock[i] = (struct problem_stock){i, kit_span(chance, 0, 3000), kit_span(chance, 0, 9)};
    p->orders_n = 3;
    tiny_list(p->orders_n, sizeof *p->orders, &p->orders);
    for (int i = 0; i < p->orders_n; i++) {
        struct problem_order *o = &p->orders[i];
        tiny_id(o->id, "O", i);
        o->product = i % z->products;
        o->due_day = kit_span(chance, 0, z->days - 1);
        o->ml = kit_span(chance, 0, 6000);
        o->cents_per_l = kit_span(chance, 500, 1600);
        o->penalty_cents_per_l = kit_span(chance, 0, 800);
    }
    p->sales_n = z->days;
    tiny_list(p->sales_n, sizeof *p->sales, &p->sales);
    for (int i = 0; i < p->sales_n; i++)
        p->sales[i] =
            (struct problem_sale){0, i, kit_span(chance, 0, 2500), kit_span(chance, 400, 1500)};
}

/* Every café's tub has one run that can bring it. */
static inline void
tiny_tubs(struct problem *p, const struct tiny_size *z, uint64_t *chance)
{
    p->routes_n = 1;
    tiny_list(1, sizeof *p->routes, &p->routes);
    tiny_id(p->routes[0].id, "W", 0);
    p->sites_n = 2;
    tiny_list(2, sizeof *p->sites, &p->sites);
    tiny_id(p->sites[0].id, "S", 0);
    tiny_id(p->sites[1].id, "S", 1);
    p->runs_n = 1;
    tiny_list(1, sizeof *p->runs, &p->runs);
    tiny_id(p->runs[0].id, "V", 0);
    p->runs[0].day = kit_span(chance, 0, 1);
    p->runs[0].van_g = kit_span(chance, 2000, 9000);
    p->runs[0].fixed_cents = kit_span(chance, 0, 900);
    p->runs[0].cents_per_kg = kit_span(chance, 0, 30);
    p->tubs_n = z->tubs;
    tiny_list(z->tubs, sizeof *p->tubs, &p->tubs);
    for (int i = 0; i < z->tubs; i++) {
        struct problem_tub *t = &p->tubs[i];
        tiny_id(t->id, "T", i);
        t->site = i % 2;
        t->profile = kit_span(chance, 0, 1);
        t->g = kit_span(chance, 60, 260) * 10;
        t->frozen_day = kit_span(chance, -9, 1);
        t->use_by_day = kit_span(chance, 0, z->days + 6);
        t->at = t->frozen_day >= 0            ? PROBLEM_AT_FORECAST
                : kit_span(chance, 0, 2) == 0 ? PROBLEM_AT_SITE
                                              : PROBLEM_AT_KITCHEN;
    }
}

static inline struct problem *
tiny_problem(uint64_t seed, const struct tiny_size *z)
{
    uint64_t chance = seed * 1000003 + 17;
    struct err_text why = {.s = ""};
    struct problem *p = problem_new();
    cr_assert(p != NULL);
    p->days = z->days;
    p->stations = z->stations;
    p->labour_cents_per_hour = kit_span(&chance, 0, 2500);
    p->fridge_ml = z->roomy ? 1000000 : kit_span(&chance, 4000, 30000);
    p->lost_cents_per_kg = kit_span(&chance, 200, 600);
    p->late_n = 4;
    tiny_list(4, sizeof *p->late_cents_per_kg, &p->late_cents_per_kg);
    for (int i = 0; i < 4; i++)
        p->late_cents_per_kg[i] = 160 - 40 * i;
    tiny_calendar(p, &chance);
    tiny_kitchen(p, z, &chance);
    tiny_demand(p, z, &chance);
    tiny_tubs(p, z, &chance);
    p->previous_n = 1;
    tiny_list(1, sizeof *p->previous, &p->previous);
    p->previous[0] = (struct problem_previous){0, 1, 1};
    p->previous_until_day = z->days - 1;
    p->change_n = z->days;
    tiny_list(z->days, sizeof *p->change_cents_per_batch, &p->change_cents_per_batch);
    for (int i = 0; i < z->days; i++)
        p->change_cents_per_batch[i] = kit_span(&chance, 0, 300);
    cr_assert(problem_settle(p, &why) == ERR_OK, "seed %llu: %s", (unsigned long long)seed, why.s);
    return p;
}

#endif
