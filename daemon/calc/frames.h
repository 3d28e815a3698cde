/* frames.h - what each reporting frame asks a report to hold.
 *
 * Rows of data/report-fields.csv in the file's order, cells as written. Lent for ever.
 */
#ifndef DAEMON_CALC_FRAMES_H
#define DAEMON_CALC_FRAMES_H

#include <stddef.h>
#include "daemon/calc/destinations.h"

/* The members are the columns of report-fields.csv. */
struct calc_field {
    const char *frame;  /* "GRI 306:2020" */
    const char *clause; /* "306-3-a" */
    const char *field;
    const char *need; /* "must", ... */
    const char *unit_or_form;
    const char *note;
    const char *status;
    const char *filled; /* yes, part, no: by a report of ours ... */
    const char *keys;   /* ... with these, parted by blanks */
};

/* NULL past the end. */
const struct calc_field *calc_field_at(size_t i);

struct calc_frame {
    const char *code;   /* "GRI" */
    const char *fields; /* as the column `frame` of the fields has it */
    const char *(*line)(const struct calc_destination *destination); /* of the frame */
};

const struct calc_frame *calc_frame_find(const char *code); /* NULL: no such frame */

#endif
