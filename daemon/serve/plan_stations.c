/* plan_stations.c - see plan_stations.h. */
#include "daemon/serve/plan_stations.h"

#include <stdlib.h>
#include <string.h>
#include "daemon/serve/alcohol.h"
#include "daemon/serve/show.h"

/* A batch on a station: from the morning of a day until it is bottled. */
struct hold {
    int recipe, from, until; /* until: day of bottling; the calendar's end when that is later */
    int64_t g;
    const struct under_way *batch; /* NULL: to come */
    int station;
};

struct stations {
    const struct call *call;
    const struct problem *p;
    int32_t today;
    const char *codes[STATIONS_MOST];
    int free_from[STATIONS_MOST]; /* the first day on which it is free */
    int n;
    struct hold *holds;
    int n_holds;
};

size_t
station_codes(const struct catalogue *catalogue, int32_t day, const char *out_codes[STATIONS_MOST])
{
    const char *const *keys = NULL;
    size_t n = 0;
    unsigned n_keys = catalogue_keys(catalogue, KNOCKBOX__RECORD__BODY_STATION, &keys);
    for (unsigned i = 0; i < n_keys && n < STATIONS_MOST; i++) {
        const Knockbox__Station *station = (const Knockbox__Station *)catalogue_get(
            catalogue, KNOCKBOX__RECORD__BODY_STATION, keys[i], day);
        if (station != NULL && (!station->has_to || station->to >= day) &&
            station->class_ == KNOCKBOX__STATION_CLASS__STATION_CLASS_FILTER)
            out_codes[n++] = keys[i];
    }
    return n;
}

/* ---- who holds one */

static struct under_way *
find_batch(struct under_way_list *list, const struct problem *p,
           const struct problem_straining *straining)
{
    for (size_t i = 0; i < list->n; i++) {
        struct under_way *one = &list->batches[i];
        if (!one->taken && one->grounds_g == straining->puck_g &&
            strcmp(one->recipe, p->recipes[straining->recipe].id) == 0) {
            one->taken = true;
            return one;
        }
    }
    return NULL;
}

static int
by_day(const void *a, const void *b)
{
    const struct hold *x = a, *y = b;
    return x->from != y->from       ? (x->from > y->from) - (x->from < y->from)
           : x->recipe != y->recipe ? (x->recipe > y->recipe) - (x->recipe < y->recipe)
                                    : (x->g > y->g) - (x->g < y->g);
}

static enum err
list_holds(struct stations *s, const struct plan *plan, struct under_way_list *list,
           struct err_text *why)
{
    const struct problem *p = s->p;
    size_t n = (size_t)p->straining_n + (size_t)plan->batches_n;
    s->holds = calloc(n + 1, sizeof *s->holds);
    if (s->holds == NULL)
        return err_set(ERR_MEM, why, "no memory for the stations");
    for (int i = 0; i < p->straining_n; i++) {
        const struct problem_straining *one = &p->straining[i];
        s->holds[s->n_holds++] = (struct hold){
            one->recipe, -1, one->ready_day, one->puck_g, find_batch(list, p, one), -1};
    }
    for (int i = 0; i < plan->batches_n; i++) {
        const struct plan_batch *one = &plan->batches[i];
        int until = problem_ready_day(p, one->recipe, one->day);
        struct hold hold = {one->recipe, one->day, until < 0 ? p->calendar_n : until, 0, NULL, -1};
        for (int t = 0; t < one->tubs_n; t++)
            hold.g += p->tubs[one->tubs[t]].g;
        s->holds[s->n_holds++] = hold;
    }
    qsort(s->holds, (size_t)s->n_holds, sizeof *s->holds, by_day);
    return ERR_OK;
}

/* ---- on which */

static bool
take(struct stations *s, struct hold *hold, int station)
{
    if (station < 0 || s->free_from[station] > hold->from)
        return false;
    hold->station = station;
    s->free_from[station] = hold->until;
    return true;
}

static int
own_station(const struct stations *s, const struct hold *hold)
{
    for (int i = 0; i < s->n && hold->batch != NULL; i++)
        if (strcmp(s->codes[i], hold->batch->station) == 0)
            return i;
    return -1;
}

static void
assign(struct stations *s)
{
    for (int i = 0; i < s->n_holds; i++)
        if (s->holds[i].from < 0)
            (void)take(s, &s->holds[i], own_station(s, &s->holds[i]));
    for (int i = 0; i < s->n_holds; i++)
        for (int k = 0; k < s->n && s->holds[i].station < 0; k++)
            (void)take(s, &s->holds[i], k);
}

/* ---- in words' reach */

static json_t *
hold_json(const struct stations *s, const struct hold *hold)
{
    const struct problem *p = s->p;
    const struct problem_recipe *recipe = &p->recipes[hold->recipe];
    const struct catalogue *catalogue = ledger_catalogue(s->call->serve->options.ledger);
    int32_t from =
        hold->batch != NULL ? hold->batch->mixed_day : s->today + (hold->from < 0 ? 0 : hold->from);
    return json_pack(
        "{s:o, s:s, s:s, s:b, s:o, s:o, s:o, s:I, s:I}", "station",
        show_text(hold->station >= 0 ? s->codes[hold->station] : NULL), "recipe", recipe->id,
        "product", p->products[recipe->product].id, "alcoholic",
        alcohol_in_recipe(catalogue, recipe->id, s->today), "batch",
        show_text(hold->batch != NULL ? hold->batch->batch : NULL), "from", show_day(from), "ready",
        hold->until < p->calendar_n ? show_day(s->today + hold->until) : json_null(), "grounds_g",
        (json_int_t)hold->g, "ml", (json_int_t)(hold->g * recipe->yield_ml_per_kg / 1000));
}

static void
put_stations(const struct stations *s, json_t *view)
{
    json_t *codes = json_array(), *strain = json_array();
    for (int i = 0; i < s->n; i++)
        (void)json_array_append_new(codes, json_string(s->codes[i]));
    for (int i = 0; i < s->n_holds; i++)
        (void)json_array_append_new(strain, hold_json(s, &s->holds[i]));
    (void)json_object_set_new(view, "stations", codes);
    (void)json_object_set_new(view, "strain", strain);
}

enum err
plan_stations(struct call *call, const struct problem *p, const struct plan *plan, int32_t today,
              json_t *view, struct err_text *why)
{
    static const char unnamed[] = "station"; /* the one of a kitchen that wrote none down */
    struct stations s = {.call = call, .p = p, .today = today};
    struct under_way_list list = {.n = 0};
    s.n = (int)station_codes(ledger_catalogue(call->serve->options.ledger), today, s.codes);
    if (s.n == 0)
        s.codes[s.n++] = unnamed;
    for (int i = 0; i < s.n; i++)
        s.free_from[i] = -1;
    enum err e = under_way_load(call, NULL, &list, why);
    if (e == ERR_OK)
        e = list_holds(&s, plan, &list, why);
    if (e == ERR_OK) {
        assign(&s);
        put_stations(&s, view);
    }
    free(s.holds);
    under_way_done(&list);
    return e;
}
