/* kitchen_expect.c - what the cafés will bring and what their counters will sell, out of forecasts. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/serve/kitchen.h"
#include "daemon/serve/outlook.h"

enum {
    KEEPS_DAYS = 28,
    HABIT_DAYS = 28,     /* looked back for the usual tub and coffee of a café */
    ASSUMED_ML = 100000, /* wanted in stock when nobody sold a product of late */
};

enum err
kitchen_outlook(struct kitchen *k, struct err_text *why)
{
    return outlook_open(k->ask->ledger, k->ask->today, (size_t)k->ask->days, &k->outlook, why);
}

/* "3 cafés by weekdays and trend, 1 as on the same day last week" */
static char *
basis(const struct outlook_series *series, char out[160])
{
    int smoothed = 0, naive = 0;
    for (size_t i = 0; i < series->n; i++) {
        const struct calc_forecast_score *score = &series->forecast->scores[i];
        smoothed += score->used;
        naive += !score->used;
    }
    if (naive == 0)
        (void)snprintf(out, 160, "%d %s by weekdays and trend", smoothed,
                       smoothed == 1 ? "café" : "cafés");
    else
        (void)snprintf(out, 160, "%d %s by weekdays and trend, %d as on the same day last week",
                       smoothed, smoothed == 1 ? "café" : "cafés", naive);
    return out;
}

static const struct calc_forecast_day *
days_of(const struct outlook_series *series, size_t i)
{
    return &series->forecast->days[i * series->forecast->ahead];
}

/* Of today only what has not come yet. */
static double
still_to_come(const struct outlook_series *series, size_t i, int day)
{
    double value = days_of(series, i)[day].value;
    if (day > 0)
        return value;
    bool closed;
    double came = outlook_today(series->outlook, series->values, series->site[i], &closed);
    return closed || came >= value ? 0 : value - came;
}

/* ---- sales */

static int64_t
sold_on(const struct outlook_series *series, int day)
{
    double ml = 0;
    for (size_t i = 0; i < series->n; i++)
        ml += still_to_come(series, i, day);
    return ml < (double)PROBLEM_MOST ? (int64_t)(ml + 0.5) : PROBLEM_MOST;
}

/* *out_ml: over all days of the plan. */
static void
add_sales(struct kitchen *k, int product, const struct outlook_series *series, int64_t *out_ml)
{
    struct problem *p = k->p;
    struct kitchen_price price = kitchen_price_of(k, p->products[product].id);
    char words[160];
    *out_ml = 0;
    for (int d = 0; d < p->days && price.list_cents_per_l > 0; d++) {
        int64_t ml = sold_on(series, d);
        struct problem_sale *sale =
            ml > 0 ? kitchen_add(k, &p->sales, &p->sales_n, sizeof *sale) : NULL;
        if (sale == NULL)
            continue;
        *sale = (struct problem_sale){product, d, ml, price.transfer_cents_per_l};
        *out_ml += ml;
    }
    if (*out_ml > 0)
        kitchen_assume(k, "Counters sell about %.1f l of %s a day, %s: knockbox forecast.",
                       (double)*out_ml / 1000 / p->days, p->products[product].id,
                       basis(series, words));
}

static enum err
expect_sales(struct kitchen *k, int product, struct err_text *why)
{
    struct problem_product *one = &k->p->products[product];
    const struct outlook_values *values = outlook_product(k->outlook, one->id);
    struct outlook_series series;
    int64_t ml = 0;
    if (values != NULL) {
        enum err e = outlook_forecast(k->outlook, values, &series, why);
        if (e != ERR_OK)
            return e;
        add_sales(k, product, &series, &ml);
        outlook_series_done(&series);
    }
    if (ml == 0)
        kitchen_assume(k, "Nobody has sold %s of late: %d l are wanted in stock.", one->id,
                       ASSUMED_ML / 1000);
    one->end_demand_ml = ml == 0 ? ASSUMED_ML : ml < PROBLEM_MOST ? ml : PROBLEM_MOST;
    return ERR_OK;
}

enum err
kitchen_sales(struct kitchen *k, struct err_text *why)
{
    enum err e = ERR_OK;
    for (int i = 0; e == ERR_OK && i < k->p->products_n && i < PROBLEM_RECIPES_MAX; i++)
        e = expect_sales(k, i, why);
    return e;
}

/* ---- tubs */

/* Tubs of one coffee that a café filled of late. */
struct habit {
    int64_t n, g;
};

struct habits {
    const struct kitchen *k;
    struct habit *list; /* problem's sites x profiles */
};

static bool
see_habit(void *owner, const char *code, const ProtobufCMessage *row)
{
    struct habits *h = owner;
    const struct kitchen *k = h->k;
    const struct problem *p = k->p;
    const Knockbox__TubRow *tub = (const Knockbox__TubRow *)row;
    (void)code;
    if (tub->from_site == NULL || tub->coffee == NULL || tub->first_net_g < 1)
        return true;
    int32_t day =
        catalogue_business_day(k->catalogue, tub->from_site, tub->born_ms, tub->offset_min) -
        k->ask->today;
    if (day < -HABIT_DAYS || day >= 0)
        return true;
    int site = kitchen_find(p->sites, p->sites_n, sizeof *p->sites, tub->from_site);
    int profile = kitchen_find(p->profiles, p->profiles_n, sizeof *p->profiles, tub->coffee);
    if (site < 0 || profile < 0)
        return true;
    struct habit *habit = &h->list[site * p->profiles_n + profile];
    habit->n++;
    habit->g += tub->first_net_g;
    return true;
}

static void
add_expected(struct kitchen *k, int site, int profile, int day, int64_t number, int64_t g)
{
    struct problem *p = k->p;
    struct problem_tub *one = kitchen_add(k, &p->tubs, &p->tubs_n, sizeof *one);
    if (one == NULL)
        return;
    (void)snprintf(one->id, sizeof one->id, "expected-%.16s-%.16s-%u-%u", p->sites[site].id,
                   p->profiles[profile].id, (unsigned)(site * p->profiles_n + profile) % 1000000,
                   (unsigned)number % 100000);
    one->site = site;
    one->profile = profile;
    one->g = g;
    one->frozen_day = day;
    one->use_by_day = day + KEEPS_DAYS;
    one->at = PROBLEM_AT_FORECAST;
}

/* The coffee's share of what the café keeps, in its usual tubs: a tub is there as soon as half of
 * it is, so that over the days as much comes as is forecast. */
static void
expect_tubs(struct kitchen *k, const struct outlook_series *series, size_t i, int site,
            const struct habit *habits, int profile)
{
    int64_t all = 0, number = 0;
    double come = 0;
    for (int f = 0; f < k->p->profiles_n; f++)
        all += habits[f].g;
    if (habits[profile].n == 0)
        return;
    int64_t tub_g = habits[profile].g / habits[profile].n;
    double share = (double)habits[profile].g / (double)all;
    for (int d = 0; d < k->p->days; d++) {
        come += still_to_come(series, i, d) * share;
        while ((double)number + 0.5 < come / (double)tub_g && k->failed == ERR_OK)
            add_expected(k, site, profile, d, ++number, tub_g);
    }
}

static void
expect_site(struct kitchen *k, const struct outlook_series *series, size_t i,
            const struct habit *habits)
{
    struct problem *p = k->p;
    const char *code = series->outlook->sites[series->site[i]];
    int site = kitchen_find(p->sites, p->sites_n, sizeof *p->sites, code);
    for (int f = 0; site >= 0 && f < p->profiles_n; f++)
        expect_tubs(k, series, i, site, &habits[(size_t)site * (size_t)p->profiles_n], f);
}

static void
say_grounds(struct kitchen *k, const struct outlook_series *series)
{
    double g = 0;
    char words[160];
    for (size_t i = 0; i < series->n; i++)
        for (int d = 0; d < k->p->days; d++)
            g += days_of(series, i)[d].value;
    if (g > 0)
        kitchen_assume(k, "Cafés keep about %.1f kg of grounds a day, %s: knockbox forecast.",
                       g / 1000 / k->p->days, basis(series, words));
}

enum err
kitchen_forecast(struct kitchen *k, struct err_text *why)
{
    struct outlook_series series;
    size_t streams = (size_t)k->p->sites_n * (size_t)k->p->profiles_n;
    struct habits habits = {k, calloc(streams + 1, sizeof *habits.list)};
    if (habits.list == NULL)
        return err_set(ERR_MEM, why, "no memory for the tubs to expect");
    enum err e = ledger_rows(k->ask->ledger, SUBJECT_TUB, see_habit, &habits, why);
    if (e == ERR_OK)
        e = outlook_forecast(k->outlook, &k->outlook->grounds, &series, why);
    if (e == ERR_OK) {
        for (size_t i = 0; i < series.n; i++)
            expect_site(k, &series, i, habits.list);
        say_grounds(k, &series);
        outlook_series_done(&series);
    }
    free(habits.list);
    return e;
}
