/* methane.h - methane of food waste in a landfill, IPCC first order decay.
 *
 * 2006 IPCC Guidelines, volume 5, chapters 2 and 3; defaults and ranges in
 * tests/data/reference/ipcc-landfill-parameters.csv. W is wet mass:
 *
 *   CH4 = W DOC DOCf MCF F 16/12          emitted = CH4 (1 - collection) (1 - OX)
 *   year n = 1, 2, ... after disposal: CH4 (exp(-k (n-1)) - exp(-k n))
 *
 * For comparisons, not for an inventory line that already has a national factor.
 */
#ifndef DAEMON_CALC_METHANE_H
#define DAEMON_CALC_METHANE_H

#include "proto/decimal.h"

/* All shares 0 .. 1, as typed. */
struct calc_methane_in {
    struct decimal mass_kg;
    struct decimal doc;        /* degradable organic carbon, t C / t wet */
    struct decimal docf;       /* share of it that decomposes */
    struct decimal mcf;        /* methane correction factor of the site */
    struct decimal f;          /* methane in the gas */
    struct decimal ox;         /* oxidised in the cover */
    struct decimal collection; /* recovered */
    struct decimal gwp;        /* kg CO2e per kg CH4 over 100 years */
};

/* Published range of DOC for food waste, wet (2006 v5 Table 2.4). */
#define CALC_DOC_LOW 0.08
#define CALC_DOC_HIGH 0.20

struct calc_methane {
    double generated_kg;
    double emitted_kg;
    struct decimal kg_co2e;   /* over the lifetime; exact where it ends and has at most 38
                             * digits, else 6 decimals */
    struct decimal low, high; /* with DOC at the ends of its published range, 6 decimals */
};

/* By hand: 1 t with 0.15 0.5 1 0.5 0.1 0: 50 kg generated, 45 emitted, x 28 = 1260. */
void calc_methane(const struct calc_methane_in *in, struct calc_methane *out);

/* Emitted in year n (1 ..) of emitted_kg over the lifetime; k per year, 0 or more.
 * By hand: k 0.185: 0.168896 of it in year 1. */
double calc_methane_year_kg(double emitted_kg, double k, int n);

#endif
