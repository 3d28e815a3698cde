/* pickups.c - which tubs go with which van. */
#include "daemon/serve/pickups.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Lists of one plan carry one instant; a newer plan's lists replace all of the older one. */
struct loading {
    struct pickups *pickups;
    int32_t today;
    int64_t at_ms;
    bool no_memory;
};

static bool
add_line(struct pickups *pickups, const char *tub, const Knockbox__Pickup *pickup)
{
    if (pickups->n == pickups->room) {
        size_t room = pickups->room == 0 ? 64 : pickups->room * 2;
        struct pickup_line *lines = realloc(pickups->lines, room * sizeof *lines);
        if (lines == NULL)
            return false;
        pickups->lines = lines;
        pickups->room = room;
    }
    struct pickup_line *line = &pickups->lines[pickups->n++];
    (void)snprintf(line->tub, sizeof line->tub, "%s", tub);
    (void)snprintf(line->run, sizeof line->run, "%s", pickup->run);
    line->day = pickup->day;
    return true;
}

static bool
see_pickup(void *owner, const struct fact *fact)
{
    struct loading *loading = owner;
    if (fact->kind->number != KNOCKBOX__RECORD__BODY_PICKUP || fact->at_ms < loading->at_ms)
        return true;
    if (fact->at_ms > loading->at_ms) {
        loading->at_ms = fact->at_ms;
        loading->pickups->n = 0;
    }
    const Knockbox__Pickup *pickup = fact->record->pickup;
    size_t n = pickup->day >= loading->today && pickup->tubs != NULL ? pickup->tubs->n_v : 0;
    for (size_t i = 0; i < n && !loading->no_memory; i++)
        loading->no_memory = !add_line(loading->pickups, pickup->tubs->v[i], pickup);
    return !loading->no_memory;
}

static int
by_tub(const void *a, const void *b)
{
    return strcmp(((const struct pickup_line *)a)->tub, ((const struct pickup_line *)b)->tub);
}

enum err
pickups_load(const struct call *call, int32_t today, struct pickups *out_pickups,
             struct err_text *why)
{
    struct loading loading = {out_pickups, today, INT64_MIN, false};
    enum err e = ledger_facts(call->serve->options.ledger, SUBJECT_DEMAND, "pickups", INT64_MAX,
                              see_pickup, &loading, why);
    if (loading.no_memory)
        return err_set(ERR_MEM, why, "no memory for the pick-up lists");
    if (out_pickups->n > 1)
        qsort(out_pickups->lines, out_pickups->n, sizeof *out_pickups->lines, by_tub);
    return e == ERR_NOT_FOUND ? ERR_OK : e;
}

const struct pickup_line *
pickups_of(const struct pickups *pickups, const char *tub)
{
    struct pickup_line key;
    if (pickups->n == 0)
        return NULL;
    (void)snprintf(key.tub, sizeof key.tub, "%s", tub);
    return bsearch(&key, pickups->lines, pickups->n, sizeof key, by_tub);
}

void
pickups_done(struct pickups *pickups)
{
    free(pickups->lines);
    *pickups = (struct pickups){0};
}

/* ---- what a site has been told */

struct standing {
    struct pickup_standing *list;
    size_t n;
    int32_t today;
    bool no_memory;
};

static struct pickup_standing *
standing_of(struct standing *standing, const char *site)
{
    for (size_t i = 0; i < standing->n; i++)
        if (strcmp(standing->list[i].site, site) == 0)
            return &standing->list[i];
    struct pickup_standing *more =
        realloc(standing->list, (standing->n + 1) * sizeof *standing->list);
    standing->no_memory = more == NULL;
    if (more == NULL)
        return NULL;
    standing->list = more;
    struct pickup_standing *one = &more[standing->n++];
    *one = (struct pickup_standing){.at_ms = INT64_MIN};
    (void)snprintf(one->site, sizeof one->site, "%s", site);
    return one;
}

static bool
see_standing(void *owner, const struct fact *fact)
{
    struct standing *standing = owner;
    if (fact->kind->number != KNOCKBOX__RECORD__BODY_PICKUP)
        return true;
    const Knockbox__Pickup *pickup = fact->record->pickup;
    struct pickup_standing *one = standing_of(standing, pickup->for_site);
    if (one == NULL)
        return false;
    if (fact->at_ms > one->at_ms) { /* a newer plan's */
        one->at_ms = fact->at_ms;
        one->tubs = false;
    }
    if (pickup->day < standing->today || pickup->tubs == NULL || pickup->tubs->n_v == 0)
        return true;
    (void)snprintf(one->run, sizeof one->run, "%s", pickup->run);
    one->day = pickup->day;
    one->tubs = true;
    return true;
}

enum err
pickups_standing(const struct call *call, int32_t today, struct pickup_standing **out_list,
                 size_t *out_n, struct err_text *why)
{
    struct standing standing = {.today = today};
    enum err e = ledger_facts(call->serve->options.ledger, SUBJECT_DEMAND, "pickups", INT64_MAX,
                              see_standing, &standing, why);
    e = e == ERR_NOT_FOUND ? ERR_OK : e;
    if (standing.no_memory)
        e = err_set(ERR_MEM, why, "no memory for the pick-up lists");
    if (e != ERR_OK) {
        free(standing.list);
        return e;
    }
    *out_list = standing.list;
    *out_n = standing.n;
    return ERR_OK;
}
