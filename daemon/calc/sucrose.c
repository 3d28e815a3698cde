/* sucrose.c - density, refraction and solubility of sucrose in water. */
#include "daemon/calc/sucrose.h"

#include <math.h>

#include "daemon/calc/ethanol.h"
#include "daemon/calc/solve.h"

/* Density: CRC Handbook of Chemistry and Physics, 102nd ed., rows 0 .. 84 %,
 * and an older edition above 50 %; both are rounded to 0.1 kg/m3.
 *
 *   rho(w) = rho_water + sum(k=1..6) D_k w^k     w = mass fraction
 *
 * Least squares over 33 rows: largest difference 0.063, mean square 0.029, which
 * is what rounding to 0.1 alone leaves (0.1/sqrt 12). One polynomial has no kinks.
 */
static const double D[6] = {386.693318,  115.365671, 147.466952,
                            -281.587387, 350.841978, -170.923323};

/* Refraction: OIV Oeno 21/2004 Table II (the ICUMSA scale), five decimals, and
 * the CRC rows, four decimals, weighted so; n of water 1.33299.
 * Largest difference 0.000006 and 0.00006. */
#define WATER_N 1.33299
static const double N[5] = {0.142777279, 0.0540951688, 0.0145653563, 0.0109694070, -0.0100076137};

/* sum(k=1..m) c_k x^k and its derivative. */
static double
series(const double *c, int m, double x, double *out_slope)
{
    double sum = 0;
    double slope = 0;
    for (int k = m - 1; k >= 0; k--) {
        slope = slope * x + sum;
        sum = sum * x + c[k];
    }
    *out_slope = sum + x * slope;
    return sum * x;
}

static double
within(double fraction)
{
    return fmin(fmax(fraction, 0), 1);
}

double
calc_sucrose_density(double sucrose_fraction)
{
    double slope = 0;
    return CALC_WATER_20C + series(D, 6, within(sucrose_fraction), &slope);
}

double
calc_sucrose_g_per_l(double sucrose_fraction)
{
    return within(sucrose_fraction) * calc_sucrose_density(sucrose_fraction);
}

static double
g_per_l_gap(double w, const void *wanted, double *out_slope)
{
    double slope = 0;
    double rho = CALC_WATER_20C + series(D, 6, w, &slope);
    *out_slope = rho + w * slope;
    return w * rho - *(const double *)wanted;
}

double
calc_sucrose_fraction(double g_per_l)
{
    return calc_solve(g_per_l_gap, &g_per_l, 0, 1, 1e-14);
}

double
calc_sucrose_refractive_index(double sucrose_fraction)
{
    double slope = 0;
    return WATER_N + series(N, 5, within(sucrose_fraction), &slope);
}

/* Herzfeld 1892: % mass = 64.1835 + 0.13477 t + 0.0005307 t^2. It gives every row
 * of Mohos 2010, Table A2.2 (0 .. 100 C), within 0.04; newer tables lie up to
 * 0.4 lower near 20 C. */
double
calc_sucrose_soluble_pct(double t_c)
{
    double t = fmin(fmax(t_c, 0), 100);
    return 64.1835 + t * (0.13477 + t * 0.0005307);
}
