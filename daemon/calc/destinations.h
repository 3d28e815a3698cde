/* destinations.h - where a kilogram can end, and how each reporting frame names it.
 *
 * Rows of data/waste-destinations.csv in the file's order, cells as written.
 * Everything here is lent for ever.
 */
#ifndef DAEMON_CALC_DESTINATIONS_H
#define DAEMON_CALC_DESTINATIONS_H

#include <stdbool.h>
#include <stddef.h>

/* The members are the columns of waste-destinations.csv. */
struct calc_destination {
    const char *code; /* "composting" */
    const char *label;
    const char *flw_destination;
    const char *gri_306;
    const char *esrs_e5_5;
    const char *wfd_step;
    const char *sdg_12_3_1b; /* yes, no */
    const char *diverted;    /* yes, no, "separate line" (product) */
    const char *published_factor;
};

/* NULL past the end. */
const struct calc_destination *calc_destination_at(size_t i);

/* NULL: no such code. */
const struct calc_destination *calc_destination_find(const char *code);

/* Counted as diverted from disposal (GRI 306): the column says yes. */
bool calc_destination_diverted(const struct calc_destination *destination);

#endif
