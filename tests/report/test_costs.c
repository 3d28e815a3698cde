/* What a batch and its bottles cost: rules K1 to K5 of docs/report.md. All numbers worked by hand
 * from the rules. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdlib.h>
#include <string.h>
#include "tests/report/town.h"

/* Wage 12.00 GBP/h, recipe l1 takes 90 min, sugar 27.50 GBP for 25 kg, spirit lot S2 of 10 kg for
 * 123.45 GBP, run R1 15.00 GBP and 0.20 GBP/kg with tubs of 3 and 2 kg. */
static struct play *
priced_town(void)
{
    struct play *play = town_new();
    play_say(play, "{'kind': 'site', 'at': '2026-01-03T00:00:00Z', 'code': 'kitchen', 'role': "
                   "'kitchen', 'zone': 'Europe/London', 'day_start': '04:00', 'currency': 'GBP', "
                   "'joined': '2026-01-01', 'labour_minor_per_hour': 1200}");
    play_say(play, "{'kind': 'recipe', 'code': 'l1', 'product': 'liqueur', 'labour_min': 90, "
                   "'parts': [{'input': 'grounds', 'parts': '1'}, {'input': 'spirit40', 'parts': "
                   "'2'}], 'from': '2026-01-01'}");
    play_say(play, "{'kind': 'item', 'code': 'sugar', 'name': 'Sugar', 'class': 'sugar', 'pack_g': "
                   "25000, 'pack_minor': 2750, 'currency': 'GBP', 'from': '2026-01-01'}");
    play_say(play, "{'kind': 'item', 'code': 'water', 'name': 'Water', 'class': 'water'}");
    play_say(play, "{'kind': 'run', 'code': 'R1', 'route': 'harbour', 'day': '2026-03-02', "
                   "'fixed_minor': 1500, 'minor_per_kg': 20}");
    play_say(play, "{'kind': 'price', 'product': 'liqueur', 'bottle_ml': 500, 'currency': 'GBP', "
                   "'list_minor': 1800, 'buy_in_minor': 1400, 'from': '2026-02-01'}");
    play_say(play, "{'kind': 'supply', 'lot': 'S2', 'item': 'spirit40', 'supplier': 'Still House', "
                   "'received': '2026-01-03', 'mass_g': 10000, 'cost_minor': 12345, 'currency': "
                   "'GBP'}");
    return play;
}

static void
ride(struct play *play, const char *run, const char *tub)
{
    play_say(play,
             "{'kind': 'handover', 'at': '2026-03-02T07:00:00Z', 'site': 'quayside', 'run': "
             "'%s', 'tubs': ['%s']}",
             run, tub);
    play_say(play,
             "{'kind': 'receive', 'at': '2026-03-02T08:00:00Z', 'run': '%s', 'tubs': "
             "[{'tub': '%s'}]}",
             run, tub);
}

static void
two_tubs(struct play *play)
{
    town_tub(play, "quayside", "T1", 3000, "2026-03-02T06:00:00Z");
    town_tub(play, "quayside", "T2", 2000, "2026-03-02T06:00:00Z");
    ride(play, "R1", "T1");
    ride(play, "R1", "T2");
}

/* B1 of T1 and `inputs`, strained. */
static void
batch(struct play *play, const char *inputs)
{
    play_say(play,
             "{'kind': 'mix', 'at': '2026-03-02T09:00:00Z', 'batch': 'B1', 'recipe': 'l1', "
             "'inputs': [{'tub': 'T1', 'mass_g': 3000}%s], 'vessel': 'V1', 'started': "
             "'2026-03-02T09:00:00Z'}",
             inputs);
    town_strain(play, "B1", 8700, 8100, 3150, 150, "2026-03-02T12:00:00Z");
}

static void
bottle(struct play *play, const char *lot, int ml, int count)
{
    play_say(play,
             "{'kind': 'bottle', 'at': '2026-03-03T09:00:00Z', 'batch': 'B1', 'lot': '%s', "
             "'bottle_ml': %d, 'count': %d}",
             lot, ml, count);
}

static const char usual[] = ", {'lot': 'SUGAR', 'mass_g': 3000}, {'lot': 'S2', 'mass_g': 6001}";

/* Sugar 3000 x 2750 / 25000 = 330; spirit 6001 x 12345 / 10000 = 7408.2345; labour 1.5 x 1200;
 * collection 3000 x 1500 / 5000 + 3 x 20. */
Test(costs, K1_K2_K3_a_batch_costs_its_lots_its_work_and_its_share_of_the_run)
{
    struct play *play = priced_town();
    two_tubs(play);
    batch(play, usual);
    HOLDS(play, "2026-03", {"costs.B1.currency", "GBP"}, {"costs.B1.ingredients_minor", "7738"},
          {"costs.B1.labour_minor", "1800"}, {"costs.B1.collection_minor", "960"},
          {"costs.B1.cost_minor", "10498"}, {"costs.B1.known_minor", "10498"},
          {"costs_missing.0", "-"});
}

/* 10498.2345 over 10 x 500 + 4 x 250 = 6000 mL: 874.85 and 437.43; all ten 8748.53, bought in
 * 14000. */
Test(costs, K4_bottles_share_the_cost_by_volume_beside_what_they_cost_bought_in)
{
    struct play *play = priced_town();
    two_tubs(play);
    batch(play, usual);
    bottle(play, "L1", 500, 6);
    bottle(play, "L2", 500, 4);
    bottle(play, "L3", 250, 4);
    HOLDS(play, "2026-03", {"bottle_costs.0.bottle_ml", "250"}, {"bottle_costs.0.bottles", "4"},
          {"bottle_costs.0.cost_minor", "437"}, {"bottle_costs.0.buy_in_minor", "null"},
          {"bottle_costs.0.saved_minor", "null"}, {"bottle_costs.1.bottles", "10"},
          {"bottle_costs.1.cost_minor", "875"}, {"bottle_costs.1.buy_in_minor", "1400"},
          {"bottle_costs.1.saved_minor", "5251"}, {"bottle_costs.1.product", "liqueur"},
          {"costs_missing.0.what", "buy-in"}, {"costs_missing.0.of", "liqueur 250 mL"},
          {"costs_missing.1", "-"});
}

/* 1000 g for 99 and 3000 g for 301: 400 for 4 kg. */
Test(costs, K1_deliveries_under_one_lot_have_one_price)
{
    struct play *play = priced_town();
    two_tubs(play);
    play_say(play, "{'kind': 'supply', 'at': '2026-01-04T00:00:00Z', 'lot': 'M', 'item': 'sugar', "
                   "'supplier': 'Cane', 'received': '2026-01-04', 'mass_g': 1000, 'cost_minor': "
                   "99, 'currency': 'GBP'}");
    play_say(play,
             "{'kind': 'supply', 'lot': 'M', 'item': 'sugar', 'supplier': 'Cane', "
             "'received': '2026-01-05', 'mass_g': 3000, 'cost_minor': 301, 'currency': 'GBP'}");
    batch(play, ", {'lot': 'M', 'mass_g': 2000}");
    HOLDS(play, "2026-03", {"costs.B1.ingredients_minor", "200"});
}

/* 700 mL of 40 % vol are 663.6 g for 14.00; 6636 g are ten packs. */
Test(costs, K1_a_pack_by_volume_is_priced_by_its_mass)
{
    struct play *play = priced_town();
    two_tubs(play);
    play_say(play, "{'kind': 'item', 'code': 'spirit40', 'name': 'Spirit', 'class': 'spirit', "
                   "'abv_pct': '40', 'pack_ml': 700, 'pack_minor': 1400, 'currency': 'GBP', "
                   "'from': '2026-01-01'}");
    batch(play, ", {'lot': 'SPIRIT', 'mass_g': 6636}");
    HOLDS(play, "2026-03", {"costs.B1.ingredients_minor", "14000"}, {"costs_missing.0", "-"});
}

Test(costs, K1_a_price_of_nothing_is_a_price_and_water_needs_none)
{
    struct play *play = priced_town();
    two_tubs(play);
    play_say(play, "{'kind': 'supply', 'at': '2026-01-04T00:00:00Z', 'lot': 'FREE', 'item': "
                   "'sugar', 'supplier': 'Cane', 'received': '2026-01-04', 'mass_g': 5000, "
                   "'cost_minor': 0, 'currency': 'GBP'}");
    play_say(play, "{'kind': 'supply', 'lot': 'TAP', 'item': 'water', 'supplier': 'Tap', "
                   "'received': '2026-01-04', 'mass_g': 5000}");
    batch(play, ", {'lot': 'FREE', 'mass_g': 3000}, {'lot': 'TAP', 'mass_g': 3000}");
    HOLDS(play, "2026-03", {"costs.B1.ingredients_minor", "0"}, {"costs.B1.cost_minor", "2760"},
          {"costs_missing.0", "-"});
}

/* The town has no prices at all; run R is in no catalogue. */
Test(costs, K5_what_is_not_known_is_named_and_never_0)
{
    struct play *play = town_new();
    town_batch(play, "B1", 3, "2026-03-02");
    town_bottle(play, "B1", "L1", 5, "", "2026-03-03T10:00:00Z");
    HOLDS(play, "2026-03", {"costs.B1.ingredients_minor", "null"},
          {"costs.B1.labour_minor", "null"}, {"costs.B1.collection_minor", "null"},
          {"costs.B1.cost_minor", "null"}, {"costs.B1.known_minor", "0"},
          {"bottle_costs.B1.cost_minor", "null"}, {"costs_missing.0.what", "buy-in"},
          {"costs_missing.0.of", "liqueur 500 mL"}, {"costs_missing.1.what", "price"},
          {"costs_missing.1.of", "spirit40"}, {"costs_missing.1.mass_g", "6000"},
          {"costs_missing.2.of", "sugar"}, {"costs_missing.2.mass_g", "3000"},
          {"costs_missing.3.what", "run"}, {"costs_missing.3.of", "R"},
          {"costs_missing.3.mass_g", "3000"}, {"costs_missing.4.what", "time"},
          {"costs_missing.4.of", "l1"}, {"costs_missing.5.what", "wage"},
          {"costs_missing.5.of", "kitchen"}, {"costs_missing.6", "-"});
}

/* Sugar 330, labour 1800 and collection 960 are known. */
Test(costs, K5_what_is_known_of_a_cost_is_told_apart)
{
    struct play *play = priced_town();
    two_tubs(play);
    batch(play, ", {'lot': 'SUGAR', 'mass_g': 3000}, {'lot': 'SPIRIT', 'mass_g': 100}, {'lot': "
                "'NOBODY', 'mass_g': 7}");
    HOLDS(play, "2026-03", {"costs.B1.ingredients_minor", "null"}, {"costs.B1.known_minor", "3090"},
          {"costs_missing.0.what", "lot"}, {"costs_missing.0.of", "NOBODY"},
          {"costs_missing.0.mass_g", "7"}, {"costs_missing.1.what", "price"},
          {"costs_missing.1.of", "spirit40"});
}

/* 6 kg at 20.00 EUR for 10 kg. */
Test(costs, K5_currencies_are_never_added)
{
    struct play *play = priced_town();
    two_tubs(play);
    play_say(play, "{'kind': 'supply', 'at': '2026-01-04T00:00:00Z', 'lot': 'E', 'item': "
                   "'spirit40', 'supplier': 'Still', 'received': '2026-01-04', 'mass_g': 10000, "
                   "'cost_minor': 2000, 'currency': 'EUR'}");
    batch(play, ", {'lot': 'SUGAR', 'mass_g': 3000}, {'lot': 'E', 'mass_g': 6000}");
    bottle(play, "L1", 500, 10);
    HOLDS(play, "2026-03", {"costs.0.currency", "GBP"}, {"costs.0.ingredients_minor", "330"},
          {"costs.0.cost_minor", "3090"}, {"costs.1.currency", "EUR"},
          {"costs.1.ingredients_minor", "1200"}, {"costs.1.labour_minor", "-"},
          {"costs.1.cost_minor", "1200"}, {"bottle_costs.0.cost_minor", "null"},
          {"costs_missing.0.what", "rate"}, {"costs_missing.0.of", "EUR"});
}

Test(costs, K3_grounds_of_the_kitchen_needed_no_ride_others_without_a_run_are_named)
{
    struct play *play = priced_town();
    town_tub(play, "kitchen", "T1", 3000, "2026-03-02T06:00:00Z");
    batch(play, ", {'lot': 'SUGAR', 'mass_g': 3000}");
    play_put(play, 0);
    json_t *report = month_json(play, "2026-03");
    cr_expect(eq(int, strcmp(month_word(report, "costs.B1.collection_minor"), "0"), 0));
    cr_expect(eq(int, strcmp(month_word(report, "costs.B1.cost_minor"), "2130"), 0));
    json_decref(report);
    play_free(play);
    play = priced_town();
    town_tub(play, "quayside", "T1", 3000, "2026-03-02T06:00:00Z");
    play_say(play, "{'kind': 'receive', 'at': '2026-03-02T08:00:00Z', 'tubs': [{'tub': 'T1'}]}");
    batch(play, ", {'lot': 'SUGAR', 'mass_g': 3000}");
    HOLDS(play, "2026-03", {"costs.B1.collection_minor", "null"}, {"costs.B1.known_minor", "2130"},
          {"costs_missing.0.what", "ride"}, {"costs_missing.0.mass_g", "3000"});
}

/* What came back was paid for with the batch that it was made in. */
Test(costs, K5_bottles_taken_back_are_named)
{
    struct play *play = priced_town();
    two_tubs(play);
    play_say(play, "{'kind': 'bottle', 'at': '2026-03-01T09:00:00Z', 'batch': 'B0', 'lot': 'L0', "
                   "'bottle_ml': 500, 'count': 10}");
    batch(play, ", {'lot': 'L0', 'mass_g': 540}");
    HOLDS(play, "2026-03", {"costs.B1.ingredients_minor", "null"},
          {"costs_missing.0.what", "bottles"}, {"costs_missing.0.of", "B0"});
}

/* The work by seconds: 600 s and 120 s a kg of 3 kg: 960 s at 12.00 an hour are 320. */
Test(costs, K2_work_by_the_kilo_counts_the_grounds)
{
    struct play *play = priced_town();
    two_tubs(play);
    play_say(play, "{'kind': 'recipe', 'at': '2026-01-05T00:00:00Z', 'code': 'l1', 'product': "
                   "'liqueur', 'parts': [{'input': 'grounds', 'parts': '1'}], 'mix_s_per_batch': "
                   "400, 'bottle_s_per_batch': 200, 'mix_s_per_kg': 70, 'bottle_s_per_kg': 50, "
                   "'from': '2026-02-01'}");
    batch(play, usual);
    HOLDS(play, "2026-03", {"costs.B1.labour_minor", "320"});
}

Test(costs, they_are_the_same_in_any_order_of_arrival)
{
    static const struct want wants[] = {{"costs.B1.cost_minor", "10498"},
                                        {"bottle_costs.B1.cost_minor", "875"}};
    for (uint64_t seed = 1; seed <= 5; seed++) {
        struct play *play = priced_town();
        two_tubs(play);
        batch(play, usual);
        bottle(play, "L1", 500, 12);
        cr_expect(town_holds(play, seed, "2026-03", wants, 2), "seed %d", (int)seed);
        play_free(play);
    }
}

/* R6: a month keeps the tables that it was closed with. */
Test(costs, R6_a_month_that_was_closed_without_costs_stays_without)
{
    static const char *const closes[] = {"", ", 'tables': 1", ", 'tables': 2"};
    for (size_t i = 0; i < 3; i++) {
        struct play *play = priced_town();
        two_tubs(play);
        batch(play, usual);
        play_say(play,
                 "{'kind': 'period-close', 'at': '2026-04-02T09:00:00Z', 'month': '2026-03', "
                 "'edition': 'UK-2024'%s}",
                 closes[i]);
        play_put(play, 0);
        json_t *report = month_json(play, "2026-03");
        const char *cost = month_word(report, "costs.B1.cost_minor");
        cr_expect(eq(int, strcmp(cost, i == 2 ? "10498" : "-"), 0), "%s: %s", closes[i], cost);
        cr_expect(eq(int, month_at(report, "costs_missing") != NULL, i == 2));
        json_decref(report);
        play_free(play);
    }
}
