/* smooth.h - one series of days, smoothed: a level, a damped trend, and what each weekday is of it.
 *
 * Holt-Winters, multiplicative weekdays and damped trend: Hyndman and Athanasopoulos, Forecasting:
 * Principles and Practice, section "Holt-Winters' seasonal method"; the damping is Gardner and
 * McKenzie (1985). Far errors are cut to two spreads, and the spread itself is bounded, as Gelper,
 * Fried and Croux (2010) do it, so one festival day does not capture the level; the third far error
 * in a row on one side is a change and counts whole.
 *
 * A weekday that was seen seldom leans on a profile (the other cafés' weekdays): n weeks of its own
 * count n, the profile counts CALC_SMOOTH_LEAN weeks. Judgement, no source, in that number.
 */
#ifndef DAEMON_CALC_SMOOTH_H
#define DAEMON_CALC_SMOOTH_H

enum {
    CALC_SMOOTH_PERIOD = 7, /* longest */
    CALC_SMOOTH_START = 14, /* values before a trend is believed */
};
#define CALC_SMOOTH_LEAN 4.0

struct calc_smooth_gain {
    double level, trend, season; /* 0..1 */
    double damping;              /* 0..1, of the trend, a day */
};

struct calc_smooth {
    int period;  /* 1..CALC_SMOOTH_PERIOD */
    double seen; /* values taken in */
    double level, trend;
    double season[CALC_SMOOTH_PERIOD];
    double weeks[CALC_SMOOTH_PERIOD]; /* values of that phase taken in */
    double spread;                    /* of errors; INFINITY: none is far */
    double size;                      /* the greatest level, slowly forgotten */
    int far;                          /* far errors in a row: + above, - below */
};

void calc_smooth_start(struct calc_smooth *s, int period);

/* A phase's share of the level. `profile` (period of them, mean 1) may be NULL: own values only. */
double calc_smooth_share(const struct calc_smooth *s, const struct calc_smooth_gain *gain,
                         int phase, const double *profile);

/* What comes `steps` days on (1: the next one), 0 at least. Nothing before the first value. */
double calc_smooth_ahead(const struct calc_smooth *s, const struct calc_smooth_gain *gain,
                         int phase, int steps, const double *profile);

/* A day went by: with a value, 0 or more; or nobody knows what came. */
void calc_smooth_take(struct calc_smooth *s, const struct calc_smooth_gain *gain, int phase,
                      double value, const double *profile);
void calc_smooth_pass(struct calc_smooth *s, const struct calc_smooth_gain *gain);

#endif
