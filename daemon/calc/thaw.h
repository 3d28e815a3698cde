/* thaw.h - time until the centre of a frozen piece reaches 0 C.
 *
 * Material: enthalpy per volume and conductivity at T below the initial freezing
 * point F are C_f (T - F) + L F/T and k_f + (k_u - k_f) F/T, above it
 * C_u (T - F) + L and k_u (head of tests/data/reference/thaw_time_numeric.csv).
 * Heat comes in all round: both faces of a slab, the mantle of a long cylinder, a
 * sphere. Defaults are an estimate for wet spent grounds.
 */
#ifndef DAEMON_CALC_THAW_H
#define DAEMON_CALC_THAW_H

#include <stdbool.h>

enum calc_shape {
    CALC_SLAB = 1, /* the number is E of the correlation */
    CALC_CYLINDER = 2,
    CALC_SPHERE = 3,
};

struct calc_thaw_in {
    enum calc_shape shape;
    double size_m;         /* full thickness or diameter, above 0 */
    double h_w_m2_k;       /* heat transfer at the surface, above 0 */
    double surroundings_c; /* above 0 */
    double initial_c;
    double k_frozen_w_m_k;
    double k_thawed_w_m_k;
    double c_frozen_mj_m3_k;
    double c_thawed_mj_m3_k;
    double latent_mj_m3;       /* 0 or more */
    double initial_freezing_c; /* 0 or below */
};

/* Wet grounds, 60 % water, 800 kg/m3, properties only (row grounds_like). */
extern const struct calc_thaw_in calc_thaw_grounds;

enum calc_thaw_method {
    CALC_THAW_CLELAND,
    CALC_THAW_ENTHALPY_1D,
};

/* Hours; NAN where no finite time came out. Cleland's correlation inside the range
 * it was fitted to, as long as it is within 5 % of the enthalpy solution; that
 * solution everywhere else. By hand: initial_c 0 or more is 0 h. */
double calc_thaw_time_h(const struct calc_thaw_in *in, enum calc_thaw_method *out_method);

/* Cleland's correlation, hours, whatever the range; its numbers and range:
 *   t = (C_u D^2/k_u) (1.4291/E) (0.5/(Bi Ste) + 0.125/Ste)^1.0248 Ste^0.2712 Pk^0.061
 *   Bi = h D/k_u, Ste = C_u (T_a - F)/dH, Pk = C_f (F - T_i)/dH, dH from -10 to 0 C
 * fitted for Bi 0.6 .. 57, Ste 0.085 .. 0.77, Pk 0.065 .. 0.27. */
double calc_thaw_cleland_h(const struct calc_thaw_in *in);
bool calc_thaw_cleland_fits(const struct calc_thaw_in *in);

/* One-dimensional enthalpy solution (finite volumes, implicit, refined until the
 * time changes by under 0.1 %), hours. */
double calc_thaw_enthalpy_h(const struct calc_thaw_in *in);

/* The heat transfer (W/m2 K) with which the enthalpy solution gives the time of
 * one timed tub: the site's own calibration. NAN when no h does (0.01 .. 1e5). */
double calc_thaw_calibrated_h(const struct calc_thaw_in *in, double timed_h);

#endif
