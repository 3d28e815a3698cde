/* Emissions by rules E1 to E4, and the rows of tests/data/reference/worked-examples.csv that a
 * report can print (each names its id). */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/report/report.h"
#include "daemon/report/report_month.h"
#include "tests/report/town.h"

/* A close whose uncaptured grounds go to a stream. */
static void throw(struct play * play, int mass_g, const char *stream, const char *day)
{
    play_say(play,
             "{'kind': 'close', 'at': '%sT22:00:00Z', 'site': 'quayside', 'day': '%s', "
             "'uncaptured_g': %d, 'uncaptured_method': 'weighed', 'stream': '%s'}",
             day, day, mass_g, stream);
}

static void
stream(struct play *play, const char *code, const char *destination, const char *material)
{
    play_say(play,
             "{'kind': 'stream', 'at': '2026-01-01T00:00:00Z', 'code': '%s', 'destination': "
             "'%s', 'settles': 'at-once', 'material': '%s'}",
             code, destination, material);
}

Test(emissions, E1_a_line_is_mass_times_the_factor_of_material_and_treatment)
{
    /* WE-01, OFFICIAL: 0.5 t of food waste to landfill, UK 2025, is 350.15443 kg CO2e;
     * WE-02, OFFICIAL: the same by UK 2024 v1.1 is 350.104805;
     * WE-03, OWN: 1250 kg composted, UK 2025, are 11.2288875 */
    static const struct {
        const char *edition, *destination;
        int mass_g;
        const char *kg_co2e;
    } rows[] = {
        {"UK-2025", "landfill", 500000, "350.15443"},
        {"UK-2024", "landfill", 500000, "350.104805"},
        {"UK-2025", "composting", 1250000, "11.2288875"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct play *play = town_new();
        char path[64];
        play_say(play,
                 "{'kind': 'factors', 'at': '2026-01-01T00:00:00Z', 'edition': '%s', 'from': "
                 "'2026-03-31'}",
                 rows[i].edition);
        stream(play, "tip", rows[i].destination, "food");
        throw(play, rows[i].mass_g, "tip", "2026-03-02");
        play_put(play, 0);
        json_t *report = month_json(play, "2026-03");
        snprintf(path, sizeof path, "emissions.lines.%s.kg_co2e", rows[i].destination);
        cr_expect(eq(str, (char *)month_word(report, path), (char *)rows[i].kg_co2e), "row %zu", i);
        cr_expect(eq(str, (char *)month_word(report, "emissions.inventory_kg_co2e"),
                     (char *)rows[i].kg_co2e));
        cr_expect(eq(str, (char *)month_word(report, "edition"), (char *)rows[i].edition));
        json_decref(report);
        play_free(play);
    }
}

Test(emissions, E3_short_tons_are_exact_and_rounded_once)
{
    /* WE-05: 0.67 t CO2e per short ton is 738.548578 kg CO2e per t (6 decimals);
     * WE-06: 320 lb = 145.149558.. kg; here 907.184 kg by 0.11 is 109.999910.. kg CO2e */
    struct play *play = town_new();
    play_say(play,
             "{'kind': 'factors', 'at': '2026-01-01T00:00:00Z', 'edition': 'US-OWN', 'from': "
             "'2026-02-01', 'rows': [{'id': 'U-L', 'material': 'food', 'class': 'food waste', "
             "'treatment': 'landfill', 'value': '0.67', 'unit': 'tCO2e/short_ton', 'boundary': "
             "'b', 'purpose': 'inventory', 'gwp_basis': 'AR5', 'source': 's'}, {'id': 'U-C', "
             "'material': 'food', 'class': 'food waste', 'treatment': 'composting', 'value': "
             "'0.11', 'unit': 'tCO2e/short_ton', 'boundary': 'b', 'purpose': 'inventory', "
             "'gwp_basis': 'AR5', 'source': 's'}]}");
    stream(play, "tip", "landfill", "food");
    stream(play, "heap", "composting", "food");
    throw(play, 1000000, "tip", "2026-03-02");
    throw(play, 907184, "heap", "2026-03-03");
    /* 0.67 x 1000 / 0.90718474 = 738.548577..; 0.11 x 907.184 / 0.90718474 = 109.999910..;
     * the sum is rounded once: 769.79024 / 0.90718474 = 848.5484885.. */
    HOLDS(play, "2026-03", {"emissions.lines.landfill.kg_co2e_per_t", "738.548578"},
          {"emissions.lines.landfill.kg_co2e", "738.548578"},
          {"emissions.lines.composting.kg_co2e", "109.999910"},
          {"emissions.inventory_kg_co2e", "848.548489"},
          {"emissions.lines.landfill.factor", "U-L"});
}

/* 1168 g at 1 t CO2e per short ton: 1.168 / 0.90718474 = 1.2874996.. kg CO2e, to 6 decimals
 * 1.287500; rounded from there a headline would say 1.288. */
Test(emissions, E3_a_headline_is_rounded_once_from_the_exact_sum)
{
    struct play *play = town_new();
    struct report_ask ask = {.month = play_month("2026-03")};
    struct table_model *model = NULL;
    char *page = NULL;
    play_say(play,
             "{'kind': 'factors', 'at': '2026-01-01T00:00:00Z', 'edition': 'US-OWN', 'from': "
             "'2026-02-01', 'rows': [{'id': 'U-L', 'material': 'food', 'class': 'food waste', "
             "'treatment': 'landfill', 'value': '1', 'unit': 'tCO2e/short_ton', 'boundary': "
             "'b', 'purpose': 'inventory', 'gwp_basis': 'AR5', 'source': 's'}]}");
    stream(play, "tip", "landfill", "food");
    throw(play, 1168, "tip", "2026-03-02");
    play_put(play, 0);
    cr_assert(report_month(play_ledger(play), play_store(play), &ask, &model, NULL) == ERR_OK);
    cr_expect(eq(str, (char *)table_get(model, "emissions", "inventory_kg_co2e"), "1.287500"));
    cr_expect(eq(str, (char *)table_headline(model, "emissions", "inventory_kg_co2e"), "1.287"));
    cr_expect(eq(str, (char *)table_headline(model, "waste", "disposed_kg"), "1.168"));
    cr_assert(report_html(model, &page, NULL) == ERR_OK);
    cr_expect(strstr(page, "<dd class=\"big\">1.287 kg CO2e</dd>") != NULL);
    cr_expect(strstr(page, ">1.287500</td>") != NULL);
    free(page);
    table_free(model);
    play_free(play);
}

Test(emissions, E1_what_has_no_factor_is_not_quantified_and_not_zero)
{
    struct play *play = town_new();
    stream(play, "field", "land_application", "food");
    stream(play, "mulch", "composting", "mixed");
    throw(play, 100, "field", "2026-03-02");
    throw(play, 200, "farm", "2026-03-03");
    throw(play, 300, "yard", "2026-03-04");
    throw(play, 400, "mulch", "2026-03-05");
    throw(play, 500, "sink", "2026-03-06");
    HOLDS(play, "2026-03", {"emissions.not_quantified_kg", "1.500"},
          {"emissions.inventory_kg_co2e", "0"},
          {"emissions.lines.animal_feed.kg_co2e", "not quantified"},
          {"emissions.lines.animal_feed.factor", "null"},
          {"emissions.lines.sewer.kg_co2e", "not quantified"},
          {"emissions.lines.2.destination", "composting"}, {"emissions.lines.1.scope", "1-2"},
          {"emissions.lines.1.onsite", "true"}, {"emissions.lines.2.material", "mixed"},
          {"emissions.lines.3.destination", "land_application"});
}

Test(emissions, E1_incineration_without_energy_counts_with_a_caution)
{
    struct play *play = town_new();
    throw(play, 1000000, "burn", "2026-03-02");
    HOLDS(play, "2026-03",
          {"emissions.lines.combustion_none.factor", "UK-2024-CI-incineration_energy_recovery"},
          {"emissions.lines.combustion_none.kg_co2e", "6.41061"},
          {"cautions.0", "incineration without energy recovery counts with the published figure "
                         "for incineration with it, which is too low"});
}

Test(emissions, E2_the_edition_is_that_in_force_on_the_last_day)
{
    struct play *play = town_new();
    play_say(play, "{'kind': 'factors', 'at': '2026-01-01T00:00:00Z', 'edition': 'UK-2025', "
                   "'from': '2026-04-01'}");
    throw(play, 1000, "bin", "2026-03-31");
    throw(play, 1000, "bin", "2026-04-01");
    static const struct want march[] = {{"edition", "UK-2024"},
                                        {"emissions.inventory_kg_co2e", "0.5203342"}};
    cr_expect(town_holds(play, 0, "2026-03", march, 2));
    HOLDS(play, "2026-04", {"edition", "UK-2025"}, {"emissions.inventory_kg_co2e", "0.5205327"});
}

/* Written at one moment, in force from one day: the later id, not the later name. */
Test(emissions, E2_of_two_editions_from_one_day_the_later_in_T5_counts)
{
    struct play *play = town_new();
    play_say(play, "{'kind': 'factors', 'id': '019d0000-0000-7000-8000-000000000001', 'at': "
                   "'2026-01-01T00:00:00Z', 'edition': 'UK-2025', 'from': '2026-02-01'}");
    play_say(play, "{'kind': 'factors', 'id': '019d0000-0000-7000-8000-000000000002', 'at': "
                   "'2026-01-01T00:00:00Z', 'edition': 'UK-2023', 'from': '2026-02-01'}");
    throw(play, 1000, "bin", "2026-03-31");
    HOLDS(play, "2026-03", {"edition", "UK-2023"});
}

static void
basis(struct play *play, const char *avoided)
{
    play_say(play,
             "{'kind': 'basis', 'at': '2026-01-02T00:00:00Z', 'basis': 'by-product', 'stage': "
             "'processing', 'from': '2026-01-01', 'reason': 'r', 'decided_by': 'OF', 'avoided': "
             "%s}",
             avoided);
}

/* 1050 g of residue from 1000 g of grounds: 840 g composted, 210 g to animal feed. */
static void
two_ends(struct play *play)
{
    town_batch(play, "B1", 1, "2026-03-02");
    play_say(play, "{'kind': 'residue', 'at': '2026-03-03T10:00:00Z', 'batch': 'B1', 'mass_g': "
                   "840, 'stream': 'yard'}");
    play_say(play, "{'kind': 'residue', 'at': '2026-03-03T11:00:00Z', 'batch': 'B1', 'mass_g': "
                   "210, 'stream': 'farm'}");
}

Test(emissions, E4_avoided_is_grounds_times_baseline_less_value)
{
    struct play *play = town_new();
    basis(play, "{'family': 'house-study', 'gwp_basis': 'AR5', 'baseline': '500', 'reason': 'r', "
                "'kg_co2e_per_t': {'composting': '100', 'animal_feed': '-20.5'}}");
    two_ends(play);
    /* 0.840 x 1000/1050 x 400 / 1000 + 0.210 x 1000/1050 x 520.5 / 1000 = 0.32 + 0.1041 */
    HOLDS(play, "2026-03", {"emissions.avoided.kg_co2e", "0.4241"},
          {"emissions.avoided.baseline", "500"}, {"emissions.avoided.family", "house-study"},
          {"emissions.avoided.why_not", "null"}, {"emissions.inventory_kg_co2e", "0"});
}

Test(emissions, E4_what_does_not_end_has_six_decimals)
{
    struct play *play = town_new();
    basis(play, "{'family': 'house-study', 'gwp_basis': 'AR5', 'baseline': 'landfill', 'reason': "
                "'r', 'kg_co2e_per_t': {'landfill': '500', 'composting': '100', 'animal_feed': "
                "'0'}}");
    town_batch(play, "B1", 1, "2026-03-02");
    play_say(play, "{'kind': 'residue', 'at': '2026-03-03T10:00:00Z', 'batch': 'B1', 'mass_g': "
                   "100, 'stream': 'yard'}");
    /* 0.1 x 1000/1050 x 400 / 1000 = 0.038095238.. */
    HOLDS(play, "2026-03", {"emissions.avoided.kg_co2e", "0.038095"},
          {"emissions.avoided.baseline", "landfill"});
}

Test(emissions, E4_says_why_there_is_no_figure)
{
    static const struct {
        const char *avoided, *why_not;
    } rows[] = {
        {NULL, "no-baseline"},
        {"{'family': 'house-study', 'gwp_basis': 'AR5', 'baseline': '500', 'reason': 'r', "
         "'kg_co2e_per_t': {'composting': '100'}}",
         "no-factor"},
        {"{'family': 'UK-2025', 'gwp_basis': 'AR5', 'baseline': '500', 'reason': 'r', "
         "'kg_co2e_per_t': {'composting': '100', 'animal_feed': '0'}}",
         "inventory-factors"}, /* WE-10: UK factors may not be compared */
        {"{'family': 'UK-2024', 'gwp_basis': 'AR5', 'baseline': 'landfill', 'reason': 'r', "
         "'kg_co2e_per_t': {'composting': '100', 'animal_feed': '0'}}",
         "inventory-factors"},
        {"{'family': 'house-study', 'gwp_basis': 'AR5', 'baseline': 'landfill', 'reason': 'r', "
         "'kg_co2e_per_t': {'composting': '100', 'animal_feed': '0'}}",
         "no-factor"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct play *play = town_new();
        if (rows[i].avoided != NULL)
            basis(play, rows[i].avoided);
        two_ends(play);
        play_put(play, 0);
        json_t *report = month_json(play, "2026-03");
        cr_expect(eq(str, (char *)month_word(report, "emissions.avoided.why_not"),
                     (char *)rows[i].why_not),
                  "row %zu", i);
        cr_expect(eq(str, (char *)month_word(report, "emissions.avoided.kg_co2e"), "null"));
        bool warns = strcmp(rows[i].why_not, "inventory-factors") == 0;
        cr_expect(eq(int, month_at(report, "emissions.avoided.warning") != NULL, warns));
        json_decref(report);
        play_free(play);
    }
}

/* An edition of the house: landfill of food by one unit, composting by another. */
static void
own_edition(struct play *play, const char *landfill, const char *composting)
{
    play_say(play,
             "{'kind': 'factors', 'at': '2026-01-01T00:00:00Z', 'edition': 'OWN', 'from': "
             "'2026-02-01', 'rows': [{'id': 'O-L', 'material': 'food', 'class': 'food waste', "
             "'treatment': 'landfill', 'boundary': 'b', 'source': 's', %s}, {'id': 'O-C', "
             "'material': 'food', 'class': 'food waste', 'treatment': 'composting', 'boundary': "
             "'b', 'source': 's', %s}]}",
             landfill, composting);
    stream(play, "tip", "landfill", "food");
    stream(play, "heap", "composting", "food");
}

/* 1 long ton is 2240 lb of 0.45359237 kg: 1.0160469088 t (UCUM). 0.67 x 1000 / 1.0160469088 =
 * 659.418373..; the same number a tonne would be 0.67, a short ton 738.548578. The sum of long ton
 * and tonne, 659.4183734.. + 8.98311 = 668.4014834.., is rounded once. */
Test(emissions, E3_long_ton_short_ton_and_tonne_are_three_units)
{
    struct play *play = town_new();
    own_edition(play,
                "'value': '0.67', 'unit': 'tCO2e/long_ton', 'purpose': 'inventory', 'gwp_basis': "
                "'AR5'",
                "'value': '8.98311', 'unit': 'kgCO2e/t', 'purpose': 'inventory', 'gwp_basis': "
                "'AR5'");
    throw(play, 1000000, "tip", "2026-03-02");
    throw(play, 1000000, "heap", "2026-03-03");
    HOLDS(play, "2026-03", {"emissions.lines.landfill.kg_co2e_per_t", "659.418373"},
          {"emissions.lines.landfill.kg_co2e", "659.418373"},
          {"emissions.lines.composting.kg_co2e", "8.98311"},
          {"emissions.inventory_kg_co2e", "668.401483"});
}

Test(emissions, E3_lines_of_different_GWP_bases_are_never_added)
{
    struct play *play = town_new();
    own_edition(play,
                "'value': '500', 'unit': 'kgCO2e/t', 'purpose': 'inventory', 'gwp_basis': 'AR4'",
                "'value': '10', 'unit': 'kgCO2e/t', 'purpose': 'inventory', 'gwp_basis': 'AR5'");
    throw(play, 2000, "tip", "2026-03-02");
    throw(play, 3000, "heap", "2026-03-03");
    HOLDS(play, "2026-03", {"emissions.inventory_kg_co2e", "null"},
          {"emissions.by_gwp_basis.AR4.kg_co2e", "1"}, {"emissions.by_gwp_basis.AR4.kg", "2.000"},
          {"emissions.by_gwp_basis.AR5.kg_co2e", "0.03"},
          {"cautions.0", "lines of different GWP bases are not added: see emissions.by_gwp_basis"});
}

/* R6: a month that was closed before stays as it was printed. */
Test(emissions, R6_a_month_of_earlier_tables_still_adds_them)
{
    struct play *play = town_new();
    own_edition(play,
                "'value': '500', 'unit': 'kgCO2e/t', 'purpose': 'inventory', 'gwp_basis': 'AR4', "
                "'low': '400', 'high': '600'",
                "'value': '10', 'unit': 'kgCO2e/t', 'purpose': 'comparison', 'gwp_basis': 'AR5'");
    throw(play, 2000, "tip", "2026-03-02");
    throw(play, 3000, "heap", "2026-03-03");
    play_say(play, "{'kind': 'period-close', 'at': '2026-04-02T09:00:00Z', 'month': '2026-03', "
                   "'edition': 'OWN'}");
    HOLDS(play, "2026-03", {"emissions.inventory_kg_co2e", "1.03"}, {"emissions.by_gwp_basis", "-"},
          {"emissions.ranges", "-"});
}

Test(emissions, E1_a_factor_for_comparing_is_in_no_inventory)
{
    struct play *play = town_new();
    own_edition(play,
                "'value': '500', 'unit': 'kgCO2e/t', 'purpose': 'inventory', 'gwp_basis': 'AR5'",
                "'value': '10', 'unit': 'kgCO2e/t', 'purpose': 'comparison', 'gwp_basis': 'AR5'");
    throw(play, 2000, "tip", "2026-03-02");
    throw(play, 3000, "heap", "2026-03-03");
    HOLDS(play, "2026-03", {"emissions.inventory_kg_co2e", "1"},
          {"emissions.not_quantified_kg", "3.000"},
          {"emissions.lines.composting.kg_co2e", "not quantified"});
}

/* 2 kg at 400 to 600 around 500 kg a tonne, 3 kg at 10 without a range. */
Test(emissions, E3_a_range_of_a_factor_is_a_range_of_its_line_and_of_the_inventory)
{
    struct play *play = town_new();
    own_edition(play,
                "'value': '500', 'unit': 'kgCO2e/t', 'purpose': 'inventory', 'gwp_basis': 'AR5', "
                "'low': '400', 'high': '600'",
                "'value': '10', 'unit': 'kgCO2e/t', 'purpose': 'inventory', 'gwp_basis': 'AR5'");
    throw(play, 2000, "tip", "2026-03-02");
    throw(play, 3000, "heap", "2026-03-03");
    HOLDS(play, "2026-03", {"emissions.inventory_kg_co2e", "1.03"},
          {"emissions.ranges.0.destination", "landfill"}, {"emissions.ranges.0.low_kg_co2e", "0.8"},
          {"emissions.ranges.0.high_kg_co2e", "1.2"}, {"emissions.ranges.1", "-"},
          {"emissions.inventory_low_kg_co2e", "0.83"},
          {"emissions.inventory_high_kg_co2e", "1.23"});
}

/* Nothing is known of a range that does not hold its value. */
Test(emissions, E1_each_factor_is_told_once_with_its_class_and_what_it_covers)
{
    struct play *play = town_new();
    stream(play, "tip", "landfill", "food");
    stream(play, "pit", "landfill", "food");
    throw(play, 1000, "tip", "2026-03-02");
    throw(play, 1000, "pit", "2026-03-03");
    throw(play, 1000, "bin", "2026-03-04");
    throw(play, 1000, "yard", "2026-03-05"); /* on site: counted with none */
    HOLDS(play, "2026-03", {"emissions.factors.0.factor", "UK-2024-CI-landfill"},
          {"emissions.factors.0.class", "commercial and industrial waste (mixed)"},
          {"emissions.factors.1.factor", "UK-2024-FD-landfill"},
          {"emissions.factors.1.class", "organic: food and drink waste"},
          {"emissions.factors.1.treatment", "landfill"}, {"emissions.factors.1.value", "700.20961"},
          {"emissions.factors.1.unit", "kgCO2e/t"}, {"emissions.factors.1.gwp_basis", "AR5"},
          {"emissions.factors.2", "-"});
}

Test(emissions, E3_half_a_range_is_none)
{
    struct play *play = town_new();
    own_edition(play,
                "'value': '500', 'unit': 'kgCO2e/t', 'purpose': 'inventory', 'gwp_basis': 'AR5', "
                "'low': '400'",
                "'value': '10', 'unit': 'kgCO2e/t', 'purpose': 'inventory', 'gwp_basis': 'AR5', "
                "'low': '11', 'high': '12'");
    throw(play, 2000, "tip", "2026-03-02");
    throw(play, 3000, "heap", "2026-03-03");
    HOLDS(play, "2026-03", {"emissions.inventory_kg_co2e", "1.03"}, {"emissions.ranges", "-"},
          {"emissions.inventory_low_kg_co2e", "-"});
}
