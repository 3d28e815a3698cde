/* scale.h - recipes in parts by weight, for whole tubs and given vessels. */
#ifndef DAEMON_CALC_SCALE_H
#define DAEMON_CALC_SCALE_H

#include <stddef.h>

/* Parts by weight, such as 1 grounds, 1 sugar, 1 spirit, 2 coffee. */
struct calc_recipe_parts {
    double grounds, sugar, spirit, coffee, water;
};

/* What to weigh, g. */
struct calc_recipe_masses {
    double grounds_g, sugar_g, spirit_g, coffee_g, water_g, total_g;
};

/* The recipe on so much grounds. Without grounds in the recipe: on so much sugar.
 * By hand: 1:1:1:2 on 850 g: 850 850 850 1700, 4250 in all. */
struct calc_recipe_masses calc_scale_to(const struct calc_recipe_parts *parts, double base_g);

/* The recipe in all so many g. */
struct calc_recipe_masses calc_scale_to_total(const struct calc_recipe_parts *parts,
                                              double total_g);

/* How many of the tubs, in the order given (oldest first), go whole into one batch
 * of which the vessel holds vessel_g in all; *out_grounds_g is their sum. */
size_t calc_scale_tubs(const struct calc_recipe_parts *parts, const double *tub_g, size_t tubs,
                       double vessel_g, double *out_grounds_g);

#endif
