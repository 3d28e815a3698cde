/* plan_detail.c - zone, instant and rides of a plan; the stations are in plan_stations.c. */
#include "daemon/serve/plan_detail.h"

#include <string.h>
#include "daemon/base/zone.h"
#include "daemon/serve/plan_stations.h"
#include "daemon/serve/show.h"
#include "proto/when.h"

/* ---- rides */

static const char *
zone_name(const struct call *call, int32_t day)
{
    const char *own = call->serve->options.zone;
    const Knockbox__Site *site = show_site(call, call->serve->options.site, day);
    if (site != NULL && site->zone != NULL && site->zone[0] != '\0')
        return site->zone;
    return own != NULL ? own : "";
}

static int
minute_of(const char *hhmm)
{
    return ((hhmm[0] - '0') * 10 + hhmm[1] - '0') * 60 + (hhmm[3] - '0') * 10 + hhmm[4] - '0';
}

json_t *
plan_departure(const struct call *call, const char *run, int32_t day)
{
    const struct catalogue *catalogue = ledger_catalogue(call->serve->options.ledger);
    const Knockbox__Run *one =
        (const Knockbox__Run *)catalogue_get(catalogue, KNOCKBOX__RECORD__BODY_RUN, run, day);
    const struct zone *zone = NULL;
    struct err_text ignored;
    int64_t at_ms = 0;
    if (one == NULL || one->departs == NULL || strlen(one->departs) != 5 ||
        zone_find(zone_name(call, day), &zone, &ignored) != ERR_OK ||
        zone_instant(zone, day, minute_of(one->departs), &at_ms, NULL, &ignored) != ERR_OK)
        return json_null();
    return show_instant(at_ms, zone_offset_min(zone, at_ms));
}

/* The tubs of a load that come from one café; NULL when it has none in it. */
static json_t *
cafe_json(const struct problem *p, const struct plan_load *load, int site)
{
    json_t *tubs = json_array();
    int64_t g = 0;
    for (int i = 0; i < load->tubs_n; i++) {
        const struct problem_tub *tub = &p->tubs[load->tubs[i]];
        if (tub->site != site)
            continue;
        g += tub->g;
        (void)json_array_append_new(tubs, json_string(tub->id));
    }
    if (json_array_size(tubs) > 0)
        return json_pack("{s:s, s:o, s:I}", "site", p->sites[site].id, "tubs", tubs, "grounds_g",
                         (json_int_t)g);
    json_decref(tubs);
    return NULL;
}

static const struct plan_load *
load_of(const struct problem *p, const struct plan *plan, const char *run)
{
    for (int i = 0; i < plan->loads_n; i++)
        if (strcmp(p->runs[plan->loads[i].run].id, run) == 0)
            return &plan->loads[i];
    return NULL;
}

static void
add_ride(const struct call *call, const struct problem *p, const struct plan_load *load,
         int32_t today, json_t *ride)
{
    json_t *cafes = json_array();
    const struct problem_run *run = &p->runs[load->run];
    for (int site = 0; site < p->sites_n; site++) {
        json_t *cafe = cafe_json(p, load, site);
        if (cafe != NULL)
            (void)json_array_append_new(cafes, cafe);
    }
    (void)json_object_set_new(ride, "cafes", cafes);
    (void)json_object_set_new(ride, "departs", plan_departure(call, run->id, today + run->day));
}

static void
add_rides(const struct call *call, const struct problem *p, const struct plan *plan, int32_t today,
          json_t *view)
{
    size_t d, i;
    json_t *day, *ride;
    json_array_foreach(json_object_get(view, "days"), d, day)
    {
        json_array_foreach(json_object_get(day, "van"), i, ride)
        {
            const char *run = json_string_value(json_object_get(ride, "run"));
            const struct plan_load *load = run != NULL ? load_of(p, plan, run) : NULL;
            if (load != NULL)
                add_ride(call, p, load, today, ride);
        }
    }
}

enum err
plan_detail(struct call *call, const struct problem *p, const struct plan *plan, int32_t today,
            json_t *view, struct err_text *why)
{
    int64_t now = show_now(call);
    const char *site = call->serve->options.site;
    add_rides(call, p, plan, today, view);
    (void)json_object_set_new(view, "site", json_string(site));
    (void)json_object_set_new(view, "zone", show_text(zone_name(call, today)));
    (void)json_object_set_new(view, "made", show_instant(now, show_offset(call, site, now)));
    return plan_stations(call, p, plan, today, view, why);
}
