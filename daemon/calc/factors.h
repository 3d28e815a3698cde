/* factors.h - the published emission factors, as text, and how to find one.
 *
 * Rows of data/emission-factors.csv in the file's order, every cell as written:
 * a factor is exact decimal text (proto/decimal.h), "" where none is published.
 * An empty factor is not 0. Everything here is lent for ever.
 */
#ifndef DAEMON_CALC_FACTORS_H
#define DAEMON_CALC_FACTORS_H

#include <stdbool.h>
#include <stddef.h>

/* The members are the columns of emission-factors.csv. */
struct calc_factor {
    const char *id;
    const char *source_set;
    const char *edition;
    const char *material;
    const char *treatment;
    const char *value; /* in `unit`: kgCO2e/t or tCO2e/short_ton */
    const char *unit;
    const char *kgco2e_per_tonne; /* US rows: rounded to 6 decimals by the table */
    const char *boundary;
    const char *purpose; /* inventory, comparison */
    const char *gwp_basis;
    const char *status;       /* SAW, SAW-EDITION-UNCONFIRMED, MEMORY, NOT-FOUND */
    const char *ship_default; /* yes, no: see calc_factor_ships */
    const char *where_seen;
    const char *note;
};

/* An edition that may be asked for: data/factor-editions.csv. */
struct calc_factor_edition {
    const char *edition;    /* "UK-2025" */
    const char *head;       /* its rows' ids begin so */
    const char *tail;       /* and end so */
    const char *food_waste; /* the material when none is named */
};

/* Every row, NULL past the end. */
const struct calc_factor *calc_factor_at(size_t i);

/* NULL: no such edition. NULL past the end. */
const struct calc_factor_edition *calc_factor_edition(const char *name);
const struct calc_factor_edition *calc_factor_edition_at(size_t i);

/* The row of (edition "UK-2025", exact material, exact treatment), with or
 * without a value, whether it ships or not. NULL: there is no such row. */
const struct calc_factor *calc_factor_find(const char *edition, const char *material,
                                           const char *treatment);

/* The row with this id, NULL if none. */
const struct calc_factor *calc_factor_by_id(const char *id);

/* May a default build count with this row? It has a value and ship_default=yes. */
bool calc_factor_ships(const struct calc_factor *row);

/* Is the text in the column of that name? Treatments also of uk-refuse-factors.csv. */
bool calc_factor_material_known(const char *material);
bool calc_factor_treatment_known(const char *treatment);

/* Rows of data/uk-refuse-factors.csv, all treatments of the UK sheet's block
 * "Refuse", blanks kept; the members are its columns. NULL past the end. */
struct calc_refuse_factor {
    const char *edition;
    const char *version;
    const char *activity;
    const char *waste_type;
    const char *treatment;
    const char *unit;
    const char *ghg_unit;
    const char *factor;
};

const struct calc_refuse_factor *calc_refuse_factor_at(size_t i);

/* data/gwp100.csv. NULL: no such basis ("AR5", "AR6-nonfossil") and gas ("CH4"). */
struct calc_gwp {
    const char *basis;
    const char *gas;
    const char *gwp100;
    const char *source;
    const char *status;
    const char *where_seen;
};

const struct calc_gwp *calc_gwp_find(const char *basis, const char *gas);

#endif
