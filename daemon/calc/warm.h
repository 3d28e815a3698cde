/* warm.h - published time limits, and how long food may still be warm.
 *
 * Limits are data: rows of data/food-safety-limits.csv with source. A site's own
 * limit wins over every row, and the local code over both.
 */
#ifndef DAEMON_CALC_WARM_H
#define DAEMON_CALC_WARM_H

#include <stdbool.h>
#include <stddef.h>

/* The members are the columns of food-safety-limits.csv. Lent for ever. */
struct calc_limit {
    const char *id;
    const char *jurisdiction;
    const char *control;
    const char *comparator;
    const char *value;
    const char *unit;
    const char *rule;
    const char *source;
    const char *status;
    const char *where_seen;
};

/* NULL past the end; NULL when no limit has the id. */
const struct calc_limit *calc_limit_at(size_t i);
const struct calc_limit *calc_limit_find(const char *id);

/* Which rule the site follows. */
enum calc_warm_rule {
    CALC_WARM_2H_4H, /* AU-PHF-2, AU-PHF-4: under 2 h back into the cold, under 4 h use now */
    CALC_WARM_4H,    /* US-TPHC-4: up to 4 h, then discarded */
    CALC_WARM_6H,    /* US-TPHC-6: up to 6 h if never above 21 C, else the 4 h rule */
};

enum calc_warm_state {
    CALC_WARM_MAY_CHILL, /* may go back into the cold */
    CALC_WARM_USE_NOW,
    CALC_WARM_DISCARD,
};

struct calc_warm_in {
    enum calc_warm_rule rule;
    double minutes;       /* all warm periods added up */
    double highest_c;     /* NAN: not known, taken as above 21 C */
    double own_chill_min; /* the site's own limits, minutes; NAN: the published ones */
    double own_discard_min;
};

/* By hand (worked-examples.csv WE-18): 115 min under 2 h/4 h may chill, 120 use
 * now, 240 discard. */
enum calc_warm_state calc_warm(const struct calc_warm_in *in);

/* Minutes until it must be discarded; 0 when it must be now. */
double calc_warm_left_min(const struct calc_warm_in *in);

#endif
