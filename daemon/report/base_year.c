/* base_year.c - see base_year.h. */
#include "daemon/report/base_year.h"

#include <stdio.h>
#include <string.h>
#include "proto/when.h"

const struct base_key base_keys[BASE_FIGURES] = {
    {"grounds", "generated_kg", "kg"},
    {"waste", "diverted_kg", "kg"},
    {"waste", "disposed_kg", "kg"},
    {"emissions", "inventory_kg_co2e", "kg CO2e"},
};

const char *
base_key_print(const struct base_key *key, char out[64])
{
    (void)snprintf(out, 64, "%s.%s", key->path, key->key);
    return out;
}

const char *
base_number(const struct base_key *key, const struct decimal *value, char room[NUMBER_TEXT])
{
    return strcmp(key->unit, "kg") == 0 ? decimal_print_places(value, 3, room)
                                        : number_exact(value, room);
}

/* A figure that a close wrote down; false: it did not. */
static bool
figure_of(const Knockbox__Figures *figures, const struct base_key *key, struct decimal *out)
{
    char name[64];
    (void)base_key_print(key, name);
    for (size_t i = 0; figures != NULL && i < figures->n_v; i++)
        if (strcmp(figures->v[i]->key, name) == 0)
            return decimal_parse(figures->v[i]->value, out, NULL) == ERR_OK;
    return false;
}

static const Knockbox__PeriodClose *
close_of(const struct catalogue *catalogue, int32_t month)
{
    char text[MONTH_TEXT];
    return (const Knockbox__PeriodClose *)catalogue_at(
        catalogue, KNOCKBOX__RECORD__BODY_PERIOD_CLOSE, month_print(month, text), INT64_MAX);
}

/* The last restatement of a month; NULL: none. */
static const Knockbox__Restate *
restate_of(const struct catalogue *catalogue, int32_t month)
{
    const Knockbox__Restate *last = NULL, *next = NULL;
    int number = 1;
    do {
        char text[MONTH_TEXT], key[32];
        (void)snprintf(key, sizeof key, "%s|%d", month_print(month, text), number++);
        next = (const Knockbox__Restate *)catalogue_at(catalogue, KNOCKBOX__RECORD__BODY_RESTATE,
                                                       key, INT64_MAX);
        last = next != NULL ? next : last;
    } while (next != NULL);
    return last;
}

struct month_figures {
    const Knockbox__Figures *first, *now;
};

static struct month_figures
figures_of(const struct catalogue *catalogue, int32_t month)
{
    const Knockbox__PeriodClose *close = close_of(catalogue, month);
    const Knockbox__Restate *restate = restate_of(catalogue, month);
    struct month_figures f = {close != NULL ? close->figures : NULL,
                              close != NULL ? close->figures : NULL};
    if (restate != NULL)
        f.now = restate->figures;
    return f;
}

static enum err
add_month(struct base_year *base, const struct month_figures *figures, bool namesake,
          struct err_text *why)
{
    enum err e = ERR_OK;
    bool whole = true;
    for (size_t i = 0; e == ERR_OK && i < BASE_FIGURES; i++) {
        struct base_figure *f = &base->figures[i];
        struct decimal first, now;
        bool known = figure_of(figures->first, &base_keys[i], &first) &&
                     figure_of(figures->now, &base_keys[i], &now);
        f->known = f->known && known;
        whole = whole && known;
        if (!known)
            continue;
        e = decimal_add(&f->first, &first, &f->first, why);
        if (e == ERR_OK)
            e = decimal_add(&f->now, &now, &f->now, why);
        f->has_month = f->has_month || namesake;
        if (namesake)
            f->month = now;
    }
    base->missing += !whole;
    return e;
}

/* 100 x (now - first) / first, and whether that is beyond the threshold: exact, no rounding. */
static enum err
measure(struct base_figure *f, const struct decimal *threshold, struct err_text *why)
{
    struct decimal change, hundred = decimal_of(100, 0), most, pct;
    if (!f->known || f->first.mantissa == 0)
        return ERR_OK;
    enum err e = decimal_subtract(&f->now, &f->first, &change, why);
    if (e == ERR_OK)
        e = decimal_multiply(&change, &hundred, &change, why);
    if (e == ERR_OK)
        e = decimal_divide(&change, &f->first, 4, &pct, why);
    if (e == ERR_OK)
        e = decimal_multiply(threshold, &f->first, &most, why);
    if (e != ERR_OK)
        return e;
    f->change_pct = decimal_print_places(&pct, 4, f->room);
    change.mantissa = change.mantissa < 0 ? -change.mantissa : change.mantissa;
    most.mantissa = most.mantissa < 0 ? -most.mantissa : most.mantissa;
    f->over = decimal_compare(&change, &most) > 0;
    return ERR_OK;
}

enum err
base_year_read(const struct catalogue *catalogue, const Knockbox__BaseYear *set, int32_t month,
               struct base_year *out, struct err_text *why)
{
    struct decimal threshold;
    *out = (struct base_year){.set = set};
    if (!month_parse(set->first, &out->first) || !month_parse(set->last, &out->last))
        return err_input(why, "base_year", set->first, "months such as 2025-01");
    for (size_t i = 0; i < BASE_FIGURES; i++)
        out->figures[i].known = true;
    enum err e = decimal_parse(set->threshold_pct, &threshold, why);
    for (int32_t m = out->first; e == ERR_OK && m <= out->last; m++) {
        struct month_figures figures = figures_of(catalogue, m);
        e = add_month(out, &figures, m % 12 == month % 12, why);
    }
    for (size_t i = 0; e == ERR_OK && i < BASE_FIGURES; i++)
        e = measure(&out->figures[i], &threshold, why);
    return e;
}
