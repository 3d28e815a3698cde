/* emissions.h - kg CO2e of a mass and a factor, exactly. */
#ifndef DAEMON_CALC_EMISSIONS_H
#define DAEMON_CALC_EMISSIONS_H

#include <stddef.h>
#include "proto/decimal.h"
#include "proto/err.h"

/* How a factor counts: `co2e_kg` per `mass_kg`. A short ton is 907.18474 kg
 * exactly (2000 pounds of 0.45359237 kg). */
struct calc_factor_unit {
    const char *unit; /* "kgCO2e/t" */
    struct decimal co2e_kg;
    struct decimal mass_kg;
};

/* NULL past the end: kgCO2e/t, kgCO2e/kg, kgCO2e/short_ton, tCO2e/t,
 * tCO2e/short_ton. NULL when there is no such unit. */
const struct calc_factor_unit *calc_factor_unit_at(size_t i);
const struct calc_factor_unit *calc_factor_unit_find(const char *unit);

enum {
    CALC_EMISSION_PLACES = 6
};

/* mass x factor: exact where it ends, else half away from zero to 6 decimals.
 * By hand (worked-examples.csv WE-01): 500 kg, 700.30886 kgCO2e/t: 350.15443.
 * ERR_INPUT: more than 38 digits. */
enum err calc_emissions_kg(const struct decimal *mass_kg, const struct decimal *factor,
                           const struct calc_factor_unit *unit, struct decimal *out_kg_co2e,
                           struct err_text *why);

#endif
