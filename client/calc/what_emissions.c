/* what_emissions.c - calc emissions: a published factor, a person's own, or methane. */
#include <string.h>

#include "client/calc/run.h"
#include "daemon/calc/emissions.h"
#include "daemon/calc/factors.h"
#include "daemon/calc/methane.h"

static const char NOT_QUANTIFIED[] = "not quantified";

static const char *const methane_names[] = {"DOC", "DOCf", "MCF",        "F",
                                            "OX",  "k",    "collection", NULL};
static const char *const own_names[] = {"factor", "factor_unit", "factor_source", NULL};

/* ---- what is common ---- */

static bool
check_known(struct calc_run *run)
{
    if (calc_given(run, "treatment") && !calc_factor_treatment_known(calc_text(run, "treatment")))
        return calc_refuse(run, "treatment",
                           "a treatment of emission-factors.csv or uk-refuse-factors.csv, such as "
                           "landfill or composting");
    if (calc_given(run, "material") && !calc_factor_material_known(calc_text(run, "material")))
        return calc_refuse(run, "material",
                           "a material of emission-factors.csv, such as "
                           "\"organic: food and drink waste\"");
    return true;
}

/* The first of the names that was given must not be beside what was chosen. */
static bool
none_of(struct calc_run *run, const char *const *names, const char *beside)
{
    for (; *names != NULL; names++)
        if (calc_given(run, *names))
            return calc_refuse(run, *names, "not together with %s", beside);
    return true;
}

/* kg_co2e and mass_kg begin every answer. */
static void
answer_head(struct calc_run *run, const char *kg_co2e)
{
    calc_answer_text(run, "kg_co2e", kg_co2e);
    calc_answer_number(run, "mass_kg", calc_number(run, "mass_kg"));
}

static bool
exact_product(struct calc_run *run, const char *factor_text, const char *unit,
              char text[DECIMAL_TEXT_MAX])
{
    struct decimal mass = {0, 0};
    struct decimal factor = {0, 0};
    struct decimal kg = {0, 0};
    if (!calc_exact(run, "mass_kg", &mass))
        return false;
    if (decimal_parse(factor_text, &factor, NULL) != ERR_OK)
        return calc_refuse(run, "factor", "a number of at most 38 digits");
    if (calc_emissions_kg(&mass, &factor, calc_factor_unit_find(unit), &kg, NULL) != ERR_OK)
        return calc_refuse(run, "mass_kg", "fewer digits: the product is exact, to 38 digits");
    (void)decimal_print(&kg, text);
    return true;
}

/* ---- a published factor ---- */

static void
answer_factor_row(struct calc_run *run, const struct calc_factor *row, const char *edition,
                  const char *material)
{
    struct decimal factor = {0, 0};
    calc_answer_text(run, "factor_id", row != NULL ? row->id : NULL);
    if (row != NULL && decimal_parse(row->value, &factor, NULL) == ERR_OK)
        calc_answer_number(run, "factor", decimal_double(&factor));
    else
        calc_answer_null(run, "factor");
    calc_answer_text(run, "factor_unit", row != NULL ? row->unit : NULL);
    calc_answer_text(run, "edition", edition);
    calc_answer_text(run, "material", material);
    calc_answer_text(run, "treatment", calc_text(run, "treatment"));
    calc_answer_text(run, "boundary", row != NULL ? row->boundary : NULL);
    calc_answer_text(run, "basis", row != NULL ? row->gwp_basis : NULL);
}

static bool
answer_not_quantified(struct calc_run *run, const struct calc_factor *row, const char *edition,
                      const char *material)
{
    char why[256];
    if (row != NULL && row->kgco2e_per_tonne[0] != '\0')
        (void)snprintf(why, sizeof why,
                       "row %s is not shipped (%s): give it as your own factor with its source",
                       row->id, row->status);
    else
        (void)snprintf(why, sizeof why, "%s has no factor for this material and treatment",
                       edition);
    answer_head(run, NOT_QUANTIFIED);
    answer_factor_row(run, NULL, edition, material);
    calc_answer_valid(run, why);
    calc_answer_source(run, "emission-factors.csv and uk-refuse-factors.csv: a missing factor is "
                            "not 0");
    return true;
}

static bool
run_published(struct calc_run *run)
{
    if (!calc_given(run, "edition"))
        return calc_missing(run, "edition");
    if (!calc_given(run, "treatment"))
        return calc_missing(run, "treatment");
    const char *edition = calc_text(run, "edition");
    const struct calc_factor_edition *known = calc_factor_edition(edition);
    if (known == NULL)
        return calc_refuse(run, "edition",
                           "UK-2023, UK-2024, UK-2025, US-HUB2020, US-HUB2025, "
                           "IPCC-AR4, IPCC-AR5 or IPCC-AR6");
    const char *material = calc_text(run, "material");
    if (material == NULL) {
        material = known->food_waste;
        run->full |= json_object_set_new(run->assumed, "material", json_string(material)) != 0;
    }
    const struct calc_factor *row =
        calc_factor_find(edition, material, calc_text(run, "treatment"));
    if (row == NULL || !calc_factor_ships(row))
        return answer_not_quantified(run, row, edition, material);
    char kg[DECIMAL_TEXT_MAX];
    if (!exact_product(run, row->value, row->unit, kg))
        return false;
    char source[256];
    (void)snprintf(source, sizeof source, "%s, edition %s", row->source_set, row->edition);
    answer_head(run, kg);
    answer_factor_row(run, row, edition, material);
    calc_answer_valid(run, NULL);
    calc_answer_source(run, source);
    return true;
}

/* ---- a person's own factor ---- */

static bool
run_own(struct calc_run *run)
{
    static const char *const excluded[] = {"edition", NULL};
    char kg[DECIMAL_TEXT_MAX];
    for (const char *const *name = own_names; *name != NULL; name++)
        if (!calc_given(run, *name))
            return calc_missing(run, *name);
    if (!none_of(run, excluded, "a factor of your own") ||
        !exact_product(run, calc_text(run, "factor"), calc_text(run, "factor_unit"), kg))
        return false;
    answer_head(run, kg);
    calc_answer_null(run, "factor_id");
    calc_answer_number(run, "factor", calc_number(run, "factor"));
    calc_answer_text(run, "factor_unit", calc_text(run, "factor_unit"));
    calc_answer_null(run, "edition");
    calc_answer_text(run, "material", calc_text(run, "material"));
    calc_answer_text(run, "treatment", calc_text(run, "treatment"));
    calc_answer_null(run, "boundary");
    calc_answer_null(run, "basis");
    calc_answer_valid(run, NULL);
    calc_answer_source(run, calc_text(run, "factor_source"));
    return true;
}

/* ---- methane ---- */

static bool
read_methane(struct calc_run *run, struct calc_methane_in *in)
{
    const char *gwp = calc_gwp_find(calc_text(run, "gwp_basis"), "CH4")->gwp100;
    (void)decimal_parse(gwp, &in->gwp, NULL); /* a number of our own table */
    return calc_exact(run, "mass_kg", &in->mass_kg) && calc_exact(run, "DOC", &in->doc) &&
           calc_exact(run, "DOCf", &in->docf) && calc_exact(run, "MCF", &in->mcf) &&
           calc_exact(run, "F", &in->f) && calc_exact(run, "OX", &in->ox) &&
           calc_exact(run, "collection", &in->collection);
}

static void
answer_years(struct calc_run *run, double emitted_kg)
{
    if (!calc_given(run, "years"))
        return;
    json_t *list = json_array();
    int years = (int)calc_number(run, "years");
    double k = calc_number(run, "k");
    for (int n = 1; n <= years; n++)
        run->full |= json_array_append_new(
                         list, calc_json_number(run, calc_methane_year_kg(emitted_kg, k, n))) != 0;
    calc_answer_json(run, "ch4_by_year_kg", list);
}

static bool
check_methane(struct calc_run *run)
{
    static const char *const excluded[] = {"edition", "factor", "factor_unit", "factor_source",
                                           NULL};
    if (!none_of(run, excluded, "methane parameters"))
        return false;
    if (calc_given(run, "treatment") && strcmp(calc_text(run, "treatment"), "landfill") != 0)
        return calc_refuse(run, "treatment", "landfill, or nothing, with methane parameters");
    if (calc_given(run, "years") && !calc_given(run, "k"))
        return calc_missing(run, "k");
    return true;
}

static bool
run_methane(struct calc_run *run)
{
    struct calc_methane_in in = {0};
    struct calc_methane m;
    char kg[DECIMAL_TEXT_MAX], low[DECIMAL_TEXT_MAX], high[DECIMAL_TEXT_MAX];
    if (!check_methane(run) || !read_methane(run, &in))
        return false;
    calc_methane(&in, &m);
    calc_answer_range_text(run, "kg_co2e", decimal_print(&m.low, low),
                           decimal_print(&m.kg_co2e, kg), decimal_print(&m.high, high));
    calc_answer_number(run, "mass_kg", calc_number(run, "mass_kg"));
    calc_answer_number(run, "ch4_generated_kg", m.generated_kg);
    calc_answer_number(run, "ch4_emitted_kg", m.emitted_kg);
    answer_years(run, m.emitted_kg);
    calc_answer_number(run, "gwp", decimal_double(&in.gwp));
    calc_answer_text(run, "basis", calc_text(run, "gwp_basis"));
    calc_answer_null(run, "factor_id");
    calc_answer_text(run, "boundary",
                     "methane of the landfill over its lifetime; biogenic CO2 "
                     "and transport excluded; for comparisons");
    calc_answer_valid(run, NULL);
    calc_answer_source(run, "2006 IPCC Guidelines vol 5 ch 2-3, first order decay; interval: DOC "
                            "0.08 to 0.20");
    return true;
}

static bool
run_emissions(struct calc_run *run)
{
    static const char *const only_methane[] = {"gwp_basis", "years", NULL};
    if (!check_known(run))
        return false;
    if (calc_count_given(run, methane_names) > 0)
        return run_methane(run);
    if (!none_of(run, only_methane, "anything but a methane parameter such as DOC or k"))
        return false;
    return calc_count_given(run, own_names) > 0 ? run_own(run) : run_published(run);
}

#define SHARE(name, fallback, help)                                               \
    {                                                                             \
        name, CALC_ARG_NUMBER, CALC_OPTIONAL, "share", 0, 1, fallback, help, NULL \
    }
#define WORDS(name, help)                                              \
    {                                                                  \
        name, CALC_ARG_TEXT, CALC_OPTIONAL, "", 0, 0, NULL, help, NULL \
    }

static const struct calc_arg args[] = {
    {"mass_kg", CALC_ARG_NUMBER, CALC_REQUIRED, "kg", 0, 1e9, NULL, "wet mass", NULL},
    WORDS("treatment", "where it went: landfill, composting, anaerobic_digestion ..."),
    WORDS("material", "as in the factor set; the edition's food waste if left out"),
    WORDS("edition", "UK-2025, UK-2024, UK-2023, US-HUB2025, IPCC-AR5 ..."),
    {"factor", CALC_ARG_NUMBER, CALC_OPTIONAL, "factor_unit", -1e9, 1e9, NULL,
     "a factor of your own, instead of an edition", NULL},
    {"factor_unit", CALC_ARG_CHOICE, CALC_OPTIONAL, "", 0, 0, NULL, "unit of your factor",
     "kgCO2e/t|kgCO2e/kg|kgCO2e/short_ton|tCO2e/t|tCO2e/short_ton"},
    WORDS("factor_source", "where your factor comes from"),
    SHARE("DOC", "0.15", "degradable organic carbon; this and the next: methane"),
    SHARE("DOCf", "0.5", "share of it that decomposes"),
    SHARE("MCF", "1", "methane correction factor of the site"),
    SHARE("F", "0.5", "methane in the gas"),
    SHARE("OX", "0", "oxidised in the cover"),
    {"k", CALC_ARG_NUMBER, CALC_OPTIONAL, "1/year", 0, 100, NULL, "decay rate", NULL},
    SHARE("collection", "0", "methane recovered"),
    {"gwp_basis", CALC_ARG_CHOICE, CALC_OPTIONAL, "", 0, 0, "AR5", "which warming potential",
     "AR4|AR5|AR6-nonfossil"},
    {"years", CALC_ARG_WHOLE, CALC_OPTIONAL, "years", 1, 200, NULL,
     "list the methane year by year; needs k", NULL},
};

const struct calc_what calc_what_emissions = {
    "emissions",
    "kg CO2e of a mass by published factor, own factor or methane",
    args,
    sizeof args / sizeof args[0],
    run_emissions,
    CALC_CAUTION_NONE,
    {"knockbox calc emissions mass_kg=500 treatment=landfill edition=UK-2025",
     "knockbox calc emissions mass_kg=1000 DOC=0.15 OX=0.1 k=0.185 years=10"},
};
