/* ethanol.c - OIML R 22 and its inverses. */
#include "daemon/calc/ethanol.h"

#include <math.h>

#include "daemon/calc/curve.h"
#include "daemon/calc/solve.h"

/* OIML R 22:1975, general formula, p = mass fraction, d = t - 20 C:
 *
 *   rho = A1 + sum(k=2..12) A_k p^(k-1) + sum(k=1..6) B_k d^k
 *       + sum(i=1..5) sum(k=1..m_i) C_i;k p^k d^i      m = 11; 10; 9; 4; 2
 */
static const double A[12] = {
    998.20123,   -192.9769495, 389.1238958, -1668.103923, 13522.15441, -88292.78388,
    306287.4042, -613838.1234, 747017.2998, -547846.1354, 223446.0334, -39032.85426,
};

static const double B[6] = {
    -0.20618513, -0.0052682542, 3.6130013e-05, -3.8957702e-07, 7.169354e-09, -9.9739231e-11,
};

static const double C1[11] = {
    0.1693443461530087, -10.46914743455169, 71.96353469546523, -704.7478054272792,
    3924.090430035045,  -12101.64659068747, 22486.46550400788, -26055.62982188164,
    18523.73922069467,  -7420.201433430137, 1285.617841998974,
};

static const double C2[10] = {
    -0.0119301300505701, 0.2517399633803461, -2.170575700536993, 13.53034988843029,
    -50.29988758547014,  109.635566657757,   -142.2753946421155, 108.043594285623,
    -44.14153236817392,  7.442971530188783,
};

static const double C3[9] = {
    -0.0006802995733503803, 0.01876837790289664, -0.2002561813734156,
    1.02299296671922,       -2.895696483903638,  4.810060584300675,
    -4.672147440794683,     2.458043105903461,   -0.5411227621436812,
};

static const double C4[4] = {
    4.075376675622027e-06,
    -8.76305857347111e-06,
    6.515031360099368e-06,
    -1.51578483698721e-06,
};

static const double C5[2] = {-2.788074354782409e-08, 1.345612883493354e-08};

static const struct series {
    const double *c;
    int m;
} C[5] = {{C1, 11}, {C2, 10}, {C3, 9}, {C4, 4}, {C5, 2}};

/* sum(k=0..m-1) c[k] x^k by Horner, and its derivative. */
static double
polynomial(const double *c, int m, double x, double *out_slope)
{
    double sum = 0;
    double slope = 0;
    for (int k = m - 1; k >= 0; k--) {
        slope = slope * x + sum;
        sum = sum * x + c[k];
    }
    *out_slope = slope;
    return sum;
}

static double
density_and_slope(double mass_fraction, double t_c, double *out_slope)
{
    double p = fmin(fmax(mass_fraction, 0), 1);
    double d = fmin(fmax(t_c, -20), 40) - 20;
    double unused = 0;
    double rho = polynomial(A, 12, p, out_slope) + d * polynomial(B, 6, d, &unused);
    double power = 1;
    for (int i = 0; i < 5; i++) {
        double slope = 0;
        double sum = polynomial(C[i].c, C[i].m, p, &slope);
        power *= d;
        rho += p * sum * power;
        *out_slope += (sum + p * slope) * power;
    }
    return rho;
}

double
calc_ethanol_density(double mass_fraction, double t_c)
{
    double slope = 0;
    return density_and_slope(mass_fraction, t_c, &slope);
}

double
calc_ethanol_density_slope(double mass_fraction, double t_c)
{
    double slope = 0;
    (void)density_and_slope(mass_fraction, t_c, &slope);
    return slope;
}

double
calc_ethanol_abv_pct(double mass_fraction, double reference_c)
{
    double p = fmin(fmax(mass_fraction, 0), 1);
    return 100 * p * calc_ethanol_density(p, reference_c) / calc_ethanol_density(1, reference_c);
}

/* What is searched: the p at which f(p, t_c) is `wanted`. */
struct search {
    double wanted;
    double t_c;
};

static double
abv_gap(double p, const void *context, double *out_slope)
{
    const struct search *s = context;
    double slope = 0;
    double rho = density_and_slope(p, s->t_c, &slope);
    *out_slope = rho + p * slope;
    return p * rho - s->wanted;
}

double
calc_ethanol_mass_fraction(double abv_pct, double reference_c)
{
    double part = fmin(fmax(abv_pct, 0), 100) / 100;
    struct search s = {part * calc_ethanol_density(1, reference_c), reference_c};
    return calc_solve(abv_gap, &s, 0, 1, 1e-13);
}

static double
density_gap(double p, const void *context, double *out_slope)
{
    const struct search *s = context;
    return density_and_slope(p, s->t_c, out_slope) - s->wanted;
}

bool
calc_ethanol_of_density(double density_kg_m3, double t_c, double *out_mass_fraction)
{
    double past = 0.01 + 1e-9;
    double water = calc_ethanol_density(0, t_c);
    double ethanol = calc_ethanol_density(1, t_c);
    if (!(density_kg_m3 <= water + past && density_kg_m3 >= ethanol - past))
        return false;
    struct search s = {fmin(fmax(density_kg_m3, ethanol), water), t_c};
    *out_mass_fraction = calc_solve(density_gap, &s, 0, 1, 1e-13);
    return true;
}

/* CRC Handbook of Chemistry and Physics, 102nd ed., concentrative properties of
 * ethanol: mass fraction and freezing point, C. */
static const struct calc_point freezing[] = {
    {0, 0},         {0.005, -0.20}, {0.01, -0.40},  {0.03, -1.23},  {0.05, -2.09},  {0.06, -2.54},
    {0.08, -3.47},  {0.10, -4.47},  {0.11, -5.00},  {0.13, -6.13},  {0.15, -7.36},  {0.16, -8.01},
    {0.18, -9.40},  {0.20, -10.92}, {0.22, -12.60}, {0.26, -16.41}, {0.30, -20.47}, {0.32, -22.44},
    {0.36, -25.98}, {0.40, -29.26}, {0.42, -30.98}, {0.46, -34.36}, {0.50, -37.67}, {0.52, -39.20},
    {0.56, -42.06}, {0.60, -44.93}, {0.62, -46.28}, {0.66, -48.64},
};

double
calc_ethanol_freezing_c(double mass_fraction)
{
    return calc_curve(freezing, sizeof freezing / sizeof freezing[0], mass_fraction);
}

bool
calc_ethanol_liquid(double mass_fraction, double t_c)
{
    return t_c >= calc_ethanol_freezing_c(mass_fraction) - 1e-9;
}

double
calc_ethanol_density_of_abv(double abv_pct, double t_c)
{
    return calc_ethanol_density(calc_ethanol_mass_fraction(abv_pct, CALC_REFERENCE_C), t_c);
}

double
calc_ethanol_volume_ml(double mass_g, double mass_fraction, double t_c)
{
    return 1000 * mass_g / calc_ethanol_density(mass_fraction, t_c);
}
