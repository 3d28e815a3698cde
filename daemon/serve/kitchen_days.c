/* kitchen_days.c - working days, thaw days, labour and room; routes and runs of the van. */
#include <stdio.h>
#include <string.h>
#include "daemon/serve/kitchen.h"
#include "proto/when.h"

enum {
    LABOUR_S = 8 * 3600,    /* one pair of hands */
    WAGE_CENTS = 1500,      /* an hour */
    FRIDGE_ML = 1000000000, /* as good as no limit */
    RIDE_CENTS = 2000,
    VAN_G = 200000,
    TUB_G = 3500,            /* a usual tub */
    LOST_CENTS_PER_KG = 100, /* so that tubs are used rather than lost */
    LATE_DAYS = 7,
};

static const Knockbox__Calendar *
calendar_of(const struct kitchen_ask *ask, int32_t day)
{
    const struct catalogue *catalogue = ledger_catalogue(ask->ledger);
    char key[80], text[DAY_TEXT];
    (void)snprintf(key, sizeof key, "%.64s|%s", ask->site, day_print(day, text));
    const ProtobufCMessage *own =
        catalogue_get(catalogue, KNOCKBOX__RECORD__BODY_CALENDAR, key, ask->today);
    (void)snprintf(key, sizeof key, "|%s", text);
    if (own == NULL)
        own = catalogue_get(catalogue, KNOCKBOX__RECORD__BODY_CALENDAR, key, ask->today);
    return (const Knockbox__Calendar *)own;
}

bool
kitchen_works(const struct kitchen_ask *ask, int32_t day)
{
    const Knockbox__Calendar *entry = calendar_of(ask, day);
    return entry != NULL ? entry->open : day_weekday(day) != 7;
}

/* The evening before a batch is the last working day before it; day 0 is settled already. */
static int
thaw_day(const struct problem *p, int day)
{
    for (int d = day - 1; d >= 0; d--)
        if (p->calendar[d].working)
            return d;
    return PROBLEM_NEVER;
}

static int64_t
labour_of(const struct kitchen *k, const Knockbox__Calendar *entry)
{
    if (entry != NULL && entry->has_labour_s)
        return entry->labour_s;
    if (k->site != NULL && k->site->has_labour_s)
        return k->site->labour_s;
    return LABOUR_S;
}

static void
fill_day(struct kitchen *k, int d)
{
    struct problem_day *day = &k->p->calendar[d];
    const Knockbox__Calendar *entry = calendar_of(k->ask, k->ask->today + d);
    day->working = kitchen_works(k->ask, k->ask->today + d);
    day->labour_s = day->working ? labour_of(k, entry) : 0;
    day->thaw_day = day->working ? thaw_day(k->p, d) : PROBLEM_NEVER;
}

static enum err
fill_kitchen(struct kitchen *k, struct err_text *why)
{
    struct problem *p = k->p;
    const Knockbox__Site *site = k->site;
    p->fridge_ml = site != NULL && site->has_fridge_ml ? site->fridge_ml : FRIDGE_ML;
    if (p->fridge_ml > PROBLEM_MOST)
        p->fridge_ml = PROBLEM_MOST;
    p->labour_cents_per_hour =
        site != NULL && site->has_labour_minor_per_hour ? site->labour_minor_per_hour : WAGE_CENTS;
    p->lost_cents_per_kg = LOST_CENTS_PER_KG;
    p->previous_until_day = -1;
    if (site == NULL || !site->has_labour_s)
        kitchen_assume(k, "Kitchen work: %d h on each working day, Monday to Saturday.",
                       LABOUR_S / 3600);
    if (site == NULL || !site->has_fridge_ml)
        kitchen_assume(k, "The cold store has room for all bottles.");
    p->late_n = LATE_DAYS;
    enum err e = problem_list(p->late_n, sizeof *p->late_cents_per_kg, &p->late_cents_per_kg, why);
    for (int i = 0; i < LATE_DAYS && e == ERR_OK; i++) /* falls evenly to nothing */
        p->late_cents_per_kg[i] = LOST_CENTS_PER_KG / 2 * (LATE_DAYS - i) / LATE_DAYS;
    return e;
}

static void
count_stations(struct kitchen *k)
{
    const char *const *keys = NULL;
    unsigned n = kitchen_keys(k, KNOCKBOX__RECORD__BODY_STATION, &keys);
    for (unsigned i = 0; i < n; i++) {
        const Knockbox__Station *station =
            (const Knockbox__Station *)kitchen_get(k, KNOCKBOX__RECORD__BODY_STATION, keys[i]);
        bool there = station != NULL && (!station->has_to || station->to >= k->ask->today);
        k->p->stations += there && station->class_ == KNOCKBOX__STATION_CLASS__STATION_CLASS_FILTER;
    }
    if (k->p->stations > 0)
        return;
    k->p->stations = 1;
    kitchen_assume(k, "One straining station: the catalogue has none.");
}

enum err
kitchen_days(struct kitchen *k, struct err_text *why)
{
    struct problem *p = k->p;
    p->days = k->ask->days;
    p->tail_days = KITCHEN_TAIL_DAYS;
    p->calendar_n = p->days + p->tail_days;
    enum err e = problem_list(p->calendar_n, sizeof *p->calendar, &p->calendar, why);
    for (int d = 0; d < p->calendar_n && e == ERR_OK; d++)
        fill_day(k, d);
    if (e == ERR_OK)
        e = fill_kitchen(k, why);
    count_stations(k);
    return e;
}

/* ---- the van */

static bool
runs_on(const Knockbox__Route *route, int weekday)
{
    for (size_t i = 0; i < route->n_weekdays; i++)
        if (route->weekdays[i] == weekday)
            return true;
    return false;
}

static struct problem_run *
add_run(struct kitchen *k, const char *id, int route, int day)
{
    struct problem *p = k->p;
    struct problem_run *run = kitchen_add(k, &p->runs, &p->runs_n, sizeof *run);
    if (run == NULL)
        return NULL;
    kitchen_name(run->id, id);
    run->route = route;
    run->day = day;
    run->van_g = VAN_G;
    run->fixed_cents = RIDE_CENTS;
    return run;
}

static bool
has_run(const struct problem *p, int route, int day)
{
    for (int i = 0; i < p->runs_n; i++)
        if (p->runs[i].route == route && p->runs[i].day == day)
            return true;
    return false;
}

/* Rides of the route's weekdays that nobody has written down one by one. */
static void
add_usual_runs(struct kitchen *k, const Knockbox__Route *route, int at)
{
    for (int d = 0; d < k->p->days; d++) {
        char id[PROBLEM_ID_SIZE], day[DAY_TEXT];
        int32_t date = k->ask->today + d;
        if (!runs_on(route, day_weekday(date)) || has_run(k->p, at, d))
            continue;
        (void)snprintf(id, sizeof id, "%.40s-%s", route->code, day_print(date, day));
        struct problem_run *run = add_run(k, id, at, d);
        if (run != NULL && route->has_van_tubs)
            run->van_g = route->van_tubs * TUB_G;
    }
}

static void
add_written_run(struct kitchen *k, const Knockbox__Run *run)
{
    struct problem *p = k->p;
    int day = run->day - k->ask->today;
    int route = kitchen_find(p->routes, p->routes_n, sizeof *p->routes, run->route);
    if (route < 0 || day < 0 || day >= p->days)
        return;
    struct problem_run *one = add_run(k, run->code, route, day);
    if (one == NULL)
        return;
    if (run->has_van_g)
        one->van_g = run->van_g;
    else if (run->has_van_tubs)
        one->van_g = run->van_tubs * TUB_G;
    if (run->has_fixed_minor)
        one->fixed_cents = run->fixed_minor;
    one->cents_per_kg = run->minor_per_kg;
}

/* A café belongs to the first route (by code) that passes it. */
static void
add_stops(struct kitchen *k, const Knockbox__Route *route, int at)
{
    struct problem *p = k->p;
    for (size_t i = 0; i < route->n_stops; i++) {
        if (kitchen_find(p->sites, p->sites_n, sizeof *p->sites, route->stops[i]) >= 0)
            continue;
        struct problem_site *site = kitchen_add(k, &p->sites, &p->sites_n, sizeof *site);
        if (site == NULL)
            return;
        kitchen_name(site->id, route->stops[i]);
        site->route = at;
    }
}

enum err
kitchen_routes(struct kitchen *k, struct err_text *why)
{
    const char *const *routes = NULL, *const *runs = NULL;
    unsigned n = kitchen_keys(k, KNOCKBOX__RECORD__BODY_ROUTE, &routes);
    (void)why;
    for (unsigned i = 0; i < n; i++) {
        const Knockbox__Route *route =
            (const Knockbox__Route *)kitchen_get(k, KNOCKBOX__RECORD__BODY_ROUTE, routes[i]);
        struct problem_name *name =
            route != NULL ? kitchen_add(k, &k->p->routes, &k->p->routes_n, sizeof *name) : NULL;
        if (name == NULL)
            continue;
        kitchen_name(name->id, route->code);
        add_stops(k, route, k->p->routes_n - 1);
    }
    unsigned n_runs = kitchen_keys(k, KNOCKBOX__RECORD__BODY_RUN, &runs);
    for (unsigned i = 0; i < n_runs; i++) {
        const Knockbox__Run *run = (const Knockbox__Run *)catalogue_get(
            k->catalogue, KNOCKBOX__RECORD__BODY_RUN, runs[i], k->ask->today + k->p->days);
        if (run != NULL)
            add_written_run(k, run);
    }
    for (unsigned i = 0; i < n; i++) {
        const Knockbox__Route *route =
            (const Knockbox__Route *)kitchen_get(k, KNOCKBOX__RECORD__BODY_ROUTE, routes[i]);
        if (route != NULL)
            add_usual_runs(
                k, route,
                kitchen_find(k->p->routes, k->p->routes_n, sizeof *k->p->routes, route->code));
    }
    if (n == 0)
        kitchen_assume(k, "No van: the catalogue has no route.");
    return ERR_OK;
}
