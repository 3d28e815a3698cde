/* forecast_print.h - the answer of the word `forecast` for people, as JSON and as CSV.
 */
#ifndef CLIENT_FORECAST_PRINT_H
#define CLIENT_FORECAST_PRINT_H

#include <jansson.h>
#include <stdio.h>
#include "client/command.h"

/* Text: one site or product day by day, else a line each. CSV: a line a day. Adds members to the
 * answer that it needs for its cells. */
void forecast_print(enum output output, json_t *answer, FILE *f);

#endif
