/* forecast.h - what many like series (cafés) bring on the days ahead, with an interval and a score.
 *
 * Given: values by series and day, which days are closed or special, the weekday of the first day.
 * Every forecast of the past is made from earlier days only, in one pass: the score is honest.
 *
 * Against it stands the naive forecast, the last same weekday that was open and known. The score is
 * the mean absolute error of one-day-ahead forecasts over the last 56 days; Hyndman and Koehler
 * (2006) judge by the quotient of the two. The smoothed forecast is used when its error is smaller,
 * the naive one otherwise.
 *
 * The interval holds four of five days: its half width is the ceil((n + 1) 0.8)-th smallest of the
 * last n absolute errors of what was used (split conformal; Lei and others, 2018), measured in square
 * roots of the size of the day. Few errors of its own: those of the other series.
 * No clock, no randomness, no allocation that outlives calc_forecast_free().
 */
#ifndef DAEMON_CALC_FORECAST_H
#define DAEMON_CALC_FORECAST_H

#include <stdbool.h>
#include <stddef.h>
#include "proto/err.h"

enum {
    CALC_FORECAST_WEEK = 7,
    CALC_FORECAST_WINDOW = 56, /* days that are scored */
    CALC_FORECAST_PAST_MOST = 800,
    CALC_FORECAST_AHEAD_MOST = 100,
    CALC_FORECAST_SERIES_MOST = 100000,
    CALC_FORECAST_FRESH = 28, /* days after which a weekday's last value is no guide any more */
};
#define CALC_FORECAST_UNKNOWN (-1.0)
#define CALC_FORECAST_COVERS 0.8

/* Marks of a day: ordinary, closed, or the number of a special day (holidays that are open, a
 * festival), the same number for the same occasion. */
enum {
    CALC_FORECAST_ORDINARY = 0,
    CALC_FORECAST_CLOSED = -1,
    CALC_FORECAST_SPECIAL_MOST = 63
};

struct calc_forecast_ask {
    size_t series, past, ahead;
    int first_weekday;       /* of the first past day, 0..6 */
    const double *values;    /* series x past, 0 or more; CALC_FORECAST_UNKNOWN: nobody knows */
    const signed char *mark; /* series x (past + ahead) */
};

enum calc_forecast_why {
    CALC_FORECAST_NOTHING,   /* no value yet, or none of late */
    CALC_FORECAST_BEATS,     /* smoothed: its error is smaller */
    CALC_FORECAST_ALONE,     /* smoothed: no same day last week to compare with */
    CALC_FORECAST_NOT_BEATS, /* naive: the smoothed one is no better */
    CALC_FORECAST_SHUT,      /* the calendar says closed */
};

struct calc_forecast_day {
    double value, low, high; /* what is used; 0 or more */
    double smoothed, naive;  /* CALC_FORECAST_UNKNOWN: none */
    enum calc_forecast_why why;
    double unit; /* the interval's half width is `wide` units times the score's `width` */
    double wide;
};

struct calc_forecast_score {
    int scored;                /* days of the last 56 on which both were made and a value came */
    double error, naive_error; /* mean absolute; 0 when none was scored */
    bool used;                 /* the smoothed one */
    int inside, intervals; /* days of the window inside their interval, of so many that had one */
    double width;          /* of the interval, in units; CALC_FORECAST_UNKNOWN: a guess */
};

/* One past day of the window: what came less what was forecast. */
struct calc_forecast_error {
    bool scored;
    double smoothed, naive, used, unit;
};

struct calc_forecast {
    size_t series, ahead;
    struct calc_forecast_day *days;     /* series x ahead */
    struct calc_forecast_score *scores; /* series */
    struct calc_forecast_error *errors; /* series x CALC_FORECAST_WINDOW, oldest first */
};

/* *out_forecast is yours. ERR_INPUT: a number out of its range; ERR_MEM. */
enum err calc_forecast(const struct calc_forecast_ask *ask, struct calc_forecast **out_forecast,
                       struct err_text *why);
void calc_forecast_free(struct calc_forecast *forecast); /* NULL is fine */

/* The sum of some series: days out_days[0..ahead) and their score. Its interval is from the errors
 * of the sum, day by day over the series that were scored on it. */
void calc_forecast_sum(const struct calc_forecast *forecast, const size_t *which, size_t n,
                       struct calc_forecast_day *out_days, struct calc_forecast_score *out_score);

/* Half width of an interval in units: the ceil((n + 1) 0.8)-th smallest of n sizes of errors.
 * CALC_FORECAST_UNKNOWN with fewer than `least`. `sizes` is sorted by the call. */
double calc_forecast_width(double *sizes, size_t n, size_t least);

#endif
