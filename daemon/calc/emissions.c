/* emissions.c - mass times factor. */
#include "daemon/calc/emissions.h"

#include <string.h>

/* 907.18474 = {90718474, 5}; 1000 = {1, -3}. */
static const struct calc_factor_unit units[] = {
    {"kgCO2e/t", {1, 0}, {1, -3}},
    {"kgCO2e/kg", {1, 0}, {1, 0}},
    {"kgCO2e/short_ton", {1, 0}, {90718474, 5}},
    {"tCO2e/t", {1, -3}, {1, -3}},
    {"tCO2e/short_ton", {1, -3}, {90718474, 5}},
};

enum {
    UNITS = sizeof units / sizeof units[0]
};

const struct calc_factor_unit *
calc_factor_unit_at(size_t i)
{
    return i < UNITS ? &units[i] : NULL;
}

const struct calc_factor_unit *
calc_factor_unit_find(const char *unit)
{
    for (size_t i = 0; i < UNITS; i++)
        if (strcmp(units[i].unit, unit) == 0)
            return &units[i];
    return NULL;
}

enum err
calc_emissions_kg(const struct decimal *mass_kg, const struct decimal *factor,
                  const struct calc_factor_unit *unit, struct decimal *out_kg_co2e,
                  struct err_text *why)
{
    struct decimal product = {0, 0};
    enum err e = decimal_multiply(mass_kg, factor, &product, why);
    if (e == ERR_OK)
        e = decimal_multiply(&product, &unit->co2e_kg, &product, why);
    if (e == ERR_OK)
        e = decimal_divide(&product, &unit->mass_kg, CALC_EMISSION_PLACES, out_kg_co2e, why);
    return e;
}
