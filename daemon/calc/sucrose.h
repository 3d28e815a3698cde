/* sucrose.h - sugar (sucrose) and water at 20 C, and how much sugar dissolves.
 *
 *   sucrose_fraction  kg sucrose / kg solution   0 .. 1 (tables end at 0.84)
 *   g_per_l           g sucrose / l solution
 */
#ifndef DAEMON_CALC_SUCROSE_H
#define DAEMON_CALC_SUCROSE_H

#define CALC_SUCROSE_MOST 0.84     /* mass fraction where the density tables end */
#define CALC_INVERT_RATIO 1.0526   /* g invert sugar per g sucrose, by convention */
#define CALC_SOLUBLE_DOUBT_PCT 0.5 /* two published scales differ by up to this, % mass */

/* kg/m3. Within 0.1 of every row of the CRC tables 0 .. 84 %; smooth everywhere,
 * 998.20123 without sugar, like the alcohol formula. By hand: 0.5 is 1229.5. */
double calc_sucrose_density(double sucrose_fraction);

/* g per litre = 10 x % mass x density/1000. By hand: 0.52 is 645.1. */
double calc_sucrose_g_per_l(double sucrose_fraction);

/* Its inverse, 0 .. 1. By hand: 645.1 is 0.52. */
double calc_sucrose_fraction(double g_per_l);

/* At 20 C, sodium D, against air. Within 0.00001 of the OIV rows 10 .. 30 %, and
 * 0.0001 of the CRC rows 0 .. 84 %. By hand: 0.1 is 1.34782. */
double calc_sucrose_refractive_index(double sucrose_fraction);

/* % mass of sucrose in water that is saturated at t_c, 0 .. 100 C, give or take
 * CALC_SOLUBLE_DOUBT_PCT. By hand: 20 C is 67.09. */
double calc_sucrose_soluble_pct(double t_c);

#endif
