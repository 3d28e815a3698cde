/* alcohol.h - what is made on spirit is marked wherever it is named.
 */
#ifndef DAEMON_SERVE_ALCOHOL_H
#define DAEMON_SERVE_ALCOHOL_H

#include <jansson.h>
#include <stdbool.h>
#include <stdint.h>
#include "daemon/ledger/catalogue.h"

/* Has the recipe, as of that day, a part of spirit? NULL and unknown codes: no. */
bool alcohol_in_recipe(const struct catalogue *catalogue, const char *recipe, int32_t day);

/* Is the product made on spirit by any recipe of that day, or does its label say a strength? */
bool alcohol_in_product(const struct catalogue *catalogue, const char *product, int32_t day);

/* Sets "alcoholic" in every batch that the days of a plan's view name. */
void alcohol_mark_plan(const struct catalogue *catalogue, json_t *view, int32_t day);

#endif
