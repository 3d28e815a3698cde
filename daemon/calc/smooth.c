/* smooth.c - damped Holt-Winters, one day at a time, with far errors cut. */
#include "daemon/calc/smooth.h"

#include <math.h>
#include <stddef.h>

static const double FAR = 2;            /* spreads: Gelper, Fried and Croux */
static const double FAR_MEAN = 2.52;    /* so that the mean of their bounded square is 1 */
static const double SPREAD_GAIN = 0.1;  /* judgement, as the rest */
static const double SPREAD_FIRST = 0.5; /* of the level, until CALC_SMOOTH_START values came */
static const double SPREAD_LEAST = 0.1; /* of the greatest level, later */
static const double SIZE_KEPT = 0.99;   /* a day */
static const double SHARE_LEAST = 0.1;  /* a weaker weekday says nothing of the level */
static const double LEVEL_LEAST = 1e-9; /* nor does a level of nothing say anything of weekdays */

enum {
    CHANGE = 3 /* far errors in a row */
};

void
calc_smooth_start(struct calc_smooth *s, int period)
{
    *s = (struct calc_smooth){.period = period};
    for (int i = 0; i < period; i++)
        s->season[i] = 1;
}

double
calc_smooth_share(const struct calc_smooth *s, const struct calc_smooth_gain *gain, int phase,
                  const double *profile)
{
    if (profile == NULL)
        return s->season[phase];
    /* a mean that forgets is worth so many values at most */
    double own = fmin(s->weeks[phase], (2 - gain->season) / gain->season);
    return (own * s->season[phase] + CALC_SMOOTH_LEAN * profile[phase]) / (own + CALC_SMOOTH_LEAN);
}

double
calc_smooth_ahead(const struct calc_smooth *s, const struct calc_smooth_gain *gain, int phase,
                  int steps, const double *profile)
{
    double level = s->level;
    double slope = s->trend;
    for (int i = 0; i < steps; i++) {
        slope *= gain->damping;
        level += slope;
    }
    return fmax(level * calc_smooth_share(s, gain, phase, profile), 0);
}

/* The bounded square of an error in spreads. */
static double
bounded(double r)
{
    double x = 1 - r * r / (FAR * FAR);
    return fabs(r) <= FAR ? FAR_MEAN * (1 - x * x * x) : FAR_MEAN;
}

/* The error as it counts. */
static double
cut(struct calc_smooth *s, double error)
{
    if (isinf(s->spread))
        return error;
    double least = s->size * (s->seen < CALC_SMOOTH_START ? SPREAD_FIRST : SPREAD_LEAST);
    double before = fmax(s->spread, least);
    s->spread = before * sqrt(SPREAD_GAIN * bounded(error / before) + 1 - SPREAD_GAIN);
    double most = FAR * fmax(s->spread, least);
    if (fabs(error) <= most) {
        s->far = 0;
        return error;
    }
    int side = error > 0 ? 1 : -1;
    s->far = s->far * side > 0 ? s->far + side : side;
    return s->far * side >= CHANGE ? error : side * most;
}

static void
begin(struct calc_smooth *s, double value, double share, int phase)
{
    if (value <= 0 || share < SHARE_LEAST) /* nothing came yet */
        return;
    s->level = s->size = value / share;
    s->spread = s->level * SPREAD_FIRST;
    s->season[phase] = share;
    s->weeks[phase] = s->seen = 1;
}

static double
rate(double gain, double seen)
{
    return fmax(gain, 1 / (seen + 1)); /* a plain mean at first */
}

void
calc_smooth_take(struct calc_smooth *s, const struct calc_smooth_gain *gain, int phase,
                 double value, const double *profile)
{
    double share = calc_smooth_share(s, gain, phase, profile);
    if (s->seen < 1) {
        begin(s, value, share, phase);
        return;
    }
    double before = s->level;
    double slope = gain->damping * s->trend;
    double level = fmax(before + slope, 0);
    double error = cut(s, value - level * share);
    double season = rate(gain->season, s->weeks[phase]);
    s->level = level;
    if (share >= SHARE_LEAST)
        s->level = fmax(level + rate(gain->level, s->seen) * error / share, 0);
    s->trend = s->seen < CALC_SMOOTH_START
                   ? 0
                   : gain->trend * (s->level - before) + (1 - gain->trend) * slope;
    if (level > LEVEL_LEAST)
        s->season[phase] += season * (fmax(level * share + error, 0) / level - s->season[phase]);
    s->size = fmax(s->level, s->size * SIZE_KEPT);
    s->weeks[phase]++;
    s->seen++;
}

void
calc_smooth_pass(struct calc_smooth *s, const struct calc_smooth_gain *gain)
{
    s->trend *= gain->damping;
    s->level = fmax(s->level + s->trend, 0);
}
