/* part_base_year.c - the base year beside the month: figures, and sites that came or left since. */
#include <string.h>
#include "daemon/report/base_year.h"
#include "daemon/report/part.h"
#include "proto/when.h"

static const struct column head_columns[] = {
    {"first", "first month", "", false},
    {"last", "last month", "", false},
    {"threshold_pct", "computed anew beyond", "%", true},
    {"policy", "policy", "", false},
};

static const struct column figure_columns[] = {
    {"figure", "figure", "", false},       {"unit", "in", "", false},
    {"current", "this month", "", true},   {"same_month", "same month then", "", true},
    {"now", "base year", "", true},        {"first", "as first closed", "", true},
    {"change_pct", "moved by", "%", true}, {"over", "too far", "", false},
};

static const struct column site_columns[] = {
    {"site", "site", "", false},
    {"change", "since then", "", false},
    {"share_pct", "share of grounds", "%", true},
};

static void
set_number(struct build *b, const char *column, const struct base_key *key, bool known,
           const struct decimal *value)
{
    char room[NUMBER_TEXT];
    table_set(b->model, column, known ? base_number(key, value, room) : NULL);
}

static void
fill_figures(struct build *b, const struct base_year *base)
{
    TABLE_SECTION(b->model, "base_year.figures", "Figures of the base year", SHAPE_ROWS,
                  figure_columns);
    for (size_t i = 0; i < BASE_FIGURES; i++) {
        char name[64];
        const struct base_key *key = &base_keys[i];
        const struct base_figure *f = &base->figures[i];
        table_row(b->model);
        table_set(b->model, "figure", base_key_print(key, name));
        table_set(b->model, "unit", key->unit);
        table_set(b->model, "current", table_get(b->model, key->path, key->key));
        set_number(b, "same_month", key, f->has_month, &f->month);
        set_number(b, "now", key, f->known, &f->now);
        set_number(b, "first", key, f->known, &f->first);
        table_set(b->model, "change_pct", f->change_pct);
        table_set_bool(b->model, "over", f->over);
        if (f->over)
            build_caution(b, table_text(b->model,
                                        "base year: %s has moved by %s %% since it was first "
                                        "closed, more than %s %%: it is to be computed anew",
                                        name, f->change_pct, base->set->threshold_pct));
    }
    if (base->missing > 0)
        build_caution(b, table_text(b->model,
                                    "base year: %d of its months are not closed, or were closed "
                                    "without figures",
                                    base->missing));
}

/* ---- sites that came or left */

static bool
was_inside(const struct build *b, const char *site, int32_t first_day, int32_t last_day)
{
    for (int32_t day = first_day; day <= last_day; day++)
        if (catalogue_inside(b->in->catalogue, site, day))
            return true;
    return false;
}

static int64_t
grounds_g(const struct build *b, const char *site, int32_t first, int32_t last)
{
    return books_sum(b->in->books, MEASURE_FILLED, first, last, site) +
           books_sum(b->in->books, MEASURE_UNCAPTURED, first, last, site);
}

struct shift {
    int32_t first, last; /* months whose grounds are shared */
    const char *word;
    int64_t moved_g;
};

static void
fill_site(struct build *b, const char *site, struct shift *shift)
{
    int64_t own_g = grounds_g(b, site, shift->first, shift->last);
    shift->moved_g += own_g;
    table_row(b->model);
    table_set(b->model, "site", site);
    table_set(b->model, "change", shift->word);
    build_pct(b, "share_pct", own_g, grounds_g(b, NULL, shift->first, shift->last));
}

/* Bought or sold they are a structural change, opened or shut they are not: a person knows. */
static enum err
caution_shift(struct build *b, const struct base_year *base, const struct shift *shift)
{
    char room[NUMBER_TEXT];
    struct decimal threshold, left, right;
    int64_t all_g = grounds_g(b, NULL, shift->first, shift->last);
    struct decimal whole = decimal_of(all_g, 0);
    struct decimal moved = decimal_of(shift->moved_g, 0), hundred = decimal_of(100, 0);
    enum err e = decimal_parse(base->set->threshold_pct, &threshold, b->why);
    if (e == ERR_OK)
        e = decimal_multiply(&threshold, &whole, &right, b->why);
    if (e == ERR_OK)
        e = decimal_multiply(&moved, &hundred, &left, b->why);
    if (e == ERR_OK && decimal_compare(&left, &right) > 0)
        build_caution(b, table_text(b->model,
                                    "base year: sites that %s since make %s %% of the grounds, "
                                    "more than %s %%: if they were bought or sold it is to be "
                                    "computed anew, if they were opened or shut it is not",
                                    shift->word, number_pct(shift->moved_g, all_g, room),
                                    base->set->threshold_pct));
    return e;
}

static enum err
fill_sites(struct build *b, const struct base_year *base)
{
    const char *const *sites = NULL;
    unsigned n = catalogue_keys(b->in->catalogue, KNOCKBOX__RECORD__BODY_SITE_, &sites);
    int32_t from = month_first_day(base->first), to = month_last_day(base->last);
    struct shift left = {base->first, base->last, "left", 0};
    struct shift joined = {b->in->month, b->in->month, "joined", 0};
    TABLE_SECTION(b->model, "base_year.sites", "Sites that came or left since the base year",
                  SHAPE_ROWS, site_columns);
    for (unsigned i = 0; i < n; i++) {
        bool then = was_inside(b, sites[i], from, to);
        bool now = was_inside(b, sites[i], b->first_day, b->last_day);
        if (then != now)
            fill_site(b, sites[i], then ? &left : &joined);
    }
    enum err e = caution_shift(b, base, &left);
    return e == ERR_OK ? caution_shift(b, base, &joined) : e;
}

enum err
part_base_year(struct build *b)
{
    struct base_year base;
    const Knockbox__BaseYear *set = b->basis != NULL ? b->basis->base_year : NULL;
    if (set == NULL || b->in->site != NULL || b->in->span != NULL)
        return ERR_OK;
    enum err e = base_year_read(b->in->catalogue, set, b->in->month, &base, b->why);
    if (e != ERR_OK || base.last >= b->in->month) /* not over yet: nothing to compare with */
        return e;
    TABLE_SECTION(b->model, "base_year", "Base year", SHAPE_FIELDS, head_columns);
    table_set(b->model, "first", set->first);
    table_set(b->model, "last", set->last);
    table_set(b->model, "threshold_pct", set->threshold_pct);
    table_set(b->model, "policy", set->policy);
    fill_figures(b, &base);
    return fill_sites(b, &base);
}
