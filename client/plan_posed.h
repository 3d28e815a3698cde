/* plan_posed.h - the problem that the hub would solve now, with the plan that stands.
 */
#ifndef CLIENT_PLAN_POSED_H
#define CLIENT_PLAN_POSED_H

#include <jansson.h>
#include "client/command.h"
#include "daemon/plan/plan.h"

struct plan_posed {
    json_t *answer;
    struct problem *problem;
    struct plan *start; /* what stands, as far as it still goes; NULL: nothing */
    int32_t today;      /* the date of day 0 */
};

/* Asks the daemon that the command line names. End it with plan_posed_done(), also after an error. */
enum err plan_posed_ask(const struct given *given, struct plan_posed *out_posed,
                        struct err_text *why);
enum err plan_posed_parse(json_t *taken, struct plan_posed *out_posed, struct err_text *why);
void plan_posed_done(struct plan_posed *posed);

#endif
