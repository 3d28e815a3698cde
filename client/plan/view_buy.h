/* view_buy.h - `knockbox plan buy`: what the plan that stands lacks, and by when to order it.
 */
#ifndef CLIENT_PLAN_VIEW_BUY_H
#define CLIENT_PLAN_VIEW_BUY_H

#include <jansson.h>
#include <stdio.h>
#include "client/command.h"
#include "client/plan/view_events.h"

/* Text: purchases, and how long each ingredient lasts. JSON: {"number", "buy", "needs"} of the
 * view. CSV: a line a purchase. */
void view_print_buy(const struct given *given, json_t *view, FILE *f);

/* "Buy by Thu 26 March: 20.00 kg of sugar, 2 packs, for Sat 28 March." for each purchase, "What
 * recipes give" for each recipe of the plan. */
void view_say_buy(const json_t *view, view_say *say, void *owner);
void view_say_yields(const json_t *view, view_say *say, void *owner);

#endif
