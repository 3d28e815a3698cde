/* plan_stand.h - a kept plan with the problem that it was made for, and what it is worth today.
 */
#ifndef DAEMON_SERVE_PLAN_STAND_H
#define DAEMON_SERVE_PLAN_STAND_H

#include <jansson.h>
#include "daemon/plan/plan.h"

struct stand {
    json_t *view; /* as plan_record_get() gives it; NULL: there is none */
    int64_t number;
    int32_t day;             /* day 0 of its problem */
    struct problem *problem; /* NULL: none was kept with it */
    struct plan *plan;
};

/* `taken` may be NULL. ERR_DAMAGED: what was kept cannot be read. End it with stand_done(). */
enum err stand_init(struct stand *out_stand, json_t *taken, struct err_text *why);
void stand_done(struct stand *stand);

/* As much of it as keeps the rules of `now`, whose day 0 is `today`. *out_plan is yours; NULL with
 * ERR_OK: nothing of it. ERR_MEM. */
enum err stand_carry(const struct stand *stand, const struct problem *now, int32_t today,
                     struct plan **out_plan, struct err_text *why);

enum {
    STAND_FACTS_SIZE = 65
};

/* What the books say, in 64 letters: equal for problems that differ in the published plan only. */
enum err stand_facts(const struct problem *p, char out[STAND_FACTS_SIZE], struct err_text *why);

/* What was kept, without what only programs read, for an answer. *out is `view` itself. */
json_t *stand_shown(json_t *view);

#endif
