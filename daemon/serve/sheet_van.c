/* sheet_van.c - the van's list: at the kitchen by café, at a café by run. */
#include <stdlib.h>
#include <string.h>
#include "daemon/serve/pickups.h"
#include "daemon/serve/plan_detail.h"
#include "daemon/serve/sheet.h"
#include "daemon/serve/show.h"

static json_t *
name_of(const struct sheet *sheet, const char *site)
{
    const Knockbox__Site *one = site != NULL ? show_site(sheet->call, site, sheet->day) : NULL;
    return show_text(one != NULL ? one->name : NULL);
}

/* ---- at the kitchen */

static enum err
fill_cafes(struct sheet *sheet, json_t *ride, struct err_text *why)
{
    size_t i;
    json_t *cafe;
    json_array_foreach(json_object_get(ride, "cafes"), i, cafe)
    {
        json_t *tubs = NULL;
        enum err e = sheet_tubs(sheet, json_object_get(cafe, "tubs"), &tubs, why);
        if (e != ERR_OK)
            return e;
        (void)json_object_set_new(cafe, "tubs", tubs);
        (void)json_object_set_new(cafe, "name",
                                  name_of(sheet, json_string_value(json_object_get(cafe, "site"))));
    }
    return ERR_OK;
}

enum err
sheet_van(struct sheet *sheet, struct err_text *why)
{
    json_t *list = json_array(), *from;
    size_t i;
    (void)json_object_set_new(sheet->answer, "van", list);
    json_array_foreach(json_object_get(sheet->today, "van"), i, from)
    {
        json_t *ride = json_deep_copy(from);
        (void)json_object_del(ride, "tubs");
        (void)json_object_set_new(ride, "day", show_day(sheet->day));
        (void)json_array_append_new(list, ride);
        enum err e = fill_cafes(sheet, ride, why);
        if (e != ERR_OK)
            return e;
    }
    return ERR_OK;
}

/* ---- at a café */

static int
by_day_and_run(const void *a, const void *b)
{
    const struct pickup_line *x = a, *y = b;
    int d = (x->day > y->day) - (x->day < y->day);
    d = d != 0 ? d : strcmp(x->run, y->run);
    return d != 0 ? d : strcmp(x->tub, y->tub);
}

static json_t *
ride_json(const struct sheet *sheet, const struct pickup_line *line)
{
    const struct catalogue *catalogue = ledger_catalogue(sheet->ledger);
    const Knockbox__Run *run = (const Knockbox__Run *)catalogue_get(
        catalogue, KNOCKBOX__RECORD__BODY_RUN, line->run, line->day);
    return json_pack("{s:s, s:o, s:o, s:o}", "run", line->run, "route",
                     show_text(run != NULL ? run->route : NULL), "day", show_day(line->day),
                     "departs", plan_departure(sheet->call, line->run, line->day));
}

/* The tubs of a run that are in the café's freezer still. */
static json_t *
still_there(json_t *tubs, int64_t *out_g)
{
    json_t *list = json_array(), *tub;
    size_t i;
    *out_g = 0;
    json_array_foreach(tubs, i, tub)
    {
        const char *state = json_string_value(json_object_get(tub, "state"));
        if (state == NULL || strcmp(state, "frozen") != 0)
            continue;
        *out_g += json_integer_value(json_object_get(tub, "net_g"));
        (void)json_array_append(list, tub);
    }
    json_decref(tubs);
    return list;
}

static enum err
add_run(struct sheet *sheet, const struct pickup_line *lines, size_t n, json_t *list,
        struct err_text *why)
{
    json_t *labels = json_array(), *tubs = NULL;
    const char *site = sheet->call->serve->options.site;
    int64_t g = 0;
    for (size_t i = 0; i < n; i++)
        (void)json_array_append_new(labels, json_string(lines[i].tub));
    enum err e = sheet_tubs(sheet, labels, &tubs, why);
    json_decref(labels);
    if (e != ERR_OK)
        return e;
    tubs = still_there(tubs, &g);
    if (json_array_size(tubs) == 0) {
        json_decref(tubs);
        return ERR_OK;
    }
    json_t *ride = ride_json(sheet, lines);
    (void)json_object_set_new(ride, "grounds_g", json_integer(g));
    (void)json_object_set_new(ride, "cafes",
                              json_pack("[{s:s, s:o, s:I, s:o}]", "site", site, "name",
                                        name_of(sheet, site), "grounds_g", (json_int_t)g, "tubs",
                                        tubs));
    (void)json_array_append_new(list, ride);
    return ERR_OK;
}

enum err
sheet_handover(struct sheet *sheet, struct err_text *why)
{
    struct pickups pickups = {.n = 0};
    json_t *list = json_array();
    (void)json_object_set_new(sheet->answer, "van", list);
    enum err e = pickups_load(sheet->call, sheet->day, &pickups, why);
    if (e == ERR_OK && pickups.n > 1)
        qsort(pickups.lines, pickups.n, sizeof *pickups.lines, by_day_and_run);
    for (size_t i = 0, n; i < pickups.n && e == ERR_OK; i += n) {
        n = 1;
        while (i + n < pickups.n && pickups.lines[i + n].day == pickups.lines[i].day &&
               strcmp(pickups.lines[i + n].run, pickups.lines[i].run) == 0)
            n++;
        e = add_run(sheet, pickups.lines + i, n, list, why);
    }
    pickups_done(&pickups);
    return e;
}
