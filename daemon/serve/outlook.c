/* outlook.c - from the books to series of days, and from them to forecasts. */
#include "daemon/serve/outlook.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "proto/when.h"

enum {
    PAST = OUTLOOK_PAST,
    ROW = OUTLOOK_PAST + 1,
    REASONS_MOST = CALC_FORECAST_SPECIAL_MOST,
    QUIET = 14,  /* days after its last sale on which a site may yet tell of sales */
    OUTSIDE = -2 /* a mark while they are gathered: before it joined, after it left */
};

static enum err
no_memory(struct err_text *why)
{
    return err_set(ERR_MEM, why, "no memory for the forecast");
}

/* ---- sites and days */

/* Where a site is among the sorted codes; n: not there. */
static size_t
site_at(const struct outlook *o, const char *site)
{
    size_t low = 0, high = o->n;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        int order = strcmp(o->sites[middle], site);
        if (order == 0)
            return middle;
        if (order < 0)
            low = middle + 1;
        else
            high = middle;
    }
    return o->n;
}

/* The cell of a site and day, ROW x n: none. */
static size_t
cell_of(const struct outlook *o, const char *site, int32_t day)
{
    size_t at = site_at(o, site);
    bool inside = day >= o->first && day <= o->today;
    return at < o->n && inside ? at * ROW + (size_t)(day - o->first) : o->n * ROW;
}

/* ---- what happened */

static bool
see_closed(void *owner, const struct posting *line)
{
    struct outlook *o = owner;
    int32_t day;
    size_t cell = day_parse(line->key, &day) ? cell_of(o, line->site, day) : o->n * ROW;
    if (cell < o->n * ROW && line->amount > 0) {
        o->closed[cell] = 1;
        o->ever[cell / ROW] = true;
    }
    return true;
}

static bool
see_tub(void *owner, const char *code, const ProtobufCMessage *row)
{
    struct outlook *o = owner;
    const Knockbox__TubRow *tub = (const Knockbox__TubRow *)row;
    (void)code;
    if (tub->from_site == NULL || tub->first_net_g < 1)
        return true;
    int64_t at_ms = tub->has_born_ms ? tub->born_ms : tub->frozen_ms;
    int32_t day = catalogue_business_day(o->catalogue, tub->from_site, at_ms, tub->offset_min);
    size_t cell = cell_of(o, tub->from_site, day);
    if (cell < o->n * ROW)
        o->grounds.at[cell] += (double)tub->first_net_g;
    return true;
}

static struct outlook_values *
product_of(struct outlook *o, const char *code, size_t len)
{
    for (size_t i = 0; i < o->n_products; i++)
        if (strlen(o->products[i].code) == len && strncmp(o->products[i].code, code, len) == 0)
            return &o->products[i];
    if (o->n_products == OUTLOOK_PRODUCTS_MOST || len >= sizeof o->products[0].code)
        return NULL;
    struct outlook_values *one = &o->products[o->n_products];
    one->at = calloc(o->n * ROW + 1, sizeof *one->at);
    if (one->at == NULL) {
        o->failed = ERR_MEM;
        return NULL;
    }
    (void)snprintf(one->code, sizeof one->code, "%.*s", (int)len, code);
    o->n_products++;
    return one;
}

static bool
see_sold(void *owner, const struct posting *line)
{
    struct outlook *o = owner;
    const char *bar = strrchr(line->key, '|');
    int32_t day;
    if (bar == NULL || !day_parse(bar + 1, &day) || line->amount <= 0)
        return true;
    size_t cell = cell_of(o, line->site, day);
    if (cell == o->n * ROW)
        return true;
    struct outlook_values *values = product_of(o, line->key, (size_t)(bar - line->key));
    if (values != NULL) {
        values->at[cell] += (double)line->amount;
        o->sold[cell] = true;
    }
    return o->failed == ERR_OK;
}

static int
by_code(const void *a, const void *b)
{
    const struct outlook_values *x = a, *y = b;
    return strcmp(x->code, y->code);
}

static enum err
gather(struct outlook *o, struct ledger *ledger, struct err_text *why)
{
    int32_t first = month_of_day(o->first), last = month_of_day(o->today);
    enum err e = ledger_lines(ledger, MEASURE_DAY_CLOSED, first, last, see_closed, o, why);
    if (e == ERR_OK)
        e = ledger_lines(ledger, MEASURE_SOLD_ML, first, last, see_sold, o, why);
    if (e == ERR_OK)
        e = ledger_rows(ledger, SUBJECT_TUB, see_tub, o, why);
    qsort(o->products, o->n_products, sizeof o->products[0], by_code);
    return e == ERR_OK && o->failed != ERR_OK ? no_memory(why) : e;
}

/* ---- marks of days */

/* The number of an occasion; ordinary when there are too many. */
struct reasons {
    const char *text[REASONS_MOST];
    int n;
};

static signed char
number_of(struct reasons *reasons, const char *text)
{
    for (int i = 0; i < reasons->n; i++)
        if (strcmp(reasons->text[i], text) == 0)
            return (signed char)(i + 1);
    if (reasons->n == REASONS_MOST)
        return CALC_FORECAST_ORDINARY;
    reasons->text[reasons->n++] = text;
    return (signed char)reasons->n;
}

static signed char
mark_of(struct reasons *reasons, const Knockbox__Calendar *entry)
{
    bool said = entry->reason != NULL && entry->reason[0] != '\0';
    if (!entry->open)
        return CALC_FORECAST_CLOSED;
    return said ? number_of(reasons, entry->reason) : CALC_FORECAST_ORDINARY;
}

static void
put_mark(struct outlook *o, size_t site, int32_t day, signed char mark)
{
    if (day < o->first || day >= o->today + (int32_t)o->days)
        return;
    o->mark[site * (PAST + o->days) + (size_t)(day - o->first)] = mark;
}

/* Days of all sites first, then those of one, which stand above. */
static void
mark_days(struct outlook *o, struct reasons *reasons, bool all_sites)
{
    const char *const *keys = NULL;
    unsigned n = catalogue_keys(o->catalogue, KNOCKBOX__RECORD__BODY_CALENDAR, &keys);
    for (unsigned i = 0; i < n; i++) {
        const char *bar = strrchr(keys[i], '|');
        int32_t day;
        char site[65];
        if (bar == NULL || !day_parse(bar + 1, &day) || (bar == keys[i]) != all_sites)
            continue;
        const Knockbox__Calendar *entry = (const Knockbox__Calendar *)catalogue_get(
            o->catalogue, KNOCKBOX__RECORD__BODY_CALENDAR, keys[i], day);
        if (entry == NULL)
            continue;
        (void)snprintf(site, sizeof site, "%.*s", (int)(bar - keys[i]), keys[i]);
        signed char mark = mark_of(reasons, entry);
        size_t at = site_at(o, site);
        for (size_t s = 0; s < o->n && all_sites; s++)
            put_mark(o, s, day, mark);
        if (!all_sites && at < o->n)
            put_mark(o, at, day, mark);
    }
}

static void
mark_outside(struct outlook *o)
{
    for (size_t s = 0; s < o->n; s++)
        for (size_t d = 0; d < PAST + o->days; d++)
            if (!catalogue_inside(o->catalogue, o->sites[s], o->first + (int32_t)d))
                o->mark[s * (PAST + o->days) + d] = OUTSIDE;
}

/* ---- opening */

static enum err
make_room(struct outlook *o, struct err_text *why)
{
    size_t cells = o->n * ROW + 1;
    o->closed = calloc(cells, sizeof *o->closed);
    o->sold = calloc(cells, sizeof *o->sold);
    o->ever = calloc(o->n + 1, sizeof *o->ever);
    o->mark = calloc(o->n * (PAST + o->days) + 1, sizeof *o->mark);
    o->grounds.at = calloc(cells, sizeof *o->grounds.at);
    return o->closed != NULL && o->sold != NULL && o->ever != NULL && o->mark != NULL &&
                   o->grounds.at != NULL
               ? ERR_OK
               : no_memory(why);
}

enum err
outlook_open(struct ledger *ledger, int32_t today, size_t days, struct outlook **out_outlook,
             struct err_text *why)
{
    struct outlook *o = calloc(1, sizeof *o);
    struct reasons reasons = {.n = 0}; /* the same occasion, the same number at all sites */
    if (o == NULL)
        return no_memory(why);
    o->catalogue = ledger_catalogue(ledger);
    o->today = today;
    o->first = today - PAST;
    o->days = days;
    o->n = catalogue_keys(o->catalogue, KNOCKBOX__RECORD__BODY_SITE_, &o->sites);
    enum err e = make_room(o, why);
    if (e == ERR_OK)
        e = gather(o, ledger, why);
    if (e == ERR_OK) {
        mark_days(o, &reasons, true);
        mark_days(o, &reasons, false);
        mark_outside(o);
        *out_outlook = o;
        return ERR_OK;
    }
    outlook_close(o);
    return e;
}

void
outlook_close(struct outlook *o)
{
    if (o == NULL)
        return;
    for (size_t i = 0; i < o->n_products; i++)
        free(o->products[i].at);
    free(o->grounds.at);
    free(o->closed);
    free(o->sold);
    free(o->ever);
    free(o->mark);
    free(o);
}

const struct outlook_values *
outlook_product(const struct outlook *o, const char *product)
{
    for (size_t i = 0; i < o->n_products; i++)
        if (strcmp(o->products[i].code, product) == 0)
            return &o->products[i];
    return NULL;
}

double
outlook_today(const struct outlook *o, const struct outlook_values *values, size_t site,
              bool *out_closed)
{
    *out_closed = o->closed[site * ROW + PAST] != 0;
    return values->at[site * ROW + PAST];
}

/* ---- series */

/* The first day with any of it; PAST: none. */
static size_t
first_day(const struct outlook_values *values, size_t site)
{
    size_t d = 0;
    while (d < PAST && !(values->at[site * ROW + d] > 0))
        d++;
    return d;
}

/* Sales are often told late, all of a week at once: shortly after the last one, no sale says
 * nothing; and where another product was sold, sales were told. */
static bool
told(const struct outlook *o, size_t site, size_t day)
{
    size_t last = PAST;
    while (last > day && !o->sold[site * ROW + last])
        last--;
    return last > day || o->sold[site * ROW + day] || day + QUIET < PAST;
}

static double
value_at(const struct outlook *o, const struct outlook_values *values, size_t site, size_t day)
{
    size_t cell = site * ROW + day;
    bool grounds = values == &o->grounds;
    bool sale = !grounds && o->sold[cell];
    bool known = values->at[cell] > 0 || o->closed[cell] || sale || !o->ever[site];
    if (!grounds && !(values->at[cell] > 0) && !told(o, site, day))
        known = false;
    bool outside = o->mark[site * (PAST + o->days) + day] == OUTSIDE;
    return known && !outside ? values->at[cell] : CALC_FORECAST_UNKNOWN;
}

struct panel {
    struct calc_forecast_ask ask;
    double *values;
    signed char *mark;
};

static enum err
panel_init(struct panel *panel, size_t n, size_t past, size_t days, int weekday,
           struct err_text *why)
{
    panel->values = calloc(n * past + 1, sizeof *panel->values);
    panel->mark = calloc(n * (past + days) + 1, sizeof *panel->mark);
    panel->ask = (struct calc_forecast_ask){n, past, days, weekday, panel->values, panel->mark};
    return panel->values != NULL && panel->mark != NULL ? ERR_OK : no_memory(why);
}

static void
panel_fill(struct panel *panel, const struct outlook_series *series, size_t from)
{
    const struct outlook *o = series->outlook;
    size_t past = PAST - from, all = past + o->days;
    for (size_t i = 0; i < series->n; i++) {
        size_t site = series->site[i], begun = first_day(series->values, site);
        for (size_t d = from; d < PAST; d++)
            panel->values[i * past + d - from] =
                d < begun ? CALC_FORECAST_UNKNOWN : value_at(o, series->values, site, d);
        for (size_t d = from; d < PAST + o->days; d++) {
            signed char mark = o->mark[site * (PAST + o->days) + d];
            panel->mark[i * all + d - from] = mark == OUTSIDE ? CALC_FORECAST_CLOSED : mark;
        }
    }
}

enum err
outlook_forecast(const struct outlook *o, const struct outlook_values *values,
                 struct outlook_series *out, struct err_text *why)
{
    struct panel panel = {.values = NULL};
    size_t from = PAST;
    *out = (struct outlook_series){o, values, 0, calloc(o->n + 1, sizeof *out->site), NULL};
    if (out->site == NULL)
        return no_memory(why);
    for (size_t s = 0; s < o->n; s++) {
        size_t first = first_day(values, s);
        from = first < from ? first : from;
        if (first < PAST)
            out->site[out->n++] = s;
    }
    int weekday = day_weekday(o->first + (int32_t)from) - 1;
    enum err e = panel_init(&panel, out->n, PAST - from, o->days, weekday, why);
    if (e == ERR_OK) {
        panel_fill(&panel, out, from);
        e = calc_forecast(&panel.ask, &out->forecast, why);
    }
    free(panel.values);
    free(panel.mark);
    if (e != ERR_OK)
        outlook_series_done(out);
    return e;
}

void
outlook_series_done(struct outlook_series *series)
{
    free(series->site);
    calc_forecast_free(series->forecast);
    series->site = NULL;
    series->forecast = NULL;
    series->n = 0;
}
