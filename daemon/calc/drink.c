/* drink.c - extraction, units of alcohol, dilution, label tolerance. */
#include "daemon/calc/drink.h"

#include <math.h>
#include <stdlib.h>

#include "daemon/calc/ethanol.h"
#include "daemon/calc/near.h"
#include "daemon/calc/reminders.h"

double
calc_extraction_yield_pct(double dose_g, double beverage_g, double tds_pct)
{
    return beverage_g * tds_pct / dose_g;
}

struct calc_units
calc_units_of(double volume_ml, double abv_pct, double t_c)
{
    double p = calc_ethanol_mass_fraction(abv_pct, CALC_REFERENCE_C);
    double ethanol_g = volume_ml * calc_ethanol_density(p, t_c) / 1000 * p;
    double ethanol_20c_ml = calc_ethanol_volume_ml(ethanol_g, 1, CALC_REFERENCE_C);
    return (struct calc_units){
        .ethanol_ml = calc_ethanol_volume_ml(ethanol_g, 1, t_c),
        .ethanol_g = ethanol_g,
        .uk_units = ethanol_20c_ml / CALC_UK_UNIT_ML,
        .us_standard_drinks = ethanol_20c_ml / CALC_US_DRINK_ML,
        .us_proof = 2 * calc_ethanol_abv_pct(p, CALC_REFERENCE_US_C),
    };
}

struct calc_dilution
calc_dilute(double volume_ml, double abv_pct, double to_abv_pct, double t_c)
{
    double p = calc_ethanol_mass_fraction(abv_pct, CALC_REFERENCE_C);
    double to = calc_ethanol_mass_fraction(fmin(to_abv_pct, abv_pct), CALC_REFERENCE_C);
    double mass_g = volume_ml * calc_ethanol_density(p, t_c) / 1000;
    double after_g = to > 0 ? mass_g * p / to : mass_g;
    struct calc_dilution d = {
        .water_ml = calc_ethanol_volume_ml(after_g - mass_g, 0, t_c),
        .volume_after_ml = calc_ethanol_volume_ml(after_g, to, t_c),
    };
    d.contraction_ml = volume_ml + d.water_ml - d.volume_after_ml;
    return d;
}

void
calc_label_checks(double abv_pct, double label_abv_pct,
                  struct calc_label_check out[CALC_LABEL_CHECKS])
{
    static const char *const ids[CALC_LABEL_CHECKS] = {"EU-ABV-TOL", "EU-ABV-TOL-MAC",
                                                       "US-ABV-TOL"};
    for (int i = 0; i < CALC_LABEL_CHECKS; i++) {
        double tolerance = strtod(calc_rule_find(ids[i])->value, NULL);
        out[i].id = ids[i];
        out[i].low_pct = label_abv_pct - tolerance;
        out[i].high_pct = label_abv_pct + tolerance;
        out[i].within =
            calc_at_least(abv_pct, out[i].low_pct) && calc_at_most(abv_pct, out[i].high_pct);
    }
}
