/* solve.h - where a rising or falling function is zero. */
#ifndef DAEMON_CALC_SOLVE_H
#define DAEMON_CALC_SOLVE_H

/* Value and slope of a function at x. */
typedef double calc_function(double x, const void *context, double *out_slope);

/* The zero of a monotone function between low and high, to `close` in x: Newton,
 * with bisection where a step would leave the bracket or shrink it too slowly.
 * No zero in between: the end that is nearer to one. */
double calc_solve(calc_function *f, const void *context, double low, double high, double close);

#endif
