/* ethanol.h - density and strength of ethanol and water.
 *
 * Formula: OIML R 22:1975, International Alcoholometric Tables (the same as the
 * annex to Directive 76/766/EEC), all 54 coefficients; -20 .. 40 C, above the
 * freezing curve, vacuum densities. Strength is % vol at the reference
 * temperature, 20 C unless said; conversion goes through mass.
 *
 *   mass_fraction  kg ethanol / kg   0 .. 1
 *   abv_pct        % vol             0 .. 100
 *   t_c            Celsius          -20 .. 40
 *
 * All functions are total: outside these ranges the argument is taken as the
 * nearest end. Check ranges where the numbers come in.
 */
#ifndef DAEMON_CALC_ETHANOL_H
#define DAEMON_CALC_ETHANOL_H

#include <stdbool.h>

#define CALC_REFERENCE_C 20.0       /* of a strength, EU */
#define CALC_REFERENCE_US_C 15.5556 /* 60 F, of US proof */

/* kg/m3 at 20 C. Ethanol is the formula's own value, 789.2391 (printed tables
 * round it to 789.24), so that a blend of spirit alone keeps its strength. */
#define CALC_WATER_20C 998.20123 /* coefficient A1 */
#define CALC_ETHANOL_20C calc_ethanol_density(1, CALC_REFERENCE_C)

/* kg/m3. By hand: (0.332996, 20) is 948.045, spirit of 40 % vol. */
double calc_ethanol_density(double mass_fraction, double t_c);

/* d density / d mass_fraction, kg/m3. */
double calc_ethanol_density_slope(double mass_fraction, double t_c);

/* % vol at `reference_c` of a mass fraction: 100 p rho(p) / rho(1). */
double calc_ethanol_abv_pct(double mass_fraction, double reference_c);

/* Its inverse, to 1e-12 mass fraction. By hand: (40, 20) is 0.332996. */
double calc_ethanol_mass_fraction(double abv_pct, double reference_c);

/* The mass fraction with this density at t_c; false past the density of water
 * or of ethanol by more than 0.01 kg/m3 (up to that it is that end). */
bool calc_ethanol_of_density(double density_kg_m3, double t_c, double *out_mass_fraction);

/* Where ice begins to form, C: CRC Handbook freezing point depressions, a
 * monotone cubic between its rows; colder than -48 above 66 % mass. */
double calc_ethanol_freezing_c(double mass_fraction);

/* Is the liquid above its freezing curve at t_c? On it counts as above. */
bool calc_ethanol_liquid(double mass_fraction, double t_c);

/* kg/m3 by volume strength, for callers that hold a label: density at t_c of
 * what has abv_pct at 20 C. By hand: (40, 20) is 948.05. */
double calc_ethanol_density_of_abv(double abv_pct, double t_c);

/* Volume (ml) at t_c of a mass (g). */
double calc_ethanol_volume_ml(double mass_g, double mass_fraction, double t_c);

#endif
