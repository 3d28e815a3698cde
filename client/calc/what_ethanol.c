/* what_ethanol.c - calc ethanol, dilute, units. */
#include "client/calc/run.h"
#include "daemon/calc/drink.h"
#include "daemon/calc/ethanol.h"
#include "daemon/calc/near.h"

#define OIML "OIML R 22:1975 general formula"
#define T_C(help)                                                                   \
    {                                                                               \
        "t_c", CALC_ARG_NUMBER, CALC_OPTIONAL, "Celsius", -20, 40, "20", help, NULL \
    }

static const char FROZEN[] = "below the freezing curve at this temperature";

/* The mass fraction of abv_pct or abv_60f_pct, whichever was given. */
static double
mass_fraction_of_strength(struct calc_run *run)
{
    if (calc_given(run, "abv_pct"))
        return calc_ethanol_mass_fraction(calc_number(run, "abv_pct"), CALC_REFERENCE_C);
    return calc_ethanol_mass_fraction(calc_number(run, "abv_60f_pct"), CALC_REFERENCE_US_C);
}

/* ---- ethanol ---- */

static const char *const one_strength[] = {"abv_pct", "mass_pct", "density_kg_m3", "abv_60f_pct",
                                           NULL};

static bool
find_mass_fraction(struct calc_run *run, double t_c, double *out_p)
{
    if (calc_given(run, "mass_pct"))
        *out_p = calc_number(run, "mass_pct") / 100;
    else if (!calc_given(run, "density_kg_m3"))
        *out_p = mass_fraction_of_strength(run);
    else if (!calc_ethanol_of_density(calc_number(run, "density_kg_m3"), t_c, out_p))
        return calc_refuse(run, "density_kg_m3", "%.3f to %.3f (kg/m3 at %g C)",
                           calc_ethanol_density(1, t_c), calc_ethanol_density(0, t_c), t_c);
    return true;
}

static bool
run_ethanol(struct calc_run *run)
{
    double p = 0;
    double t_c = calc_number(run, "t_c");
    if (!calc_exactly_one(run, one_strength) || !find_mass_fraction(run, t_c, &p))
        return false;
    bool liquid = calc_ethanol_liquid(p, t_c);
    bool by_density = calc_given(run, "density_kg_m3");
    double abv = calc_given(run, "abv_pct") ? calc_number(run, "abv_pct")
                                            : calc_ethanol_abv_pct(p, CALC_REFERENCE_C);
    if (!liquid && by_density) { /* the formula does not hold: no strength from it */
        calc_answer_null(run, "abv_pct");
        calc_answer_null(run, "mass_pct");
    } else {
        calc_answer_number(run, "abv_pct", abv);
        calc_answer_number(run, "mass_pct", 100 * p);
    }
    if (!liquid && !by_density)
        calc_answer_null(run, "density_kg_m3");
    else
        calc_answer_number(run, "density_kg_m3",
                           by_density ? calc_number(run, "density_kg_m3")
                                      : calc_ethanol_density(p, t_c));
    calc_answer_valid(run, liquid ? NULL : FROZEN);
    calc_answer_source(run, OIML "; freezing curve: CRC Handbook, 102nd ed.");
    return true;
}

static const struct calc_arg ethanol_args[] = {
    {"abv_pct", CALC_ARG_NUMBER, CALC_OPTIONAL, "% vol at 20 C", 0, 100, NULL, "strength", NULL},
    {"mass_pct", CALC_ARG_NUMBER, CALC_OPTIONAL, "% mass", 0, 100, NULL, "ethanol by mass", NULL},
    {"density_kg_m3", CALC_ARG_NUMBER, CALC_OPTIONAL, "kg/m3 at t_c", 0, 1e9, NULL,
     "density of the liquid", NULL},
    {"abv_60f_pct", CALC_ARG_NUMBER, CALC_OPTIONAL, "% vol at 60 F", 0, 100, NULL,
     "strength of a US label", NULL},
    T_C("temperature of the density"),
};

const struct calc_what calc_what_ethanol = {
    "ethanol",
    "strength, mass and density of spirit; give one of them",
    ethanol_args,
    sizeof ethanol_args / sizeof ethanol_args[0],
    run_ethanol,
    CALC_CAUTION_ALCOHOL,
    {"knockbox calc ethanol abv_pct=40", "knockbox calc ethanol density_kg_m3=951.2 t_c=15"},
};

/* ---- dilute ---- */

static bool
run_dilute(struct calc_run *run)
{
    double volume = calc_number(run, "volume_ml");
    double abv = calc_number(run, "abv_pct");
    double to = calc_number(run, "to_abv_pct");
    double t_c = calc_number(run, "t_c");
    if (calc_at_most(to, 0) || calc_over(to, abv))
        return calc_refuse(run, "to_abv_pct", "above 0 and not above abv_pct (%.10g)", abv);
    double p = calc_ethanol_mass_fraction(to, CALC_REFERENCE_C);
    bool adds_water = to < abv;
    bool liquid = calc_ethanol_liquid(p, t_c) && (!adds_water || calc_ethanol_liquid(0, t_c));
    struct calc_dilution d = calc_dilute(volume, abv, to, t_c);
    static const char *const keys[] = {"water_ml", "volume_after_ml", "contraction_ml"};
    const double values[] = {d.water_ml, d.volume_after_ml, d.contraction_ml};
    for (int i = 0; i < 3; i++)
        if (liquid)
            calc_answer_number(run, keys[i], values[i]);
        else
            calc_answer_null(run, keys[i]);
    calc_answer_valid(run, liquid ? NULL : "water or the mix is below its freezing curve");
    calc_answer_source(run, OIML " with mass conserved");
    return true;
}

static const struct calc_arg dilute_args[] = {
    {"volume_ml", CALC_ARG_NUMBER, CALC_REQUIRED, "ml at t_c", 0, 1e9, NULL, "spirit", NULL},
    {"abv_pct", CALC_ARG_NUMBER, CALC_REQUIRED, "% vol at 20 C", 0, 100, NULL, "its strength",
     NULL},
    {"to_abv_pct", CALC_ARG_NUMBER, CALC_REQUIRED, "% vol at 20 C", 0, 100, NULL, "wanted strength",
     NULL},
    T_C("temperature of all volumes"),
};

const struct calc_what calc_what_dilute = {
    "dilute",
    "water that brings spirit down to a strength",
    dilute_args,
    sizeof dilute_args / sizeof dilute_args[0],
    run_dilute,
    CALC_CAUTION_ALCOHOL,
    {"knockbox calc dilute volume_ml=700 abv_pct=96 to_abv_pct=40",
     "knockbox calc dilute volume_ml=5000 abv_pct=60 to_abv_pct=38 t_c=15"},
};

/* ---- units ---- */

static void
answer_label_checks(struct calc_run *run, double abv)
{
    json_t *list = json_array();
    struct calc_label_check checks[CALC_LABEL_CHECKS];
    if (calc_given(run, "label_abv_pct")) {
        calc_label_checks(abv, calc_number(run, "label_abv_pct"), checks);
        for (int i = 0; i < CALC_LABEL_CHECKS; i++)
            run->full |= json_array_append_new(
                             list, json_pack("{s:s, s:o, s:o, s:b}", "id", checks[i].id, "low_pct",
                                             calc_json_number(run, checks[i].low_pct), "high_pct",
                                             calc_json_number(run, checks[i].high_pct), "within",
                                             checks[i].within)) != 0;
    }
    calc_answer_json(run, "label_checks", list);
}

static bool
run_units(struct calc_run *run)
{
    static const char *const one[] = {"abv_pct", "abv_60f_pct", NULL};
    if (!calc_exactly_one(run, one))
        return false;
    double t_c = calc_number(run, "t_c");
    double p = mass_fraction_of_strength(run);
    double abv = calc_given(run, "abv_pct") ? calc_number(run, "abv_pct")
                                            : calc_ethanol_abv_pct(p, CALC_REFERENCE_C);
    struct calc_units u = calc_units_of(calc_number(run, "volume_ml"), abv, t_c);
    bool liquid = calc_ethanol_liquid(p, t_c);
    static const char *const keys[] = {"ethanol_ml", "ethanol_g", "uk_units", "us_standard_drinks"};
    const double values[] = {u.ethanol_ml, u.ethanol_g, u.uk_units, u.us_standard_drinks};
    for (int i = 0; i < 4; i++)
        if (liquid)
            calc_answer_number(run, keys[i], values[i]);
        else
            calc_answer_null(run, keys[i]);
    calc_answer_number(run, "us_proof", u.us_proof);
    answer_label_checks(run, abv);
    calc_answer_valid(run, liquid ? NULL : FROZEN);
    calc_answer_source(run, OIML "; UK unit 10 ml, US drink 0.6 US fl oz of ethanol at 20 C; "
                                 "label tolerances: alcohol-rules.csv");
    return true;
}

static const struct calc_arg units_args[] = {
    {"volume_ml", CALC_ARG_NUMBER, CALC_REQUIRED, "ml at t_c", 0, 1e9, NULL, "the drink", NULL},
    {"abv_pct", CALC_ARG_NUMBER, CALC_OPTIONAL, "% vol at 20 C", 0, 100, NULL, "its strength",
     NULL},
    {"abv_60f_pct", CALC_ARG_NUMBER, CALC_OPTIONAL, "% vol at 60 F", 0, 100, NULL,
     "or its strength by a US label", NULL},
    {"label_abv_pct", CALC_ARG_NUMBER, CALC_OPTIONAL, "% vol", 0, 100, NULL,
     "strength printed on the label, to be checked", NULL},
    T_C("temperature of all volumes"),
};

const struct calc_what calc_what_units = {
    "units",
    "ethanol, UK units, US drinks, US proof, label tolerance",
    units_args,
    sizeof units_args / sizeof units_args[0],
    run_units,
    CALC_CAUTION_ALCOHOL,
    {"knockbox calc units volume_ml=50 abv_pct=20",
     "knockbox calc units volume_ml=700 abv_pct=20.3 label_abv_pct=20"},
};
