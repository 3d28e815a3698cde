/* plan_try.h - `knockbox plan try`: what if there were a station more, a day less, an order more?
 *
 * Nothing is written. The changes are the rows of daemon/plan/change.h, each an option.
 */
#ifndef CLIENT_PLAN_TRY_H
#define CLIENT_PLAN_TRY_H

#include "client/command.h"

enum err plan_try(const struct given *given, struct err_text *why);

#endif
