/* activity.c - Norrish, Raoult, van Laar, Ross. */
#include "daemon/calc/activity.h"

#include <math.h>

static const double NORRISH_SUCROSE = 6.47;
static const double VAN_LAAR_ETHANOL = 1.6798;
static const double VAN_LAAR_WATER = 0.9227;

/* Mole fraction of water beside `other_g` of something. */
static double
water_moles(double water_g, double other_g, double other_g_per_mol)
{
    double water = water_g / CALC_WATER_G_PER_MOL;
    double other = other_g / other_g_per_mol;
    return water > 0 ? water / (water + other) : 0;
}

double
calc_activity_sugar(double sugar_g, double water_g)
{
    double xw = water_moles(water_g, sugar_g, CALC_SUCROSE_G_PER_MOL);
    double xs = 1 - xw;
    return xw * exp(-NORRISH_SUCROSE * xs * xs);
}

double
calc_activity_raoult(double ethanol_g, double water_g)
{
    return water_moles(water_g, ethanol_g, CALC_ETHANOL_G_PER_MOL);
}

double
calc_activity_van_laar(double ethanol_g, double water_g)
{
    double xw = calc_activity_raoult(ethanol_g, water_g);
    double a = VAN_LAAR_ETHANOL * (1 - xw);
    double b = VAN_LAAR_WATER * xw;
    double share = a / (a + b);
    return xw * exp(VAN_LAAR_WATER * share * share);
}

void
calc_activity_range(double ethanol_g, double sugar_g, double water_g, double *out_low,
                    double *out_high)
{
    double sugar = calc_activity_sugar(sugar_g, water_g);
    *out_low = sugar * calc_activity_raoult(ethanol_g, water_g);
    *out_high = sugar * calc_activity_van_laar(ethanol_g, water_g);
}
