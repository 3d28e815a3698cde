/* why.h - why a plan does not use a tub, makes no larger batch, or serves an order short.
 *
 * An answer is sentences, and the rules that bind as changes of one unit (change.h), to be solved
 * again by who asked. What no resource can mend (a date, a profile, a route) is told outright.
 */
#ifndef DAEMON_PLAN_WHY_H
#define DAEMON_PLAN_WHY_H

#include "daemon/plan/plan.h"

enum {
    WHY_SENTENCES = 12,
    WHY_TEXT = 320,
    WHY_ASKS = 5, /* each costs a solve */
    WHY_VALUE = 96,
};

struct why_ask {
    const char *kind; /* a row of change.h */
    char value[WHY_VALUE];
};

struct why_answer {
    char said[WHY_SENTENCES][WHY_TEXT];
    int said_n;
    struct why_ask asks[WHY_ASKS];
    int asks_n;
    bool settled; /* no unit of anything would change it */
};

/* `plan` is a feasible plan about `p`; `today` is the date of day 0; `tub` and so on are places in
 * the lists. *out_answer is overwritten. ERR_MEM. */
enum err why_tub(const struct problem *p, const struct plan *plan, int32_t today, int tub,
                 struct why_answer *out_answer, struct err_text *why);
enum err why_batch(const struct problem *p, const struct plan *plan, int32_t today, int recipe,
                   int day, struct why_answer *out_answer, struct err_text *why);
enum err why_order(const struct problem *p, const struct plan *plan, int32_t today, int order,
                   struct why_answer *out_answer, struct err_text *why);

/* "Fri 27 Nov". Returns `out`. */
char *why_date(int32_t today, int day, char out[16]);

#endif
