/* what_sucrose.c - calc sucrose. */
#include <math.h>

#include "client/calc/run.h"
#include "daemon/calc/activity.h"
#include "daemon/calc/near.h"
#include "daemon/calc/sucrose.h"

static bool
find_fraction(struct calc_run *run, double *out_w)
{
    static const char *const one[] = {"brix_pct", "g_per_l", NULL};
    *out_w = NAN;
    if (calc_count_given(run, one) == 0 && calc_given(run, "t_c"))
        return true; /* only what dissolves is asked */
    if (!calc_exactly_one(run, one))
        return false;
    if (calc_given(run, "brix_pct")) {
        *out_w = calc_number(run, "brix_pct") / 100;
        return true;
    }
    double g_per_l = calc_number(run, "g_per_l");
    double most = calc_sucrose_g_per_l(CALC_SUCROSE_MOST);
    if (calc_over(g_per_l, most))
        return calc_refuse(run, "g_per_l", "0 to %.0f (g/l), where the tables end", floor(most));
    *out_w = calc_sucrose_fraction(g_per_l);
    return true;
}

static bool
run_sucrose(struct calc_run *run)
{
    double w = 0;
    if (!find_fraction(run, &w))
        return false;
    double soluble = calc_sucrose_soluble_pct(calc_number(run, "t_c"));
    bool asked = !isnan(w);
    double g_per_l = calc_given(run, "g_per_l") ? calc_number(run, "g_per_l")
                     : asked                    ? calc_sucrose_g_per_l(w)
                                                : NAN;
    calc_answer_maybe(run, "brix_pct", 100 * w);
    calc_answer_maybe(run, "g_per_l", g_per_l);
    calc_answer_maybe(run, "density_kg_m3", asked ? calc_sucrose_density(w) : NAN);
    calc_answer_maybe(run, "refractive_index", asked ? calc_sucrose_refractive_index(w) : NAN);
    calc_answer_number(run, "soluble_pct", soluble);
    calc_answer_number(run, "soluble_doubt_pct", CALC_SOLUBLE_DOUBT_PCT);
    calc_answer_maybe(run, "invert_g_per_l", CALC_INVERT_RATIO * g_per_l);
    calc_answer_maybe(run, "water_activity", asked ? calc_activity_sugar(w, 1 - w) : NAN);
    calc_answer_valid(run, asked && calc_over(100 * w, soluble)
                               ? "more sugar than dissolves at this temperature: supersaturated"
                               : NULL);
    calc_answer_source(run, "CRC Handbook, 102nd ed. (density); OIV Oeno 21/2004 (refraction); "
                            "Mohos 2010 after Herzfeld (solubility); Norrish 1966, K 6.47");
    return true;
}

static const struct calc_arg args[] = {
    {"brix_pct", CALC_ARG_NUMBER, CALC_OPTIONAL, "% mass", 0, 100 * CALC_SUCROSE_MOST, NULL,
     "sucrose by mass", NULL},
    {"g_per_l", CALC_ARG_NUMBER, CALC_OPTIONAL, "g/l at 20 C", 0, 1e9, NULL,
     "sucrose per litre of solution", NULL},
    {"t_c", CALC_ARG_NUMBER, CALC_OPTIONAL, "Celsius", 0, 100, "20",
     "temperature of the solubility", NULL},
};

const struct calc_what calc_what_sucrose = {
    "sucrose",
    "sugar in water: Brix, g/l, density, refraction, what dissolves",
    args,
    sizeof args / sizeof args[0],
    run_sucrose,
    CALC_CAUTION_NONE,
    {"knockbox calc sucrose brix_pct=50", "knockbox calc sucrose t_c=5"},
};
