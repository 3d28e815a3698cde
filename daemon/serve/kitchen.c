/* kitchen.c - the planning problem of a kitchen, out of its books and catalogue. */
#include "daemon/serve/kitchen.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/serve/outlook.h"
#include "proto/when.h"

void
kitchen_assume(struct kitchen *k, const char *format, ...)
{
    char text[300];
    va_list args;
    va_start(args, format);
    (void)vsnprintf(text, sizeof text, format, args);
    va_end(args);
    for (size_t i = 0; i < json_array_size(k->assumed); i++)
        if (strcmp(json_string_value(json_array_get(k->assumed, i)), text) == 0)
            return;
    (void)json_array_append_new(k->assumed, json_string(text));
}

void *
kitchen_add(struct kitchen *k, void *list, int *n, size_t size)
{
    void *members;
    size_t have = (size_t)*n;
    memcpy(&members, list, sizeof members);
    if ((have & (have - 1)) == 0) { /* full at each power of two */
        void *grown = realloc(members, (have == 0 ? 1 : have * 2) * size);
        if (grown == NULL) {
            k->failed = ERR_MEM;
            return NULL;
        }
        members = grown;
        memcpy(list, &members, sizeof members);
    }
    void *member = (char *)members + have * size;
    memset(member, 0, size);
    (*n)++;
    return member;
}

int
kitchen_find(const void *list, int n, size_t size, const char *id)
{
    for (int i = 0; i < n; i++)
        if (strcmp((const char *)list + (size_t)i * size, id) == 0)
            return i;
    return -1;
}

void
kitchen_name(char id[PROBLEM_ID_SIZE], const char *code)
{
    (void)snprintf(id, PROBLEM_ID_SIZE, "%.*s", PROBLEM_ID_SIZE - 1, code);
}

const ProtobufCMessage *
kitchen_get(const struct kitchen *k, uint32_t kind, const char *code)
{
    return catalogue_get(k->catalogue, kind, code, k->ask->today);
}

unsigned
kitchen_keys(const struct kitchen *k, uint32_t kind, const char *const **out_keys)
{
    return catalogue_keys(k->catalogue, kind, out_keys);
}

int
kitchen_profile(struct kitchen *k, const char *coffee)
{
    struct problem *p = k->p;
    int at = kitchen_find(p->profiles, p->profiles_n, sizeof *p->profiles, coffee);
    if (at >= 0 || p->profiles_n == PROBLEM_PROFILES_MAX)
        return at;
    struct problem_name *name = kitchen_add(k, &p->profiles, &p->profiles_n, sizeof *name);
    if (name == NULL)
        return -1;
    kitchen_name(name->id, coffee);
    return p->profiles_n - 1;
}

static int
route_of_nobody(struct kitchen *k)
{
    struct problem *p = k->p;
    int at = kitchen_find(p->routes, p->routes_n, sizeof *p->routes, "no-route");
    if (at >= 0)
        return at;
    struct problem_name *name = kitchen_add(k, &p->routes, &p->routes_n, sizeof *name);
    if (name == NULL)
        return -1;
    kitchen_name(name->id, "no-route");
    return p->routes_n - 1;
}

int
kitchen_site(struct kitchen *k, const char *site)
{
    struct problem *p = k->p;
    int at = kitchen_find(p->sites, p->sites_n, sizeof *p->sites, site);
    int route = at < 0 ? route_of_nobody(k) : 0;
    if (at >= 0 || route < 0)
        return at;
    struct problem_site *one = kitchen_add(k, &p->sites, &p->sites_n, sizeof *one);
    if (one == NULL)
        return -1;
    kitchen_name(one->id, site);
    one->route = route;
    if (strcmp(site, k->ask->site) != 0)
        kitchen_assume(k, "No route passes %s: its tubs stay there.", site);
    return p->sites_n - 1;
}

/* What there is comes before what names it. */
static kitchen_part *const parts[] = {
    kitchen_outlook, kitchen_days,     kitchen_routes,    kitchen_products, kitchen_recipes,
    kitchen_yields,  kitchen_supplies, kitchen_straining, kitchen_orders,   kitchen_sales,
    kitchen_tubs,    kitchen_forecast, kitchen_bottles,   kitchen_previous,
};

static enum err
build(struct kitchen *k, struct err_text *why)
{
    char day[DAY_TEXT];
    enum err e = ERR_OK;
    (void)snprintf(k->p->name, sizeof k->p->name, "%.40s %s", k->ask->site,
                   day_print(k->ask->today, day));
    for (size_t i = 0; i < sizeof parts / sizeof parts[0] && e == ERR_OK; i++) {
        e = parts[i](k, why);
        if (e == ERR_OK && k->failed != ERR_OK)
            e = err_set(k->failed, why, "no memory for the planning problem");
    }
    return e == ERR_OK ? problem_settle(k->p, why) : e;
}

enum err
kitchen_problem(const struct kitchen_ask *ask, struct problem **out_problem, json_t **out_assumed,
                struct err_text *why)
{
    struct kitchen k = {.ask = ask,
                        .catalogue = ledger_catalogue(ask->ledger),
                        .p = problem_new(),
                        .assumed = json_array()};
    enum err e = k.p != NULL && k.assumed != NULL
                     ? ERR_OK
                     : err_set(ERR_MEM, why, "no memory for the planning problem");
    k.site = (const Knockbox__Site *)catalogue_get(k.catalogue, KNOCKBOX__RECORD__BODY_SITE_,
                                                   ask->site, ask->today);
    if (e == ERR_OK)
        e = build(&k, why);
    outlook_close(k.outlook);
    if (e == ERR_OK) {
        *out_problem = k.p;
        *out_assumed = k.assumed;
        return ERR_OK;
    }
    problem_free(k.p);
    json_decref(k.assumed);
    return e;
}
