/* recipe_stock.c - tubs and ingredient lots that are there, oldest first. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/serve/recipe.h"
#include "proto/codec.h"

/* One more at the end of a list, all zero; NULL: no memory. */
static void *
add(void **list, size_t *n, size_t *room, size_t size)
{
    if (*n == *room) {
        size_t more = *room == 0 ? 64 : *room * 2;
        void *grown = realloc(*list, more * size);
        if (grown == NULL)
            return NULL;
        *list = grown;
        *room = more;
    }
    void *one = (char *)*list + (*n)++ * size;
    memset(one, 0, size);
    return one;
}

static void
put(char to[RECIPE_CODE], const char *text)
{
    (void)snprintf(to, RECIPE_CODE, "%s", text != NULL ? text : "");
}

static bool
is_there(const Knockbox__TubRow *tub)
{
    return tub->net_g > 0 && (tub->state == KNOCKBOX__TUB_STATE__TUB_STATE_FROZEN ||
                              tub->state == KNOCKBOX__TUB_STATE__TUB_STATE_IN_TRANSIT ||
                              tub->state == KNOCKBOX__TUB_STATE__TUB_STATE_RECEIVED ||
                              tub->state == KNOCKBOX__TUB_STATE__TUB_STATE_THAWED);
}

static bool
add_tub(void *owner, const char *code, const ProtobufCMessage *row)
{
    struct recipe_ask *ask = owner;
    struct recipe_stock *s = &ask->stock;
    const Knockbox__TubRow *tub = (const Knockbox__TubRow *)row;
    if (!is_there(tub))
        return true;
    void *list = s->tubs;
    struct recipe_tub *one = add(&list, &s->n_tubs, &s->room_tubs, sizeof *one);
    s->tubs = list;
    s->no_memory = s->no_memory || one == NULL;
    if (one == NULL)
        return false;
    put(one->tub, code);
    put(one->coffee, tub->coffee);
    put(one->site, tub->site);
    one->net_g = tub->net_g;
    one->frozen_ms = tub->frozen_ms;
    one->use_by = tub->has_use_by ? tub->use_by : INT32_MAX;
    one->warm_over = tub->warm_over;
    one->here = tub->site != NULL && strcmp(tub->site, ask->site) == 0;
    return true;
}

static bool
add_lot(void *owner, const char *code, const ProtobufCMessage *row)
{
    struct recipe_ask *ask = owner;
    struct recipe_stock *s = &ask->stock;
    const Knockbox__SupplyRow *supply = (const Knockbox__SupplyRow *)row;
    if (supply->left_g <= 0 || supply->item == NULL)
        return true;
    void *list = s->lots;
    struct recipe_lot *one = add(&list, &s->n_lots, &s->room_lots, sizeof *one);
    s->lots = list;
    s->no_memory = s->no_memory || one == NULL;
    if (one == NULL)
        return false;
    put(one->lot, code);
    put(one->item, supply->item);
    (void)snprintf(one->currency, sizeof one->currency, "%.3s",
                   supply->currency != NULL ? supply->currency : "");
    one->left_g = supply->left_g;
    one->mass_g = supply->mass_g;
    one->cost_minor = supply->has_cost_minor ? supply->cost_minor : -1;
    one->best_before = supply->has_best_before ? supply->best_before : INT32_MAX;
    one->received = supply->has_received ? supply->received : INT32_MAX;
    one->abv_pct = recipe_number(supply->abv_pct);
    return true;
}

static int
sign(int64_t a, int64_t b)
{
    return (a > b) - (a < b);
}

static int
compare_tubs(const void *a, const void *b)
{
    const struct recipe_tub *x = a, *y = b;
    int d = sign(x->use_by, y->use_by);
    if (d == 0)
        d = sign(x->frozen_ms, y->frozen_ms);
    return d != 0 ? d : strcmp(x->tub, y->tub);
}

static int
compare_lots(const void *a, const void *b)
{
    const struct recipe_lot *x = a, *y = b;
    int d = sign(x->best_before, y->best_before);
    if (d == 0)
        d = sign(x->received, y->received);
    return d != 0 ? d : strcmp(x->lot, y->lot);
}

enum err
recipe_stock_load(struct recipe_ask *ask, struct err_text *why)
{
    struct recipe_stock *s = &ask->stock;
    enum err e = ledger_rows(ask->ledger, SUBJECT_TUB, add_tub, ask, why);
    if (e == ERR_OK)
        e = ledger_rows(ask->ledger, SUBJECT_SUPPLY, add_lot, ask, why);
    if (s->no_memory)
        return err_set(ERR_MEM, why, "no memory for the stock of a recipe");
    if (s->n_tubs > 1)
        qsort(s->tubs, s->n_tubs, sizeof *s->tubs, compare_tubs);
    if (s->n_lots > 1)
        qsort(s->lots, s->n_lots, sizeof *s->lots, compare_lots);
    return e;
}

void
recipe_stock_done(struct recipe_stock *stock)
{
    free(stock->tubs);
    free(stock->lots);
}

bool
recipe_lot_good(const struct recipe_ask *ask, const struct recipe_lot *lot)
{
    return lot->best_before >= ask->today;
}

/* ---- which tubs */

static bool
takes_coffee(const struct recipe_ask *ask, const char *coffee)
{
    const char *only = call_arg(ask->call, "grounds");
    const Knockbox__Codes *coffees = ask->recipe->coffees;
    if (only != NULL)
        return strcmp(only, coffee) == 0;
    for (size_t i = 0; coffees != NULL && i < coffees->n_v; i++)
        if (strcmp(coffees->v[i], coffee) == 0)
            return true;
    return coffees == NULL;
}

bool
recipe_takes(const struct recipe_ask *ask, const struct recipe_tub *tub)
{
    return tub->here && !tub->warm_over && tub->use_by >= ask->today &&
           takes_coffee(ask, tub->coffee);
}

static struct recipe_tub *
find_tub(struct recipe_stock *stock, const char *label, size_t len)
{
    for (size_t i = 0; i < stock->n_tubs; i++)
        if (strlen(stock->tubs[i].tub) == len && strncmp(stock->tubs[i].tub, label, len) == 0)
            return &stock->tubs[i];
    return NULL;
}

/* A person chose it: told what speaks against it, and taken all the same. */
static void
warn_of_tub(struct recipe_ask *ask, const struct recipe_tub *tub)
{
    if (tub->use_by < ask->today)
        recipe_say(ask->cautions, "Tub %s is past its date.", tub->tub);
    if (tub->warm_over)
        recipe_say(ask->cautions, "Tub %s stood warm for longer than the site allows.", tub->tub);
    if (!tub->here)
        recipe_say(ask->cautions, "Tub %s is not here but at %s.", tub->tub,
                   tub->site[0] != '\0' ? tub->site : "a place that is not known");
    if (!takes_coffee(ask, tub->coffee))
        recipe_say(ask->cautions, "Tub %s holds %s, which the recipe does not name.", tub->tub,
                   tub->coffee);
}

enum err
recipe_take_named(struct recipe_ask *ask, const char *list, int64_t *out_g, struct err_text *why)
{
    *out_g = 0;
    while (*list != '\0') {
        size_t len = strcspn(list, ",");
        struct recipe_tub *tub = find_tub(&ask->stock, list, len);
        char label[RECIPE_CODE];
        (void)snprintf(label, sizeof label, "%.*s", len < 64 ? (int)len : 64, list);
        if (tub == NULL || tub->take_g > 0)
            return err_input(why, "tubs", label,
                             tub == NULL ? "a tub that is there (knockbox freezer lists them)"
                                         : "each tub once");
        warn_of_tub(ask, tub);
        tub->take_g = tub->net_g;
        *out_g += tub->net_g;
        list += len;
        list += *list == ',';
    }
    return *out_g > 0 ? ERR_OK : err_input(why, "tubs", "", "labels of tubs, separated by commas");
}

int64_t
recipe_take_fitting(struct recipe_ask *ask, double grounds_most_g)
{
    int64_t sum = 0;
    for (size_t i = 0; i < ask->stock.n_tubs; i++) {
        struct recipe_tub *tub = &ask->stock.tubs[i];
        if (!recipe_takes(ask, tub))
            continue;
        if ((double)(sum + tub->net_g) > grounds_most_g)
            break;
        tub->take_g = tub->net_g;
        sum += tub->net_g;
    }
    return sum;
}

int64_t
recipe_take_mass(struct recipe_ask *ask, int64_t grounds_g)
{
    for (size_t i = 0; i < ask->stock.n_tubs && grounds_g > 0; i++) {
        struct recipe_tub *tub = &ask->stock.tubs[i];
        if (!recipe_takes(ask, tub))
            continue;
        tub->take_g = tub->net_g < grounds_g ? tub->net_g : grounds_g;
        grounds_g -= tub->take_g;
    }
    return grounds_g;
}
