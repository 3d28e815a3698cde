/* thaw_material.h - enthalpy, temperature and conduction of what thaws. J, m, s, C. */
#ifndef DAEMON_CALC_THAW_MATERIAL_H
#define DAEMON_CALC_THAW_MATERIAL_H

#include <math.h>

#include "daemon/calc/thaw.h"

struct material {
    double k_frozen, k_thawed; /* W/m K */
    double c_frozen, c_thawed; /* J/m3 K */
    double latent;             /* J/m3 */
    double freezing_c;         /* below 0 */
};

/* A freezing point of 0 is taken as -0.01: ice then melts within 0.01 K of 0. */
static inline struct material
material_of(const struct calc_thaw_in *in)
{
    return (struct material){
        .k_frozen = in->k_frozen_w_m_k,
        .k_thawed = in->k_thawed_w_m_k,
        .c_frozen = 1e6 * in->c_frozen_mj_m3_k,
        .c_thawed = 1e6 * in->c_thawed_mj_m3_k,
        .latent = 1e6 * in->latent_mj_m3,
        .freezing_c = fmin(in->initial_freezing_c, -0.01),
    };
}

/* J/m3; L at the freezing point. */
static inline double
material_enthalpy(const struct material *m, double t)
{
    double f = m->freezing_c;
    return t < f ? m->c_frozen * (t - f) + m->latent * f / t : m->c_thawed * (t - f) + m->latent;
}

/* The temperature with this enthalpy: below freezing the negative root of
 * C_f T^2 - (C_f F + H) T + L F = 0. */
static inline double
material_temperature(const struct material *m, double h)
{
    double f = m->freezing_c;
    if (h >= m->latent)
        return f + (h - m->latent) / m->c_thawed;
    double b = m->c_frozen * f + h;
    double root = sqrt(b * b - 4 * m->c_frozen * m->latent * f);
    return b > 0 ? 2 * m->latent * f / (b + root) : (b - root) / (2 * m->c_frozen);
}

/* dH/dT, J/m3 K. */
static inline double
material_capacity(const struct material *m, double t)
{
    double f = m->freezing_c;
    return t < f ? m->c_frozen - m->latent * f / (t * t) : m->c_thawed;
}

static inline double
material_conductivity(const struct material *m, double t)
{
    double f = m->freezing_c;
    return t < f ? m->k_frozen + (m->k_thawed - m->k_frozen) * f / t : m->k_thawed;
}

/* Integral of the conductivity from the freezing point to t, W/m: its difference
 * over a distance is the heat flow, exactly (Kirchhoff). */
static inline double
material_conduction(const struct material *m, double t)
{
    double f = m->freezing_c;
    if (t >= f)
        return m->k_thawed * (t - f);
    return m->k_frozen * (t - f) + (m->k_thawed - m->k_frozen) * f * log(t / f);
}

#endif
