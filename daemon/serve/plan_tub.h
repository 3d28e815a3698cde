/* plan_tub.h - why the problem of a kitchen does not even have a tub.
 */
#ifndef DAEMON_SERVE_PLAN_TUB_H
#define DAEMON_SERVE_PLAN_TUB_H

#include <jansson.h>
#include "daemon/ledger/ledger.h"

/* {"tub", "words"}; *out_answer is yours. ERR_NOT_FOUND: nobody has written down such a tub. */
enum err plan_tub(struct ledger *ledger, const char *code, json_t **out_answer,
                  struct err_text *why);

#endif
