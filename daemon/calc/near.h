/* near.h - comparing with a limit.
 *
 * Values are compared unrounded; within 1e-9 of a limit counts as on it, so that
 * 20.0 + 0.3 holds 20.3 whatever a double makes of it.
 */
#ifndef DAEMON_CALC_NEAR_H
#define DAEMON_CALC_NEAR_H

#include <stdbool.h>

#define CALC_ON_LIMIT 1e-9

static inline bool
calc_at_most(double value, double limit)
{
    return value <= limit + CALC_ON_LIMIT;
}

static inline bool
calc_at_least(double value, double limit)
{
    return value >= limit - CALC_ON_LIMIT;
}

static inline bool
calc_under(double value, double limit)
{
    return !calc_at_least(value, limit);
}

static inline bool
calc_over(double value, double limit)
{
    return !calc_at_most(value, limit);
}

#endif
