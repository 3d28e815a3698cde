/* scale.c - parts by weight. */
#include "daemon/calc/scale.h"

#include "daemon/calc/near.h"

static double
sum_of(const struct calc_recipe_parts *p)
{
    return p->grounds + p->sugar + p->spirit + p->coffee + p->water;
}

static struct calc_recipe_masses
times(const struct calc_recipe_parts *p, double g_per_part)
{
    return (struct calc_recipe_masses){
        .grounds_g = p->grounds * g_per_part,
        .sugar_g = p->sugar * g_per_part,
        .spirit_g = p->spirit * g_per_part,
        .coffee_g = p->coffee * g_per_part,
        .water_g = p->water * g_per_part,
        .total_g = sum_of(p) * g_per_part,
    };
}

struct calc_recipe_masses
calc_scale_to(const struct calc_recipe_parts *parts, double base_g)
{
    double base = parts->grounds > 0 ? parts->grounds : parts->sugar;
    return times(parts, base > 0 ? base_g / base : 0);
}

struct calc_recipe_masses
calc_scale_to_total(const struct calc_recipe_parts *parts, double total_g)
{
    double sum = sum_of(parts);
    return times(parts, sum > 0 ? total_g / sum : 0);
}

size_t
calc_scale_tubs(const struct calc_recipe_parts *parts, const double *tub_g, size_t tubs,
                double vessel_g, double *out_grounds_g)
{
    size_t n = 0;
    *out_grounds_g = 0;
    while (n < tubs) {
        double with_next = *out_grounds_g + tub_g[n];
        if (calc_over(calc_scale_to(parts, with_next).total_g, vessel_g))
            break;
        *out_grounds_g = with_next;
        n++;
    }
    return n;
}
