/* forecast.c - all series go through the days together: on each day every series is forecast, then
 * scored, then told what came; last of all, what the weekdays of all of them have in common. */
#include "daemon/calc/forecast.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/calc/smooth.h"

enum {
    WEEK = CALC_FORECAST_WEEK,
    WINDOW = CALC_FORECAST_WINDOW,
    GAINS = 6,
    WIDTH_LEAST = 8 /* errors of its own before an interval leans on no others */
};

/* From slow to quick, without and with a trend. On each day the one whose errors so far were
 * smallest speaks. Judgement, no source. */
static const struct calc_smooth_gain gains[GAINS] = {
    {0.03, 0, 0.05, 0.97},    {0.10, 0, 0.05, 0.97},    {0.25, 0, 0.10, 0.97},
    {0.05, 0.05, 0.05, 0.97}, {0.12, 0.05, 0.05, 0.97}, {0.30, 0.05, 0.10, 0.97},
};
static const double ERROR_KEPT = 0.97;   /* of old errors of a gain, a day */
static const double PROFILE_KEPT = 0.99; /* of what is common, a day */
static const double RATIO_MOST = 5;      /* of a day to the level, in what is common */
static const double UNIT_LEAST = 0.05;   /* of the level */

struct last {
    double value;
    int day; /* -1: none */
};

struct series {
    struct calc_smooth smooth[GAINS];
    double late[GAINS]; /* errors so far, old ones fading */
    int best;
    struct last last[WEEK];
    int known; /* last day with a value, -1 */
    struct calc_forecast_error ring[WINDOW];
    bool inside[WINDOW], had[WINDOW]; /* interval of that day */
};

struct pool {
    double ratio[WEEK], weight[WEEK]; /* sums over series and days */
    double profile[WEEK];
    double came[CALC_FORECAST_SPECIAL_MOST + 1], usual[CALC_FORECAST_SPECIAL_MOST + 1];
    double times[CALC_FORECAST_SPECIAL_MOST + 1];
};

struct work {
    const struct calc_forecast_ask *ask;
    struct series *series;
    struct pool pool, today; /* today's come in at the end of the day: their order never shows */
};

static int
weekday(const struct work *w, size_t day)
{
    return (int)(((size_t)w->ask->first_weekday + day) % WEEK);
}

static int
mark_of(const struct work *w, size_t i, size_t day)
{
    return w->ask->mark[i * (w->ask->past + w->ask->ahead) + day];
}

/* ---- intervals */

static int
by_size(const void *a, const void *b)
{
    const double *x = a, *y = b;
    return (*x > *y) - (*x < *y);
}

double
calc_forecast_width(double *sizes, size_t n, size_t least)
{
    if (n < least || n == 0)
        return CALC_FORECAST_UNKNOWN;
    size_t rank = (size_t)ceil((double)(n + 1) * CALC_FORECAST_COVERS - 1e-9);
    qsort(sizes, n, sizeof *sizes, by_size);
    return sizes[(rank < n ? rank : n) - 1];
}

/* Of the errors of a window, in units. */
static size_t
sizes_of(const struct calc_forecast_error *errors, double sizes[WINDOW])
{
    size_t n = 0;
    for (int i = 0; i < WINDOW; i++)
        if (errors[i].scored)
            sizes[n++] = fabs(errors[i].used) / errors[i].unit;
    return n;
}

static double
unit_of(double forecast, double level)
{
    double size = fmax(forecast, level * UNIT_LEAST);
    return size > 0 ? sqrt(size) : 1;
}

/* ---- a day of one series */

static double
naive_of(const struct series *s, int weekday, size_t day)
{
    const struct last *last = &s->last[weekday];
    bool fresh = last->day >= 0 && (size_t)last->day + CALC_FORECAST_FRESH >= day;
    return fresh ? last->value : CALC_FORECAST_UNKNOWN;
}

static void
add_up(const struct calc_forecast_error *errors, int *out_n, double *out_smoothed,
       double *out_naive)
{
    *out_n = 0;
    *out_smoothed = *out_naive = 0;
    for (int i = 0; i < WINDOW; i++) {
        if (!errors[i].scored)
            continue;
        (*out_n)++;
        *out_smoothed += fabs(errors[i].smoothed);
        *out_naive += fabs(errors[i].naive);
    }
}

static bool
beats(const struct series *s)
{
    int n;
    double smoothed, naive;
    add_up(s->ring, &n, &smoothed, &naive);
    return n == 0 || smoothed < naive;
}

static void
score(struct series *s, size_t day, size_t left, double value, double smoothed, double naive)
{
    size_t at = day % WINDOW;
    double sizes[WINDOW], width = CALC_FORECAST_UNKNOWN;
    s->ring[at] = (struct calc_forecast_error){.scored = false};
    s->had[at] = false;
    if (naive < 0 || value < 0)
        return;
    /* what was used, and whether it lay inside, is asked of the last windows only */
    double used = left > (size_t)2 * WINDOW || beats(s) ? smoothed : naive;
    double unit = unit_of(smoothed, s->smooth[s->best].level);
    if (left <= WINDOW)
        width = calc_forecast_width(sizes, sizes_of(s->ring, sizes), WIDTH_LEAST);
    s->had[at] = width >= 0;
    s->inside[at] = s->had[at] && fabs(value - used) <= width * unit;
    s->ring[at] =
        (struct calc_forecast_error){true, value - smoothed, value - naive, value - used, unit};
}

static void
choose(struct series *s)
{
    s->best = 0;
    for (int g = 1; g < GAINS; g++)
        if (s->late[g] < s->late[s->best])
            s->best = g;
}

static void
take(struct work *w, struct series *s, int wd, double value)
{
    for (int g = 0; g < GAINS; g++) {
        double ahead = calc_smooth_ahead(&s->smooth[g], &gains[g], wd, 1, w->pool.profile);
        if (s->smooth[g].seen >= 1)
            s->late[g] = s->late[g] * ERROR_KEPT + fabs(value - ahead);
        calc_smooth_take(&s->smooth[g], &gains[g], wd, value, w->pool.profile);
    }
    choose(s);
}

static void
pass(struct series *s)
{
    for (int g = 0; g < GAINS; g++)
        calc_smooth_pass(&s->smooth[g], &gains[g]);
}

static double
special(const struct pool *pool, int mark)
{
    if (mark <= 0 || !(pool->usual[mark] > 0))
        return 1;
    double one = pool->usual[mark] / pool->times[mark]; /* a usual day, as if it had come once */
    return (pool->came[mark] + one) / (pool->usual[mark] + one);
}

static double
smoothed_of(const struct work *w, const struct series *s, int wd, int steps)
{
    return calc_smooth_ahead(&s->smooth[s->best], &gains[s->best], wd, steps, w->pool.profile);
}

/* What the day adds to what all series have in common. */
static void
lend(struct work *w, const struct series *s, int wd, int mark, double value, double smoothed)
{
    double level = s->smooth[s->best].level;
    if (s->smooth[s->best].seen < 1 || !(level > 0))
        return;
    if (mark == CALC_FORECAST_ORDINARY) {
        w->today.ratio[wd] += fmin(value / level, RATIO_MOST);
        w->today.weight[wd] += 1;
    } else if (mark > 0) {
        w->today.came[mark] += value;
        w->today.usual[mark] += smoothed;
        w->today.times[mark] += 1;
    }
}

static void
live(struct work *w, size_t i, size_t day)
{
    struct series *s = &w->series[i];
    int wd = weekday(w, day);
    int mark = mark_of(w, i, day);
    double value = mark == CALC_FORECAST_CLOSED ? CALC_FORECAST_UNKNOWN
                                                : w->ask->values[i * w->ask->past + day];
    bool begun = s->smooth[0].seen >= 1;
    double smoothed = smoothed_of(w, s, wd, 1);
    bool plain = mark == CALC_FORECAST_ORDINARY && value >= 0;
    score(s, day, w->ask->past - day, plain && begun ? value : CALC_FORECAST_UNKNOWN, smoothed,
          naive_of(s, wd, day));
    if (value >= 0)
        lend(w, s, wd, mark, value, smoothed);
    if (!plain) {
        pass(s);
        return;
    }
    take(w, s, wd, value);
    s->last[wd] = (struct last){value, (int)day};
    s->known = (int)day;
}

/* ---- what is common */

static void
set_profile(struct pool *pool)
{
    double sum = 0;
    for (int d = 0; d < WEEK; d++) { /* one plain day in each, so that nothing is known at first */
        pool->profile[d] = (pool->ratio[d] + 1) / (pool->weight[d] + 1);
        sum += pool->profile[d];
    }
    for (int d = 0; d < WEEK; d++)
        pool->profile[d] *= WEEK / sum;
}

static void
gather(struct work *w)
{
    struct pool *all = &w->pool, *today = &w->today;
    for (int d = 0; d < WEEK; d++) {
        all->ratio[d] = all->ratio[d] * PROFILE_KEPT + today->ratio[d];
        all->weight[d] = all->weight[d] * PROFILE_KEPT + today->weight[d];
    }
    for (int k = 0; k <= CALC_FORECAST_SPECIAL_MOST; k++) {
        all->came[k] += today->came[k];
        all->usual[k] += today->usual[k];
        all->times[k] += today->times[k];
    }
    *today = (struct pool){.times = {0}};
    set_profile(all);
}

/* ---- the days ahead */

static void
put_score(const struct series *s, const struct calc_forecast_error *errors,
          struct calc_forecast_score *out)
{
    double sizes[WINDOW];
    add_up(errors, &out->scored, &out->error, &out->naive_error);
    if (out->scored > 0) {
        out->error /= out->scored;
        out->naive_error /= out->scored;
    }
    out->used = out->scored == 0 || out->error < out->naive_error;
    for (int i = 0; i < WINDOW && s != NULL; i++) {
        out->intervals += s->had[i];
        out->inside += s->had[i] && s->inside[i];
    }
    out->width = calc_forecast_width(sizes, sizes_of(errors, sizes), WIDTH_LEAST);
}

/* The error of `steps` days ahead in that of one: the level wanders by its gain each day (the
 * leading term of the variance of damped trend smoothing, and that of the seasonal naive method:
 * Hyndman and Athanasopoulos, sections "prediction intervals" and "distributional forecasts"). */
static double
wider(const struct series *s, bool used, int steps)
{
    double gain = gains[s->best].level;
    int whole_weeks = (steps - 1) / WEEK;
    return used ? sqrt(1 + (double)(steps - 1) * gain * gain) : sqrt(1 + whole_weeks);
}

static bool
speaks(const struct work *w, const struct series *s)
{
    return s->smooth[0].seen >= 1 && (size_t)s->known + WINDOW >= w->ask->past;
}

static void
look_ahead(const struct work *w, size_t i, size_t h, const struct calc_forecast_score *score,
           struct calc_forecast_day *out)
{
    const struct series *s = &w->series[i];
    size_t day = w->ask->past + h;
    int wd = weekday(w, day), mark = mark_of(w, i, day);
    *out = (struct calc_forecast_day){.smoothed = CALC_FORECAST_UNKNOWN,
                                      .naive = CALC_FORECAST_UNKNOWN,
                                      .why = CALC_FORECAST_NOTHING,
                                      .wide = 1};
    if (mark == CALC_FORECAST_CLOSED)
        out->why = CALC_FORECAST_SHUT;
    if (mark == CALC_FORECAST_CLOSED || !speaks(w, s))
        return;
    double factor = special(&w->pool, mark);
    out->smoothed = smoothed_of(w, s, wd, (int)h + 1) * factor;
    out->naive = naive_of(s, wd, w->ask->past); /* as fresh as it is today */
    bool used = score->used || out->naive < 0;
    out->value = used ? out->smoothed : out->naive * factor;
    out->why =
        !used ? CALC_FORECAST_NOT_BEATS
              : (score->scored > 0 && out->naive >= 0 ? CALC_FORECAST_BEATS : CALC_FORECAST_ALONE);
    out->unit = unit_of(out->smoothed, s->smooth[s->best].level);
    out->wide = wider(s, used, (int)(day - (size_t)s->known));
}

static void
put_interval(struct calc_forecast_day *day, double width)
{
    double half = width >= 0 ? width * day->unit * day->wide : day->value;
    if (day->why == CALC_FORECAST_NOTHING || day->why == CALC_FORECAST_SHUT)
        half = 0;
    day->low = fmax(day->value - half, 0);
    day->high = day->value + half;
}

/* The width of all series' errors together: for those that have too few. UNKNOWN: none has any. */
static enum err
common_width(const struct calc_forecast *f, double *out_width, struct err_text *why)
{
    double *sizes = malloc((f->series * WINDOW + 1) * sizeof *sizes);
    size_t n = 0;
    if (sizes == NULL)
        return err_set(ERR_MEM, why, "no memory for the forecast");
    for (size_t i = 0; i < f->series; i++)
        n += sizes_of(&f->errors[i * WINDOW], &sizes[n]);
    *out_width = calc_forecast_width(sizes, n, WIDTH_LEAST);
    free(sizes);
    return ERR_OK;
}

static void
unroll(const struct work *w, size_t i, struct calc_forecast_error *out)
{
    for (size_t k = 0; k < WINDOW; k++) /* ring slot of day past - WINDOW + k */
        out[k] = w->series[i].ring[(w->ask->past + k) % WINDOW];
}

static enum err
finish(const struct work *w, struct calc_forecast *f, struct err_text *why)
{
    double common = CALC_FORECAST_UNKNOWN;
    for (size_t i = 0; i < f->series; i++) {
        unroll(w, i, &f->errors[i * WINDOW]);
        put_score(&w->series[i], &f->errors[i * WINDOW], &f->scores[i]);
    }
    enum err e = common_width(f, &common, why);
    for (size_t i = 0; i < f->series && e == ERR_OK; i++) {
        if (f->scores[i].width < 0)
            f->scores[i].width = common;
        for (size_t h = 0; h < f->ahead; h++) {
            struct calc_forecast_day *day = &f->days[i * f->ahead + h];
            look_ahead(w, i, h, &f->scores[i], day);
            put_interval(day, f->scores[i].width);
        }
    }
    return e;
}

/* ---- the pass */

static void
start(struct series *s)
{
    s->known = -1;
    for (int g = 0; g < GAINS; g++)
        calc_smooth_start(&s->smooth[g], WEEK);
    for (int d = 0; d < WEEK; d++)
        s->last[d].day = -1;
}

static void
run(struct work *w)
{
    set_profile(&w->pool);
    for (size_t i = 0; i < w->ask->series; i++)
        start(&w->series[i]);
    for (size_t day = 0; day < w->ask->past; day++) {
        for (size_t i = 0; i < w->ask->series; i++)
            live(w, i, day);
        gather(w);
    }
}

static enum err
check(const struct calc_forecast_ask *ask, struct err_text *why)
{
    if (ask->series > CALC_FORECAST_SERIES_MOST || ask->past > CALC_FORECAST_PAST_MOST ||
        ask->ahead > CALC_FORECAST_AHEAD_MOST || ask->first_weekday < 0 ||
        ask->first_weekday >= WEEK)
        return err_set(ERR_INPUT, why, "forecast: too many series or days, or no such weekday");
    for (size_t k = 0; k < ask->series * ask->past; k++)
        if (!isfinite(ask->values[k]) || ask->values[k] > 1e15)
            return err_set(ERR_INPUT, why, "forecast: a value is not a number below 10^15");
    for (size_t k = 0; k < ask->series * (ask->past + ask->ahead); k++)
        if (ask->mark[k] < CALC_FORECAST_CLOSED || ask->mark[k] > CALC_FORECAST_SPECIAL_MOST)
            return err_set(ERR_INPUT, why, "forecast: no such mark of a day");
    return ERR_OK;
}

static struct calc_forecast *
make_room(size_t series, size_t ahead)
{
    struct calc_forecast *f = calloc(1, sizeof *f);
    if (f == NULL)
        return NULL;
    f->series = series;
    f->ahead = ahead;
    f->days = calloc(series * ahead + 1, sizeof *f->days);
    f->scores = calloc(series + 1, sizeof *f->scores);
    f->errors = calloc(series * WINDOW + 1, sizeof *f->errors);
    if (f->days != NULL && f->scores != NULL && f->errors != NULL)
        return f;
    calc_forecast_free(f);
    return NULL;
}

enum err
calc_forecast(const struct calc_forecast_ask *ask, struct calc_forecast **out_forecast,
              struct err_text *why)
{
    struct work w = {.ask = ask};
    enum err e = check(ask, why);
    if (e != ERR_OK)
        return e;
    struct calc_forecast *f = make_room(ask->series, ask->ahead);
    w.series = calloc(ask->series + 1, sizeof *w.series);
    if (f == NULL || w.series == NULL)
        e = err_set(ERR_MEM, why, "no memory for the forecast");
    if (e == ERR_OK) {
        run(&w);
        e = finish(&w, f, why);
    }
    free(w.series);
    if (e == ERR_OK)
        *out_forecast = f;
    else
        calc_forecast_free(f);
    return e;
}

void
calc_forecast_free(struct calc_forecast *forecast)
{
    if (forecast == NULL)
        return;
    free(forecast->days);
    free(forecast->scores);
    free(forecast->errors);
    free(forecast);
}

/* ---- sums */

static void
add_errors(const struct calc_forecast_error *one, struct calc_forecast_error *sum)
{
    for (int k = 0; k < WINDOW; k++) {
        if (!one[k].scored)
            continue;
        sum[k].scored = true;
        sum[k].smoothed += one[k].smoothed;
        sum[k].naive += one[k].naive;
        sum[k].used += one[k].used;
        sum[k].unit += one[k].unit * one[k].unit; /* units add as variances do */
    }
}

static void
add_day(const struct calc_forecast_day *one, struct calc_forecast_day *sum)
{
    double usual = one->unit * one->wide;
    sum->value += one->value;
    sum->smoothed += fmax(one->smoothed, 0);
    sum->naive += fmax(one->naive, 0);
    sum->unit += usual * usual;
}

void
calc_forecast_sum(const struct calc_forecast *f, const size_t *which, size_t n,
                  struct calc_forecast_day *out_days, struct calc_forecast_score *out_score)
{
    struct calc_forecast_error errors[WINDOW] = {{.scored = false}};
    memset(out_days, 0, f->ahead * sizeof *out_days);
    *out_score = (struct calc_forecast_score){.scored = 0};
    for (size_t k = 0; k < n; k++) {
        add_errors(&f->errors[which[k] * WINDOW], errors);
        for (size_t h = 0; h < f->ahead; h++)
            add_day(&f->days[which[k] * f->ahead + h], &out_days[h]);
    }
    for (int k = 0; k < WINDOW; k++)
        errors[k].unit = sqrt(errors[k].unit);
    put_score(NULL, errors, out_score);
    for (size_t h = 0; h < f->ahead; h++) {
        out_days[h].unit = sqrt(out_days[h].unit);
        out_days[h].wide = 1;
        out_days[h].why = out_days[h].value > 0 ? CALC_FORECAST_BEATS : CALC_FORECAST_NOTHING;
        put_interval(&out_days[h], out_score->width);
    }
}
