/* activity.h - water activity of sugar and ethanol in water.
 *
 * x are mole fractions. Masses in g (only their ratios matter), all 0 or more.
 * Without water the answer is 0. Nothing here is exact for a real drink: with
 * ethanol there is a range.
 */
#ifndef DAEMON_CALC_ACTIVITY_H
#define DAEMON_CALC_ACTIVITY_H

#define CALC_WATER_G_PER_MOL 18.015
#define CALC_ETHANOL_G_PER_MOL 46.069
#define CALC_SUCROSE_G_PER_MOL 342.30

/* Norrish 1966: a_w = x_w exp(-K x_s^2), K = 6.47 for sucrose.
 * By hand: 3 mol sucrose per kg water (1026.9 g, 1000 g): 0.933. */
double calc_activity_sugar(double sugar_g, double water_g);

/* Raoult: a_w = x_w. The lower bound. By hand: 40 % vol (0.333 by mass): 0.837. */
double calc_activity_raoult(double ethanol_g, double water_g);

/* van Laar, A = 1.6798 (ethanol), B = 0.9227 (water):
 * a_w = x_w exp(B (A x_e / (A x_e + B x_w))^2). The upper bound. */
double calc_activity_van_laar(double ethanol_g, double water_g);

/* Ross: the activities multiply. *out_low with Raoult, *out_high with van Laar,
 * each of the ethanol in all the water, times Norrish of the sugar in all the
 * water. Without ethanol both are Norrish. */
void calc_activity_range(double ethanol_g, double sugar_g, double water_g, double *out_low,
                         double *out_high);

#endif
