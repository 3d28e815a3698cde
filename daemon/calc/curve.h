/* curve.h - a smooth curve through the rows of a table. */
#ifndef DAEMON_CALC_CURVE_H
#define DAEMON_CALC_CURVE_H

#include <stddef.h>

struct calc_point {
    double x, y;
};

/* The curve at x: cubic pieces through all points (x rising, at least 3), whose
 * slopes are continuous and which rise or fall where the table does (Fritsch and
 * Carlson 1980, slopes by the three-point formula). Outside: a straight line. */
double calc_curve(const struct calc_point *points, size_t count, double x);

#endif
