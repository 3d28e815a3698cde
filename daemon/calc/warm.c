/* warm.c - time as a control. */
#include "daemon/calc/warm.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/calc/near.h"

static const struct calc_limit limits[] = {
#include "daemon/calc/food-safety-limits.inc"
};

enum {
    LIMITS = sizeof limits / sizeof limits[0]
};

const struct calc_limit *
calc_limit_at(size_t i)
{
    return i < LIMITS ? &limits[i] : NULL;
}

const struct calc_limit *
calc_limit_find(const char *id)
{
    for (size_t i = 0; i < LIMITS; i++)
        if (strcmp(limits[i].id, id) == 0)
            return &limits[i];
    return NULL;
}

/* The published limits of a rule, by id; `belongs`: is the limit itself allowed? */
static const struct {
    const char *chill; /* NULL: never back into the cold */
    const char *discard;
    bool belongs;
} rules[] = {
    [CALC_WARM_2H_4H] = {"AU-PHF-2", "AU-PHF-4", false},
    [CALC_WARM_4H] = {NULL, "US-TPHC-4", true},
    [CALC_WARM_6H] = {NULL, "US-TPHC-6", true},
};

static const double HIGHEST_FOR_6H_C = 21; /* rule text of US-TPHC-6 */

/* The 6 h rule holds only for food that stayed at 21 C or below. */
static enum calc_warm_rule
rule_of(const struct calc_warm_in *in)
{
    bool cool = calc_at_most(in->highest_c, HIGHEST_FOR_6H_C); /* NaN: no */
    return in->rule == CALC_WARM_6H && !cool ? CALC_WARM_4H : in->rule;
}

static double
minutes_of(const char *id)
{
    return 60 * strtod(calc_limit_find(id)->value, NULL);
}

static double
discard_min(const struct calc_warm_in *in)
{
    if (!isnan(in->own_discard_min))
        return in->own_discard_min;
    return minutes_of(rules[rule_of(in)].discard);
}

static double
chill_min(const struct calc_warm_in *in)
{
    const char *id = rules[in->rule].chill;
    if (!isnan(in->own_chill_min))
        return in->own_chill_min;
    return id != NULL ? minutes_of(id) : 0;
}

enum calc_warm_state
calc_warm(const struct calc_warm_in *in)
{
    double most = discard_min(in);
    bool over =
        rules[in->rule].belongs ? calc_over(in->minutes, most) : calc_at_least(in->minutes, most);
    if (over)
        return CALC_WARM_DISCARD;
    return calc_under(in->minutes, chill_min(in)) ? CALC_WARM_MAY_CHILL : CALC_WARM_USE_NOW;
}

double
calc_warm_left_min(const struct calc_warm_in *in)
{
    return fmax(discard_min(in) - in->minutes, 0);
}
