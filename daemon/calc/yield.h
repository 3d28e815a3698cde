/* yield.h - how much product a recipe gives, learned from the kitchen's batches.
 *
 * Common practice (no source) is the prior: 100 g grounds in a 1:1:1:2 mix give
 * about 300 g of liqueur, in 1:1:1 about 150 g of syrup: three quarters of what is
 * added to the grounds. A kitchen's own batches move it: few a little, many a lot,
 * and one odd batch does not capture it. Judgement, no source, in the numbers below.
 */
#ifndef DAEMON_CALC_YIELD_H
#define DAEMON_CALC_YIELD_H

#include <stddef.h>

#include "daemon/calc/scale.h"

#define CALC_YIELD_OF_ADDED 0.75     /* product per g of sugar, spirit, coffee and water added */
#define CALC_YIELD_SPREAD 0.08       /* standard deviation between batches, relative to the prior */
#define CALC_YIELD_PRIOR_BATCHES 4.0 /* the prior counts as so many batches */
#define CALC_YIELD_PRIOR_FREEDOM 16.0 /* and its spread as so many, for the interval */

/* g product per g grounds by common practice; NAN without grounds in the recipe.
 * By hand: 1:1:1:2 is 3.0, 1:1:1 is 1.5. */
double calc_yield_prior(const struct calc_recipe_parts *parts);

struct calc_yield {
    double mean;      /* g product per g grounds */
    double low, high; /* 90 %: nine of ten next batches are expected in between */
    double batches;   /* that counted, odd ones in part */
};

/* `yields` are the recipe's batches, product_g / grounds_g, above 0, in any order.
 * The newest CALC_YIELD_BATCHES_MOST count when there are more (oldest first). */
enum {
    CALC_YIELD_BATCHES_MOST = 200
};
void calc_yield(double prior, const double *yields, size_t count, struct calc_yield *out);

#endif
