/* Emissions: exact products, published examples, methane. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>

#include "daemon/calc/emissions.h"
#include "daemon/calc/factors.h"
#include "daemon/calc/methane.h"
#include "client/calc/what.h"
#include "tests/calc/csv.h"
#include "tests/calc/near.h"

static struct decimal
read(const char *text)
{
    struct decimal d = {0, 0};
    cr_assert(decimal_parse(text, &d, NULL) == ERR_OK, "%s", text);
    return d;
}

static void
expect_kg(const char *mass, const char *factor, const char *unit, const char *want)
{
    struct decimal m = read(mass), f = read(factor), kg = {0, 0};
    char text[DECIMAL_TEXT_MAX];
    cr_assert(calc_emissions_kg(&m, &f, calc_factor_unit_find(unit), &kg, NULL) == ERR_OK);
    cr_assert(eq(str, (char *)decimal_print(&kg, text), (char *)want), "%s x %s %s", mass, factor,
              unit);
}

/* worked-examples.csv WE-01, 02, 03, 05, 06. */
Test(emissions, published_examples_are_exact)
{
    const char *food = calc_factor_edition("UK-2025")->food_waste;
    expect_kg("500", calc_factor_find("UK-2025", food, "landfill")->value, "kgCO2e/t", "350.15443");
    expect_kg("500", calc_factor_find("UK-2024", food, "landfill")->value, "kgCO2e/t",
              "350.104805");
    expect_kg("1250", calc_factor_find("UK-2025", food, "composting")->value, "kgCO2e/t",
              "11.2288875");
    expect_kg("1000", "0.67", "tCO2e/short_ton", "738.548578");
    expect_kg("145.1495584", "0.11", "tCO2e/short_ton", "17.6"); /* 320 lb */
}

/* calc.md rule 30, by hand. */
Test(emissions, rule_30_units_of_a_person_s_own_factor)
{
    expect_kg("1000", "8.5", "kgCO2e/t", "8.5");
    expect_kg("0.1", "0.2", "kgCO2e/kg", "0.02");
    expect_kg("907.18474", "12.3", "kgCO2e/short_ton", "12.3");
    expect_kg("12.5", "-1.5", "tCO2e/t", "-18.75");
    expect_kg("1", "1", "tCO2e/short_ton", "1.102311");
    expect_kg("0", "700", "kgCO2e/t", "0");
    expect_kg("3.274", "700.2098817534277", "kgCO2e/t", "2.2924871528607222898");
    cr_assert(calc_factor_unit_find("kg/t") == NULL);
}

static struct calc_methane_in
defaults(const char *mass)
{
    return (struct calc_methane_in){read(mass),  read("0.15"), read("0.5"), read("1"),
                                    read("0.5"), read("0"),    read("0"),   read("28")};
}

static void
expect_methane(struct calc_methane_in in, const char *kg_co2e)
{
    struct calc_methane m;
    char text[DECIMAL_TEXT_MAX];
    calc_methane(&in, &m);
    cr_assert(eq(str, (char *)decimal_print(&m.kg_co2e, text), (char *)kg_co2e));
    cr_assert(decimal_compare(&m.low, &m.kg_co2e) <= 0);
    cr_assert(decimal_compare(&m.kg_co2e, &m.high) <= 0);
}

/* worked-examples.csv WE-07. */
Test(emissions, methane_of_a_tonne_on_each_basis)
{
    static const char *const rows[][2] = {
        {"AR5", "1260"}, {"AR4", "1125"}, {"AR6-nonfossil", "1215"}};
    for (size_t i = 0; i < 3; i++) {
        struct calc_methane_in in = defaults("1000");
        in.ox = read("0.1");
        in.gwp = read(calc_gwp_find(rows[i][0], "CH4")->gwp100);
        expect_methane(in, rows[i][1]);
    }
    struct calc_methane_in in = defaults("1000");
    in.ox = read("0.1");
    struct calc_methane m;
    calc_methane(&in, &m);
    EXPECT_NEAR(m.generated_kg, 50, 1e-9, "generated");
    EXPECT_NEAR(m.emitted_kg, 45, 1e-9, "emitted");
    EXPECT_NEAR(decimal_double(&m.low), 1260 * 0.08 / 0.15, 1e-5, "low DOC");
    EXPECT_NEAR(decimal_double(&m.high), 1260 * 0.20 / 0.15, 1e-5, "high DOC");
}

/* calc.md rule 32: emitted = (generated - recovered) (1 - OX). */
Test(emissions, rule_32_recovery_comes_before_oxidation)
{
    struct calc_methane_in in = defaults("1000");
    in.collection = read("0.75");
    in.ox = read("0.1");
    struct calc_methane m;
    calc_methane(&in, &m);
    EXPECT_NEAR(m.emitted_kg, 50 * 0.25 * 0.9, 1e-9, "emitted");
    expect_methane(in, "315");
}

Test(emissions, methane_that_does_not_end_is_rounded_once)
{
    struct calc_methane_in in = defaults("1");
    in.doc = read("0.1"); /* 0.1 x 0.5 x 0.5 x 4/3 x 28 = 2.8/3 */
    expect_methane(in, "0.933333");
    in = defaults("1.2345678901234567");
    in.doc = in.docf = in.mcf = in.f = read("0.1234567890123456");
    expect_methane(in, "0.010707"); /* too many digits for 38: still 6 places */
}

/* worked-examples.csv WE-08: shares with k 0.185. */
Test(emissions, methane_by_year_decays_and_sums_to_all)
{
    EXPECT_NEAR(calc_methane_year_kg(1, 0.185, 1), 0.168896, 5e-7, "year 1");
    EXPECT_NEAR(calc_methane_year_kg(1, 0.185, 2), 0.140370, 5e-7, "year 2");
    EXPECT_NEAR(calc_methane_year_kg(1, 0.185, 3), 0.116662, 5e-7, "year 3");
    double sum = 0;
    for (int n = 1; n <= 200; n++)
        sum += calc_methane_year_kg(45, 0.185, n);
    EXPECT_NEAR(sum, 45, 1e-9, "sum");
    EXPECT_NEAR(log(2) / 0.185, 3.7467, 5e-5, "half-life");
}

/* worked-examples.csv WE-09: 4 g CH4 and 0.24 g N2O per kg. */
Test(emissions, compost_process_gas_is_the_ipcc_row)
{
    double ch4 = atof(calc_gwp_find("AR5", "CH4")->gwp100);
    double n2o = atof(calc_gwp_find("AR5", "N2O")->gwp100);
    EXPECT_NEAR(4 * ch4 + 0.24 * n2o, atof(calc_factor_by_id("IPCC-COMPOST-WET-AR5")->value), 1e-9,
                "WE-09");
}

/* ipcc-landfill-parameters.csv: what is assumed is a row of the table. */
Test(emissions, rule_31_defaults_are_the_table_s)
{
    static const char *const rows[][3] = {
        {"DOC", "food waste wet weight", "0.15"},
        {"DOCf", "all waste default", "0.5"},
        {"MCF", "managed anaerobic", "1"},
        {"F", "all", "0.5"},
        {"OX", "default", "0"},
    };
    struct csv *t = csv_reference("ipcc-landfill-parameters.csv");
    const struct calc_what *what = calc_what_find("emissions");
    int found = 0;
    for (int r = 0; r < t->rows; r++)
        for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
            if (strcmp(csv_text(t, r, "parameter"), rows[i][0]) != 0 ||
                strcmp(csv_text(t, r, "condition"), rows[i][1]) != 0)
                continue;
            EXPECT_NEAR(csv_number(t, r, "value"), atof(rows[i][2]), 0, "%s", rows[i][0]);
            for (size_t a = 0; a < what->arg_count; a++)
                if (strcmp(what->args[a].name, rows[i][0]) == 0) {
                    cr_assert(eq(str, (char *)what->args[a].fallback, (char *)rows[i][2]));
                    found++;
                }
            if (strcmp(rows[i][0], "DOC") == 0) {
                EXPECT_NEAR(csv_number(t, r, "low"), CALC_DOC_LOW, 0, "DOC low");
                EXPECT_NEAR(csv_number(t, r, "high"), CALC_DOC_HIGH, 0, "DOC high");
            }
        }
    cr_assert(eq(int, found, 5));
}

/* worked-examples.csv WE-04, unit-conversions.csv: 2000 pounds of 0.45359237 kg. */
Test(emissions, a_short_ton_is_2000_pounds)
{
    char text[DECIMAL_TEXT_MAX];
    const struct calc_factor_unit *u = calc_factor_unit_find("tCO2e/short_ton");
    cr_assert(eq(str, (char *)decimal_print(&u->mass_kg, text), "907.18474"));
}
