/* curve.c - monotone cubic interpolation. */
#include "daemon/calc/curve.h"

#include <math.h>

static double
chord(const struct calc_point *p)
{
    return (p[1].y - p[0].y) / (p[1].x - p[0].x);
}

/* At most three times the smaller chord, and 0 where the table turns, so that a
 * piece never leaves the two values at its ends. */
static double
limit(double slope, double left, double right)
{
    if (left * right <= 0)
        return 0;
    return copysign(fmin(fabs(slope), 3 * fmin(fabs(left), fabs(right))), left);
}

/* Slope at point i: of the parabola through it and its neighbours. */
static double
slope_at(const struct calc_point *p, size_t count, size_t i)
{
    size_t a = i == 0 ? 0 : i == count - 1 ? count - 3 : i - 1; /* first of the three */
    double first = chord(p + a);
    double second = chord(p + a + 1);
    double bend = (second - first) / (p[a + 2].x - p[a].x);
    double slope = first + bend * ((p[i].x - p[a].x) + (p[i].x - p[a + 1].x));
    if (i == 0)
        return limit(slope, first, first);
    if (i == count - 1)
        return limit(slope, second, second);
    return limit(slope, first, second);
}

double
calc_curve(const struct calc_point *p, size_t count, double x)
{
    size_t last = count - 1;
    if (x <= p[0].x)
        return p[0].y + slope_at(p, count, 0) * (x - p[0].x);
    if (x >= p[last].x)
        return p[last].y + slope_at(p, count, last) * (x - p[last].x);
    size_t i = 0;
    while (p[i + 1].x < x)
        i++;
    double h = p[i + 1].x - p[i].x;
    double s = (x - p[i].x) / h;
    double m0 = slope_at(p, count, i) * h;
    double m1 = slope_at(p, count, i + 1) * h;
    double rise = p[i + 1].y - p[i].y;
    return p[i].y + s * (m0 + s * ((3 * rise - 2 * m0 - m1) + s * (m0 + m1 - 2 * rise)));
}
