/* yield.c - a prior, shrinkage, and weights against odd batches.
 *
 * Yields relative to the prior are normal around the kitchen's own mean, which is
 * normal around 1 (normal and inverse chi-square prior, so the next batch is t):
 *
 *   kappa = kappa0 + sum w   mean  = (kappa0 + sum w y) / kappa
 *   nu    = nu0 + n          nu s2 = nu0 s0^2 + kappa0 (mean - 1)^2 + sum (y - mean)^2
 *   next batch in  mean +- t(0.95, nu) s sqrt(1 + 1/kappa)
 *
 * with Huber weights w: a batch further than 2.5 s from the mean counts as if it
 * stood there.
 */
#include "daemon/calc/yield.h"

#include <math.h>

static const double FAR = 2.5;

double
calc_yield_prior(const struct calc_recipe_parts *p)
{
    if (!(p->grounds > 0))
        return NAN;
    return CALC_YIELD_OF_ADDED * (p->sugar + p->spirit + p->coffee + p->water) / p->grounds;
}

/* 95 % point of Student's t (Abramowitz and Stegun 26.7.5), nu >= 5 within 0.001. */
static double
t_95(double nu)
{
    double z = 1.6448536269514722;
    double z2 = z * z;
    double g1 = z * (z2 + 1) / 4;
    double g2 = z * (5 * z2 * z2 + 16 * z2 + 3) / 96;
    double g3 = z * (3 * z2 * z2 * z2 + 19 * z2 * z2 + 17 * z2 - 15) / 384;
    return z + g1 / nu + g2 / (nu * nu) + g3 / (nu * nu * nu);
}

/* How many of the values and of the prior's batches (all at 1) lie below x. */
static double
below(const double *y, size_t n, double prior, double x)
{
    double count = x > 1 ? CALC_YIELD_PRIOR_BATCHES : 0;
    for (size_t i = 0; i < n; i++)
        count += y[i] / prior < x ? 1 : 0;
    return count;
}

/* Median of the batches and the prior's: one of the values, found by counting. */
static double
middle(const double *y, size_t n, double prior)
{
    double half = ((double)n + CALC_YIELD_PRIOR_BATCHES) / 2;
    double best = below(y, n, prior, 1) <= half ? 1 : 0;
    for (size_t i = 0; i < n; i++) {
        double x = y[i] / prior;
        if (x > best && below(y, n, prior, x) <= half)
            best = x;
    }
    return best;
}

struct state {
    double mean, s, kappa, nu, batches;
};

/* One round: weights from the last middle and spread, then mean and spread. */
static void
improve(const double *y, size_t n, double prior, struct state *st)
{
    double sum_w = 0;
    double sum_y = 0;
    for (size_t i = 0; i < n; i++) {
        double x = y[i] / prior;
        double distance = fabs(x - st->mean) / st->s;
        double w = distance > FAR ? FAR / distance : 1;
        sum_w += w;
        sum_y += w * x;
    }
    double kappa = CALC_YIELD_PRIOR_BATCHES + sum_w;
    double mean = (CALC_YIELD_PRIOR_BATCHES + sum_y) / kappa;
    double squares = CALC_YIELD_PRIOR_FREEDOM * CALC_YIELD_SPREAD * CALC_YIELD_SPREAD +
                     CALC_YIELD_PRIOR_BATCHES * (mean - 1) * (mean - 1);
    for (size_t i = 0; i < n; i++) { /* an odd batch counts at the edge only */
        double r = fmin(fabs(y[i] / prior - mean), FAR * st->s);
        squares += r * r;
    }
    double nu = CALC_YIELD_PRIOR_FREEDOM + (double)n;
    *st = (struct state){mean, sqrt(squares / nu), kappa, nu, sum_w};
}

void
calc_yield(double prior, const double *yields, size_t count, struct calc_yield *out)
{
    size_t n = count < CALC_YIELD_BATCHES_MOST ? count : CALC_YIELD_BATCHES_MOST;
    const double *y = yields + (count - n);
    struct state st = {.mean = middle(y, n, prior), .s = CALC_YIELD_SPREAD};
    for (int round = 0; round < 12; round++)
        improve(y, n, prior, &st);
    double half = t_95(st.nu) * st.s * sqrt(1 + 1 / st.kappa);
    out->mean = prior * st.mean;
    out->low = prior * fmax(st.mean - half, 0);
    out->high = prior * (st.mean + half);
    out->batches = st.batches;
}
