/* plan_view.c - a plan by days. */
#include "daemon/serve/plan_view.h"

#include <stdio.h>
#include <string.h>
#include "proto/when.h"

struct view {
    const struct problem *p;
    const struct plan *plan;
    int32_t today;
};

static json_t *
date_of(const struct view *v, int day)
{
    char text[DAY_TEXT];
    return json_string(day_print(v->today + day, text));
}

static int64_t
mass_of(const struct view *v, const int *tubs, int n)
{
    int64_t g = 0;
    for (int i = 0; i < n; i++)
        g += v->p->tubs[tubs[i]].g;
    return g;
}

static json_t *
names_of(const struct view *v, const int *tubs, int n)
{
    json_t *list = json_array();
    for (int i = 0; i < n; i++)
        (void)json_array_append_new(list, json_string(v->p->tubs[tubs[i]].id));
    return list;
}

static json_t *
batch_json(const struct view *v, const struct plan_batch *batch)
{
    const struct problem_recipe *recipe = &v->p->recipes[batch->recipe];
    int64_t g = mass_of(v, batch->tubs, batch->tubs_n);
    return json_pack("{s:s, s:s, s:I, s:I, s:o}", "recipe", recipe->id, "product",
                     v->p->products[recipe->product].id, "grounds_g", (json_int_t)g, "ml",
                     (json_int_t)(g * recipe->yield_ml_per_kg / 1000), "tubs",
                     names_of(v, batch->tubs, batch->tubs_n));
}

static void
add(json_t *day, const char *name, json_t *taken)
{
    (void)json_array_append_new(json_object_get(day, name), taken);
}

static void
add_batches(const struct view *v, int d, json_t *day)
{
    int straining = 0;
    for (int i = 0; i < v->plan->batches_n; i++) {
        const struct plan_batch *batch = &v->plan->batches[i];
        int ready = problem_ready_day(v->p, batch->recipe, batch->day);
        if (v->p->calendar[batch->day].thaw_day == d)
            add(day, "thaw", batch_json(v, batch));
        if (batch->day == d)
            add(day, "mix", batch_json(v, batch));
        if (ready == d)
            add(day, "bottle", batch_json(v, batch));
        straining += batch->day <= d && (ready > d || ready < 0);
    }
    for (int i = 0; i < v->p->straining_n; i++) {
        const struct problem_straining *s = &v->p->straining[i];
        const struct problem_recipe *recipe = &v->p->recipes[s->recipe];
        straining += s->ready_day > d;
        if (s->ready_day == d)
            add(day, "bottle",
                json_pack("{s:s, s:s, s:I, s:I, s:[]}", "recipe", recipe->id, "product",
                          v->p->products[recipe->product].id, "grounds_g", (json_int_t)s->puck_g,
                          "ml", (json_int_t)(s->puck_g * recipe->yield_ml_per_kg / 1000), "tubs"));
    }
    (void)json_object_set_new(day, "straining", json_integer(straining));
}

static void
add_loads(const struct view *v, int d, json_t *day)
{
    for (int i = 0; i < v->plan->loads_n; i++) {
        const struct plan_load *load = &v->plan->loads[i];
        const struct problem_run *run = &v->p->runs[load->run];
        if (run->day != d || load->tubs_n == 0)
            continue;
        add(day, "van",
            json_pack("{s:s, s:s, s:I, s:o}", "run", run->id, "route", v->p->routes[run->route].id,
                      "grounds_g", (json_int_t)mass_of(v, load->tubs, load->tubs_n), "tubs",
                      names_of(v, load->tubs, load->tubs_n)));
    }
}

static json_t *
day_json(const struct view *v, int d)
{
    json_t *day = json_pack("{s:o, s:b, s:[], s:[], s:[], s:[]}", "day", date_of(v, d), "working",
                            v->p->calendar[d].working, "thaw", "mix", "bottle", "van");
    add_batches(v, d, day);
    add_loads(v, d, day);
    return day;
}

static bool
is_used(const struct view *v, int tub)
{
    for (int i = 0; i < v->plan->batches_n; i++)
        for (int k = 0; k < v->plan->batches[i].tubs_n; k++)
            if (v->plan->batches[i].tubs[k] == tub)
                return true;
    return false;
}

static json_t *
lost_json(const struct view *v)
{
    json_t *lost = json_array();
    for (int i = 0; i < v->p->tubs_n; i++) {
        const struct problem_tub *tub = &v->p->tubs[i];
        if (tub->use_by_day >= v->p->days || tub->at == PROBLEM_AT_FORECAST || is_used(v, i))
            continue;
        (void)json_array_append_new(lost, json_pack("{s:s, s:s, s:I, s:o}", "tub", tub->id, "site",
                                                    v->p->sites[tub->site].id, "mass_g",
                                                    (json_int_t)tub->g, "use_by",
                                                    date_of(v, tub->use_by_day)));
    }
    return lost;
}

static json_t *
worth_json(const struct check_result *result)
{
    char text[CHECK_TEXT_SIZE];
    json_t *worth = json_object();
    for (int i = 0; i < CHECK_PARTS; i++) {
        check_text(result->part[i], text);
        (void)json_object_set_new(worth, check_part_name((enum check_part)i), json_string(text));
    }
    check_text(result->worth, text);
    (void)json_object_set_new(worth, "objective_cents", json_string(text));
    return worth;
}

json_t *
plan_view(const struct problem *p, const struct plan *plan, const struct check_result *result,
          int32_t today)
{
    struct view v = {p, plan, today};
    json_t *days = json_array();
    for (int d = 0; d < p->days; d++)
        (void)json_array_append_new(days, day_json(&v, d));
    return json_pack("{s:o, s:o, s:o, s:i, s:I}", "days", days, "lost", lost_json(&v), "worth",
                     worth_json(result), "batches", result->batches, "grounds_g",
                     (json_int_t)result->used_g);
}
