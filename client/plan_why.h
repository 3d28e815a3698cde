/* plan_why.h - `knockbox plan why tub CODE`, `why batch RECIPE DATE`, `why order ID`.
 *
 * Says what binds, and what one more unit of it would be worth, found by solving again.
 */
#ifndef CLIENT_PLAN_WHY_H
#define CLIENT_PLAN_WHY_H

#include "client/command.h"

enum err plan_why(const struct given *given, struct err_text *why);

#endif
