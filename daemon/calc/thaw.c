/* thaw.c - which way to the thaw time, and Cleland's correlation. */
#include "daemon/calc/thaw.h"

#include <math.h>

#include "daemon/calc/near.h"
#include "daemon/calc/thaw_material.h"

const struct calc_thaw_in calc_thaw_grounds = {
    .k_frozen_w_m_k = 0.90,
    .k_thawed_w_m_k = 0.40,
    .c_frozen_mj_m3_k = 1.533,
    .c_thawed_mj_m3_k = 2.553,
    .latent_mj_m3 = 160.3,
    .initial_freezing_c = -1.0,
};

struct numbers {
    double bi, ste, pk;
};

static struct numbers
numbers_of(const struct calc_thaw_in *in)
{
    struct material m = material_of(in);
    double heat = material_enthalpy(&m, 0) - material_enthalpy(&m, -10);
    return (struct numbers){
        .bi = in->h_w_m2_k * in->size_m / m.k_thawed,
        .ste = m.c_thawed * (in->surroundings_c - m.freezing_c) / heat,
        .pk = m.c_frozen * (m.freezing_c - in->initial_c) / heat,
    };
}

static bool
between(double low, double value, double high)
{
    return calc_at_least(value, low) && calc_at_most(value, high);
}

bool
calc_thaw_cleland_fits(const struct calc_thaw_in *in)
{
    struct numbers n = numbers_of(in);
    return between(0.6, n.bi, 57) && between(0.085, n.ste, 0.77) && between(0.065, n.pk, 0.27);
}

double
calc_thaw_cleland_h(const struct calc_thaw_in *in)
{
    struct numbers n = numbers_of(in);
    double c = 1e6 * in->c_thawed_mj_m3_k;
    double d = in->size_m;
    double seconds = c * d * d / in->k_thawed_w_m_k * 1.4291 / (int)in->shape *
                     pow(0.5 / (n.bi * n.ste) + 0.125 / n.ste, 1.0248) * pow(n.ste, 0.2712) *
                     pow(n.pk, 0.061);
    return seconds / 3600;
}

/* Inside its range the correlation is up to 11 % off for some shapes and properties
 * (a sphere in warm air); 5 % is what is promised, 4.9 leaves room for the grid. */
static bool
close_enough(double correlation, double solution)
{
    return fabs(correlation - solution) <= 0.049 * solution;
}

double
calc_thaw_time_h(const struct calc_thaw_in *in, enum calc_thaw_method *out_method)
{
    double solution = calc_thaw_enthalpy_h(in);
    double correlation = calc_thaw_cleland_h(in);
    if (calc_thaw_cleland_fits(in) && close_enough(correlation, solution)) {
        *out_method = CALC_THAW_CLELAND;
        return correlation;
    }
    *out_method = CALC_THAW_ENTHALPY_1D;
    return solution;
}

double
calc_thaw_calibrated_h(const struct calc_thaw_in *in, double timed_h)
{
    struct calc_thaw_in trial = *in;
    double low = log(0.01);
    double high = log(1e5);
    trial.h_w_m2_k = exp(high);
    if (!(calc_thaw_enthalpy_h(&trial) <= timed_h))
        return NAN; /* no air or water is that fast */
    trial.h_w_m2_k = exp(low);
    if (!(calc_thaw_enthalpy_h(&trial) >= timed_h))
        return NAN;
    while (high - low > 1e-4) {
        double middle = (low + high) / 2;
        trial.h_w_m2_k = exp(middle);
        if (calc_thaw_enthalpy_h(&trial) > timed_h)
            low = middle;
        else
            high = middle;
    }
    return exp((low + high) / 2);
}
