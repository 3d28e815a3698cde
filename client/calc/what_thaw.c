/* what_thaw.c - calc thaw. */
#include <math.h>
#include <string.h>

#include "client/calc/run.h"
#include "daemon/calc/thaw.h"

/* Doubt in the answer: 5 % of the method, as much again of the properties. */
static const double DOUBT = 0.10;

static enum calc_shape
shape_of(const char *text)
{
    if (strcmp(text, "slab") == 0)
        return CALC_SLAB;
    return strcmp(text, "cylinder") == 0 ? CALC_CYLINDER : CALC_SPHERE;
}

static bool
above_zero(struct calc_run *run, const char *name, double *out)
{
    *out = calc_number(run, name);
    return *out > 0 || calc_refuse(run, name, "above 0");
}

static bool
read_thaw(struct calc_run *run, struct calc_thaw_in *in)
{
    *in = (struct calc_thaw_in){
        .shape = shape_of(calc_text(run, "shape")),
        .surroundings_c = calc_number(run, "surroundings_c"),
        .initial_c = calc_number(run, "initial_c"),
        .latent_mj_m3 = calc_number(run, "latent_mj_m3"),
        .initial_freezing_c = calc_number(run, "initial_freezing_c"),
    };
    if (in->surroundings_c <= 0)
        return calc_refuse(run, "surroundings_c", "above 0 (Celsius): at 0 C it never thaws");
    return above_zero(run, "size_m", &in->size_m) && above_zero(run, "h_w_m2_k", &in->h_w_m2_k) &&
           above_zero(run, "k_frozen_w_m_k", &in->k_frozen_w_m_k) &&
           above_zero(run, "k_thawed_w_m_k", &in->k_thawed_w_m_k) &&
           above_zero(run, "c_frozen_mj_m3_k", &in->c_frozen_mj_m3_k) &&
           above_zero(run, "c_thawed_mj_m3_k", &in->c_thawed_mj_m3_k);
}

static bool
run_thaw(struct calc_run *run)
{
    struct calc_thaw_in in;
    enum calc_thaw_method method;
    if (!read_thaw(run, &in))
        return false;
    double hours = calc_thaw_time_h(&in, &method);
    calc_answer_range(run, "thaw_time_h", hours * (1 - DOUBT), hours, hours * (1 + DOUBT));
    calc_answer_text(run, "method", method == CALC_THAW_CLELAND ? "cleland" : "enthalpy-1d");
    calc_answer_valid(run, NULL);
    calc_answer_source(run, method == CALC_THAW_CLELAND
                                ? "Cleland's correlation, within 5 % of the enthalpy solution"
                                : "one-dimensional enthalpy solution, refined until it stands");
    return true;
}

#define PROPERTY(name, unit, least, most, fallback, help)                             \
    {                                                                                 \
        name, CALC_ARG_NUMBER, CALC_OPTIONAL, unit, least, most, fallback, help, NULL \
    }

static const struct calc_arg args[] = {
    {"shape", CALC_ARG_CHOICE, CALC_REQUIRED, "", 0, 0, NULL, "slab, cylinder or sphere",
     "slab|cylinder|sphere"},
    {"size_m", CALC_ARG_NUMBER, CALC_REQUIRED, "m", 0, 100, NULL, "full thickness or diameter",
     NULL},
    {"h_w_m2_k", CALC_ARG_NUMBER, CALC_REQUIRED, "W/m2 K", 0, 1e6, NULL,
     "heat transfer: still air about 8, a fan 20, running water 300", NULL},
    {"surroundings_c", CALC_ARG_NUMBER, CALC_REQUIRED, "Celsius", -60, 100, NULL,
     "of the air or water, above 0", NULL},
    {"initial_c", CALC_ARG_NUMBER, CALC_REQUIRED, "Celsius", -60, 100, NULL, "of the frozen piece",
     NULL},
    PROPERTY("k_frozen_w_m_k", "W/m K", 0, 1e4, "0.90", "conductivity, frozen"),
    PROPERTY("k_thawed_w_m_k", "W/m K", 0, 1e4, "0.40", "conductivity, thawed"),
    PROPERTY("c_frozen_mj_m3_k", "MJ/m3 K", 0, 1e4, "1.533", "heat capacity, frozen"),
    PROPERTY("c_thawed_mj_m3_k", "MJ/m3 K", 0, 1e4, "2.553", "heat capacity, thawed"),
    PROPERTY("latent_mj_m3", "MJ/m3", 0, 1e5, "160.3", "heat of melting"),
    PROPERTY("initial_freezing_c", "Celsius", -60, 0, "-1.0", "where ice begins to form"),
};

const struct calc_what calc_what_thaw = {
    "thaw",
    "hours until the centre of a frozen piece reaches 0 C",
    args,
    sizeof args / sizeof args[0],
    run_thaw,
    CALC_CAUTION_FOOD,
    {"knockbox calc thaw shape=cylinder size_m=0.12 h_w_m2_k=8 surroundings_c=4 initial_c=-18",
     "knockbox calc thaw shape=slab size_m=0.06 h_w_m2_k=300 surroundings_c=12 initial_c=-18"},
};
