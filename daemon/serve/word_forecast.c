/* word_forecast.c - `forecast`: grounds and sales of the days ahead, beside the same day last week. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/serve/outlook.h"
#include "daemon/serve/show.h"
#include "daemon/serve/words.h"

enum {
    DAYS_USUAL = 14
};

struct forecasting {
    struct call *call;
    struct outlook *outlook;
    const char *site, *product; /* NULL: all */
    long days;
    json_t *answer;
};

/* ---- what is asked */

static enum err
in_catalogue(const struct forecasting *f, uint32_t kind, const char *name, struct err_text *why)
{
    const char *code = call_arg(f->call, name);
    const struct catalogue *catalogue = ledger_catalogue(f->call->serve->options.ledger);
    const char *const *keys = NULL;
    unsigned n = catalogue_keys(catalogue, kind, &keys);
    for (unsigned i = 0; i < n; i++)
        if (code == NULL || strcmp(keys[i], code) == 0)
            return ERR_OK;
    return code == NULL ? ERR_OK : err_input(why, name, code, "a code of the catalogue");
}

static enum err
read_ask(struct forecasting *f, struct err_text *why)
{
    const char *days = call_arg(f->call, "days");
    char *end = NULL;
    f->site = call_arg(f->call, "site");
    f->product = call_arg(f->call, "product");
    f->days = days != NULL ? strtol(days, &end, 10) : DAYS_USUAL;
    if (days != NULL && (end == days || *end != '\0' || f->days < 1 || f->days > OUTLOOK_DAYS_MOST))
        return err_input(why, "days", days, "1 to 60 days");
    enum err e = in_catalogue(f, KNOCKBOX__RECORD__BODY_SITE_, "site", why);
    return e == ERR_OK ? in_catalogue(f, KNOCKBOX__RECORD__BODY_PRODUCT, "product", why) : e;
}

/* ---- one series */

static json_t *
whole(double value)
{
    return value < 0 ? json_null() : json_integer((json_int_t)(value + 0.5));
}

/* "value" and the unit: "value_g". */
static void
put(json_t *to, const char *name, const char *unit, json_t *taken)
{
    char key[40];
    (void)snprintf(key, sizeof key, "%s_%s", name, unit);
    (void)json_object_set_new(to, key, taken);
}

static const struct {
    const char *used, *words;
} whys[] = {
    [CALC_FORECAST_NOTHING] = {"nothing", "nothing came of late"},
    [CALC_FORECAST_BEATS] = {"smoothed",
                             "its error is smaller than that of the same day last week"},
    [CALC_FORECAST_ALONE] = {"smoothed", "there is no same day last week yet to compare with"},
    [CALC_FORECAST_NOT_BEATS] = {"naive", "the weekdays and the trend were no better a guide"},
    [CALC_FORECAST_SHUT] = {"closed", "the calendar says closed"},
};

static json_t *
day_json(int32_t day, const struct calc_forecast_day *one, const char *unit)
{
    json_t *out = json_pack("{s:o}", "day", show_day(day));
    put(out, "value", unit, whole(one->value));
    put(out, "low", unit, whole(one->low));
    put(out, "high", unit, whole(one->high));
    put(out, "smoothed", unit, whole(one->smoothed));
    put(out, "naive", unit, whole(one->naive));
    (void)json_object_set_new(out, "used", json_string(whys[one->why].used));
    return out;
}

/* Of the whole series: what its first open day says. */
static enum calc_forecast_why
why_of(const struct calc_forecast_day *days, size_t n)
{
    for (size_t h = 0; h < n; h++)
        if (days[h].why != CALC_FORECAST_SHUT)
            return days[h].why;
    return CALC_FORECAST_SHUT;
}

static json_t *
series_json(const struct forecasting *f, const char *unit, const struct calc_forecast_day *days,
            const struct calc_forecast_score *score)
{
    size_t n = (size_t)f->days;
    enum calc_forecast_why why = why_of(days, n);
    json_t *list = json_array();
    double value = 0, naive = 0;
    for (size_t h = 0; h < n; h++) {
        (void)json_array_append_new(list, day_json(f->outlook->today + (int32_t)h, &days[h], unit));
        value += days[h].value;
        naive += days[h].naive > 0 ? days[h].naive : 0;
    }
    json_t *out =
        json_pack("{s:s, s:s, s:i, s:i, s:i}", "used", whys[why].used, "why", whys[why].words,
                  "scored", score->scored, "inside", score->inside, "intervals", score->intervals);
    put(out, "total", unit, whole(value));
    put(out, "naive_total", unit, whole(naive));
    put(out, "error", unit, score->scored > 0 ? whole(score->error) : json_null());
    put(out, "naive_error", unit, score->scored > 0 ? whole(score->naive_error) : json_null());
    (void)json_object_set_new(out, "days", list);
    return out;
}

static void
name(json_t *series, const char *site, const char *product)
{
    (void)json_object_set_new(series, "site", show_text(site));
    (void)json_object_set_new(series, "product", show_text(product));
}

/* ---- all of one quantity: the sum first, then site by site */

static void
call_it_sum(json_t *series)
{
    json_t *days = json_object_get(series, "days");
    (void)json_object_set_new(series, "used", json_string("sum"));
    (void)json_object_set_new(series, "why", json_string("the sum of what is used at each café"));
    for (size_t i = 0; i < json_array_size(days); i++)
        (void)json_object_set_new(json_array_get(days, i), "used", json_string("sum"));
}

static enum err
add_sum(const struct forecasting *f, const struct outlook_series *series, const char *unit,
        json_t *list, struct err_text *why)
{
    struct calc_forecast_day days[OUTLOOK_DAYS_MOST];
    struct calc_forecast_score score;
    size_t *all = calloc(series->n + 1, sizeof *all);
    if (all == NULL)
        return err_set(ERR_MEM, why, "no memory for the forecast");
    for (size_t i = 0; i < series->n; i++)
        all[i] = i;
    calc_forecast_sum(series->forecast, all, series->n, days, &score);
    free(all);
    json_t *one = series_json(f, unit, days, &score);
    call_it_sum(one);
    name(one, NULL, series->values->code);
    (void)json_array_append_new(list, one);
    return ERR_OK;
}

static enum err
add_values(const struct forecasting *f, const struct outlook_values *values, const char *unit,
           bool sites, json_t *list, struct err_text *why)
{
    struct outlook_series series = {.site = NULL};
    enum err e = outlook_forecast(f->outlook, values, &series, why);
    if (e == ERR_OK && f->site == NULL && series.n > 0)
        e = add_sum(f, &series, unit, list, why);
    for (size_t i = 0; i < series.n && e == ERR_OK && sites; i++) {
        const char *site = f->outlook->sites[series.site[i]];
        if (f->site != NULL && strcmp(f->site, site) != 0)
            continue;
        json_t *one = series_json(f, unit, &series.forecast->days[i * series.forecast->ahead],
                                  &series.forecast->scores[i]);
        name(one, site, values->code);
        (void)json_array_append_new(list, one);
    }
    outlook_series_done(&series);
    return e;
}

static enum err
answer(struct forecasting *f, struct err_text *why)
{
    json_t *grounds = json_array(), *sales = json_array();
    enum err e = ERR_OK;
    f->answer = json_pack("{s:o, s:I, s:o, s:o, s:o, s:o}", "day", show_day(f->outlook->today),
                          "ahead", (json_int_t)f->days, "site", show_text(f->site), "product",
                          show_text(f->product), "grounds", grounds, "sales", sales);
    if (f->answer == NULL)
        return err_set(ERR_MEM, why, "no memory for the forecast");
    if (f->product == NULL)
        e = add_values(f, &f->outlook->grounds, "g", true, grounds, why);
    for (size_t i = 0; i < f->outlook->n_products && e == ERR_OK; i++) {
        const struct outlook_values *values = &f->outlook->products[i];
        bool wanted = f->product == NULL || strcmp(f->product, values->code) == 0;
        if (wanted) /* every site of every product only when one of them is named */
            e = add_values(f, values, "ml", f->site != NULL || f->product != NULL, sales, why);
    }
    return e;
}

enum err
word_forecast(struct call *call, struct err_text *why)
{
    struct forecasting f = {.call = call};
    struct ledger *ledger = NULL;
    enum err e = call_ledger(call, &ledger, why);
    if (e == ERR_OK)
        e = read_ask(&f, why);
    if (e == ERR_OK)
        e = outlook_open(ledger, show_today(call, call->serve->options.site), (size_t)f.days,
                         &f.outlook, why);
    if (e == ERR_OK)
        e = answer(&f, why);
    outlook_close(f.outlook);
    if (e == ERR_OK)
        return call_json(call, f.answer, why);
    json_decref(f.answer);
    return e;
}
