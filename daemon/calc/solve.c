/* solve.c - safeguarded Newton. */
#include "daemon/calc/solve.h"

#include <math.h>
#include <stdbool.h>

double
calc_solve(calc_function *f, const void *context, double low, double high, double close)
{
    double slope = 0;
    double at_low = f(low, context, &slope);
    double at_high = f(high, context, &slope);
    if (at_low == 0 || at_high == 0 || (at_low > 0) == (at_high > 0))
        return fabs(at_low) <= fabs(at_high) ? low : high;

    bool rising = at_high > 0;
    double x = low + (high - low) * at_low / (at_low - at_high); /* the chord's zero */
    for (int i = 0; i < 200 && high - low > close; i++) {
        double value = f(x, context, &slope);
        if (value == 0)
            return x;
        if ((value > 0) == rising)
            high = x;
        else
            low = x;
        double next = x - value / slope;
        bool inside = next > low && next < high; /* false for NaN too */
        if (inside && fabs(next - x) <= close)
            return next;
        x = inside && i % 8 != 7 ? next : low + (high - low) / 2;
    }
    return low + (high - low) / 2;
}
