/* recipe.h - one card of the recipe book: what to weigh, and what comes of it.
 *
 * Parts by weight. Common practice, no source: one grounds, one sugar, one spirit
 * and two coffee for a liqueur; one grounds, one sugar and one of either spirit or
 * coffee for a syrup. The sugar draws the moisture out of the grounds, so the base
 * takes a dry sugar only. Yield by yield.h, strength and sweetness by blend.h and
 * balance.h: the liquor is one, so they do not depend on the size.
 */
#ifndef DAEMON_CALC_RECIPE_H
#define DAEMON_CALC_RECIPE_H

#include <stdbool.h>
#include <stddef.h>

#include "daemon/calc/balance.h"
#include "daemon/calc/blend.h"
#include "daemon/calc/yield.h"

/* Water in espresso grounds out of the knock-box, % mass: common practice, no source. */
#define CALC_GROUNDS_MOISTURE 60.0
#define CALC_GROUNDS_MOISTURE_LOW 55.0
#define CALC_GROUNDS_MOISTURE_HIGH 65.0
#define CALC_BREW_TDS 1.3    /* % mass, a filter brew: common practice, no source */
#define CALC_SPIRIT_ABV 40.0 /* % vol where nobody wrote it down: common practice, no source */

struct calc_recipe_line {
    enum calc_input_kind kind;
    double parts;          /* by weight, 0 or more */
    double pct, low, high; /* as in struct calc_input */
    bool wet;              /* a sweetener that brings water of its own */
};

struct calc_recipe {
    const struct calc_recipe_line *lines;
    size_t count;
    double yield_said;    /* g product per g grounds by the catalogue; NAN: common practice */
    const double *yields; /* of the kitchen's own batches, oldest first */
    size_t yields_count;
};

enum calc_recipe_fault {
    CALC_RECIPE_GOOD,
    CALC_RECIPE_EMPTY,      /* no part above 0 */
    CALC_RECIPE_WET_SUGAR,  /* a liquid sweetener beside grounds */
    CALC_RECIPE_DRY,        /* only dry grounds: there is no liquor */
    CALC_RECIPE_NO_GROUNDS, /* sized by grounds, and there are none in it */
};

/* One of them is above 0. */
struct calc_recipe_size {
    double grounds_g, product_g, product_ml;
};

struct calc_recipe_card {
    double g_per_part;
    double grounds_g, total_g;
    struct calc_yield yield; /* per g of grounds; NAN without grounds: nothing stays behind */
    double product_g, product_g_low, product_g_high;
    double product_ml, product_ml_low, product_ml_high; /* at 20 C */
    struct calc_blend liquor;                           /* of the whole mix */
    double abv_low, abv_high;     /* with what is not known of moisture and spirit */
    double sugar_low, sugar_high; /* g/l, the same */
};

/* By hand: 1:1:1:2 on 1000 g: 1000 1000 1000 2000 to weigh, 3000 g product by common
 * practice; grounds of 60 %, spirit of 40 %, coffee of 1.3 %: 9.9 % vol. */
enum calc_recipe_fault calc_recipe(const struct calc_recipe *recipe,
                                   const struct calc_recipe_size *size,
                                   struct calc_recipe_card *out);

/* What stands against the recipe itself, whatever its size. */
enum calc_recipe_fault calc_recipe_check(const struct calc_recipe *recipe);

/* One sentence with the reason, "" for good. */
const char *calc_recipe_fault_text(enum calc_recipe_fault fault);

/* Has it spirit? Then the product is marked as alcoholic wherever it is named. */
bool calc_recipe_has(const struct calc_recipe *recipe, enum calc_input_kind kind);

/* The steps of the work with their usual times, which a kitchen's own records replace. */
enum calc_step_id {
    CALC_STEP_THAW,
    CALC_STEP_DISSOLVE,
    CALC_STEP_ADD,
    CALC_STEP_STEEP,
    CALC_STEP_STRAIN,
    CALC_STEP_PAPER,
    CALC_STEP_BOTTLE,
    CALC_STEPS,
};

struct calc_step {
    const char *word;  /* "strain" */
    const char *text;  /* what to do */
    const char *usual; /* how long by common practice (no source); "" for none */
};

const struct calc_step *calc_step_at(enum calc_step_id id);

#endif
