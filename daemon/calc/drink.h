/* drink.h - arithmetic of the bar: extraction, units of alcohol, label tolerance. */
#ifndef DAEMON_CALC_DRINK_H
#define DAEMON_CALC_DRINK_H

#include <stdbool.h>

/* Extraction yield, % of the dose = beverage x TDS / dose; dose above 0.
 * By hand: 18 g, 40 g, 8 % is 17.8. */
double calc_extraction_yield_pct(double dose_g, double beverage_g, double tds_pct);

#define CALC_US_DRINK_ML 17.7441177375 /* 0.6 US fl oz of ethanol */
#define CALC_UK_UNIT_ML 10.0           /* ml of ethanol at 20 C */

struct calc_units {
    double ethanol_ml; /* at t_c */
    double ethanol_g;
    double uk_units;           /* ml at 20 C x % vol / 1000 */
    double us_standard_drinks; /* of 0.6 US fl oz at 20 C */
    double us_proof;           /* 2 x % vol at 60 F of the same liquid */
};

/* A volume (ml at t_c) of spirit of abv_pct (at 20 C).
 * By hand: 568 ml of 5 %: 2.84 units, 22.4 g; 40 % is 79.863 proof. */
struct calc_units calc_units_of(double volume_ml, double abv_pct, double t_c);

struct calc_dilution {
    double water_ml, volume_after_ml, contraction_ml; /* all at t_c */
};

/* Water that brings a volume from abv_pct to to_abv_pct (above 0, not above
 * abv_pct); contraction = volume + water - volume after. Mass is conserved.
 * By hand: 1000 ml of 96 % to 40 %: 1450 ml water, 2400 ml after. */
struct calc_dilution calc_dilute(double volume_ml, double abv_pct, double to_abv_pct, double t_c);

/* Label tolerances of alcohol-rules.csv, by id. */
struct calc_label_check {
    const char *id;
    double low_pct, high_pct; /* both belong to the range */
    bool within;
};

enum {
    CALC_LABEL_CHECKS = 3
}; /* EU-ABV-TOL, EU-ABV-TOL-MAC, US-ABV-TOL */

void calc_label_checks(double abv_pct, double label_abv_pct,
                       struct calc_label_check out[CALC_LABEL_CHECKS]);

#endif
