/* Bottles and their value, held lots: rules P1 to P3, Q1 and the discrepancies of lots. All numbers
 * worked by hand from the rules. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include "tests/report/town.h"

/* 20 bottles of L1 at the kitchen, released. */
static struct play *
with_bottles(void)
{
    struct play *play = town_new();
    town_batch(play, "B1", 4, "2026-03-02");
    town_bottle(play, "B1", "L1", 20, "release", "2026-03-03T10:00:00Z");
    return play;
}

static void
send(struct play *play, const char *site, int sent, int count, int broken, const char *day)
{
    play_say(play,
             "{'kind': 'dispatch', 'at': '%sT11:00:00Z', 'lot': 'L1', 'to_site': '%s', 'count': "
             "%d}",
             day, site, sent);
    play_say(play,
             "{'kind': 'accept', 'at': '%sT15:00:00Z', 'site': '%s', 'lot': 'L1', 'count': %d, "
             "'broken': %d}",
             day, site, count, broken);
}

static void
sell(struct play *play, const char *site, int count, int minor, const char *currency,
     const char *at)
{
    play_say(play,
             "{'kind': 'sale', 'at': '%s', 'site': '%s', 'lot': 'L1', 'count': %d, 'unit_minor': "
             "%d, 'currency': '%s'}",
             at, site, count, minor, currency);
}

Test(value, P1_made_stands_on_the_row_of_the_hub_s_currency)
{
    struct play *play = with_bottles();
    send(play, "foundry", 6, 6, 1, "2026-03-05");
    HOLDS(play, "2026-03", {"product.0.currency", "EUR"}, {"product.0.bottles", "0"},
          {"product.0.made_ml", "0"}, {"product.1.currency", "GBP"}, {"product.1.bottles", "20"},
          {"product.1.made_ml", "10000"}, {"product.1.made_g", "10800"});
}

Test(value, P2_list_delivered_sold_and_lost_are_four_lines)
{
    struct play *play = with_bottles();
    send(play, "foundry", 6, 6, 1, "2026-03-05");
    send(play, "quayside", 4, 4, 0, "2026-03-06");
    sell(play, "foundry", 2, 2600, "EUR", "2026-03-07T12:00:00Z");
    sell(play, "foundry", 1, 2500, "GBP", "2026-03-07T13:00:00Z");
    /* list 20 x 18.00; delivered 5 x 10.50 EUR, 4 x 9.00 GBP; lost 1 x 21.00 EUR */
    HOLDS(play, "2026-03", {"product.0.delivered_minor", "5250"}, {"product.0.sold_minor", "5200"},
          {"product.0.lost_minor", "2100"}, {"product.0.at_list_minor", "0"},
          {"product.1.at_list_minor", "36000"}, {"product.1.delivered_minor", "3600"},
          {"product.1.sold_minor", "2500"}, {"product.1.lost_minor", "0"});
}

Test(value, P2_the_price_is_that_of_the_record_s_day)
{
    struct play *play = with_bottles();
    play_say(play, "{'kind': 'price', 'product': 'liqueur', 'bottle_ml': 500, 'currency': 'GBP', "
                   "'list_minor': 2000, 'transfer_minor': 1000, 'from': '2026-03-06'}");
    send(play, "quayside", 2, 2, 0, "2026-03-05");
    send(play, "quayside", 3, 3, 1, "2026-03-06");
    HOLDS(play, "2026-03", {"product.0.delivered_minor", "3800"}, {"product.0.lost_minor", "2000"},
          {"product.0.at_list_minor", "36000"});
}

Test(value, P2_without_a_price_the_figure_is_null_and_a_caution)
{
    struct play *play = town_new();
    town_batch(play, "B1", 1, "2026-03-02");
    play_say(play, "{'kind': 'bottle', 'at': '2026-03-03T10:00:00Z', 'batch': 'B1', 'lot': 'L2', "
                   "'bottle_ml': 200, 'count': 3, 'product_g': 600}");
    HOLDS(play, "2026-03", {"product.liqueur.at_list_minor", "null"},
          {"product.liqueur.bottles", "3"}, {"product.liqueur.lost_minor", "0"},
          {"cautions.0", "liqueur: no price in GBP, so no figure list"});
}

Test(value, P2_a_return_to_the_kitchen_is_not_negative_delivery)
{
    struct play *play = with_bottles();
    send(play, "quayside", 4, 4, 0, "2026-03-05");
    play_say(play, "{'kind': 'dispatch', 'at': '2026-03-06T11:00:00Z', 'site': 'quayside', "
                   "'lot': 'L1', 'to_site': 'kitchen', 'count': 3}");
    play_say(play, "{'kind': 'accept', 'at': '2026-03-06T15:00:00Z', 'lot': 'L1', 'from_site': "
                   "'quayside', 'count': 3, 'broken': 1}");
    HOLDS(play, "2026-03", {"product.0.delivered_minor", "3600"}, {"product.0.lost_minor", "1800"});
}

Test(value, P2_counts_and_destroy_are_not_lost)
{
    struct play *play = with_bottles();
    play_say(play, "{'kind': 'stocktake', 'at': '2026-03-04T10:00:00Z', 'place': 'kf', "
                   "'bottles': [{'lot': 'L1', 'count': 15}]}");
    play_say(play, "{'kind': 'release', 'at': '2026-03-05T10:00:00Z', 'lot': 'L1', 'decision': "
                   "'destroy', 'reason': 'cloudy'}");
    HOLDS(play, "2026-03", {"product.0.lost_minor", "0"}, {"safety.held_lots.0", "-"},
          {"quality.discrepancies.bottles-differ.subject", "L1"});
}

Test(value, P3_a_sale_by_product_is_value_and_moves_no_lot)
{
    struct play *play = with_bottles();
    play_say(play, "{'kind': 'sale', 'at': '2026-03-07T12:00:00Z', 'site': 'quayside', "
                   "'product': 'syrup', 'bottle_ml': 500, 'count': 3, 'unit_minor': 750, "
                   "'currency': 'GBP'}");
    HOLDS(play, "2026-03", {"product.syrup.sold_minor", "2250"}, {"product.syrup.bottles", "0"},
          {"quality.discrepancies.0", "-"});
}

Test(value, T6_a_sale_dated_before_its_lot_keeps_its_month)
{
    struct play *play = town_new();
    town_batch(play, "B1", 4, "2026-04-01");
    town_bottle(play, "B1", "L1", 20, "release", "2026-04-02T10:00:00Z");
    sell(play, "kitchen", 2, 1800, "GBP", "2026-03-31T12:00:00Z");
    static const struct want april[] = {{"product.liqueur.sold_minor", "0"},
                                        {"product.liqueur.bottles", "20"}};
    cr_expect(town_holds(play, 0, "2026-04", april, 2));
    HOLDS(play, "2026-03", {"product.liqueur.sold_minor", "3600"},
          {"quality.discrepancies.before-it-existed.subject", "L1"});
}

Test(value, Q1_lots_are_held_by_the_end_of_the_month)
{
    struct play *play = town_new();
    town_batch(play, "B1", 4, "2026-03-02");
    town_bottle(play, "B1", "L1", 5, "", "2026-03-03T10:00:00Z");
    town_bottle(play, "B1", "L2", 5, "hold", "2026-03-03T11:00:00Z");
    town_bottle(play, "B1", "L3", 5, "release", "2026-03-03T12:00:00Z");
    town_bottle(play, "B1", "L4", 5, "destroy", "2026-03-03T13:00:00Z");
    play_say(play, "{'kind': 'release', 'at': '2026-04-01T10:00:00Z', 'lot': 'L1', 'decision': "
                   "'release', 'licence': 'X'}");
    play_say(play, "{'kind': 'recall', 'at': '2026-04-02T10:00:00Z', 'code': 'R1', 'of': 'tub', "
                   "'of_code': 'T-B1', 'reason': 'glass'}");
    play_say(play, "{'kind': 'recall', 'at': '2026-05-02T10:00:00Z', 'code': 'R1', 'of': 'tub', "
                   "'of_code': 'T-B1', 'reason': 'it was not', 'lifted': true}");
    static const struct want march[] = {{"safety.held_lots.0.lot", "L1"},
                                        {"safety.held_lots.0.why", "none"},
                                        {"safety.held_lots.1.lot", "L2"},
                                        {"safety.held_lots.1.why", "hold"},
                                        {"safety.held_lots.2", "-"}};
    static const struct want april[] = {{"safety.held_lots.L1.why", "recall"},
                                        {"safety.held_lots.L2.why", "recall"},
                                        {"safety.held_lots.L3.why", "recall"},
                                        {"safety.held_lots.L4", "-"}};
    cr_expect(town_holds(play, 3, "2026-03", march, 5));
    cr_expect(town_holds(play, 0, "2026-04", april, 4));
    HOLDS(play, "2026-05", {"safety.held_lots.0.lot", "L2"}, {"safety.held_lots.0.why", "hold"},
          {"safety.held_lots.1", "-"});
}

/* What each line raises; `play` has 20 bottles of L1 released, 4 of them at quayside. */
static const struct {
    const char *code, *subject, *line;
} raises[] = {
    {"sold-more", "L1",
     "{'kind': 'sale', 'at': '2026-03-07T12:00:00Z', 'site': 'quayside', 'lot': 'L1', 'count': "
     "5, 'unit_minor': 1, 'currency': 'GBP'}"},
    {"dispatched-more", "L1",
     "{'kind': 'dispatch', 'at': '2026-03-07T12:00:00Z', 'lot': 'L1', 'to_site': 'foundry', "
     "'count': 17}"},
    {"accepted-differs", "L1",
     "{'kind': 'accept', 'at': '2026-03-07T12:00:00Z', 'site': 'quayside', 'lot': 'L1', 'count': "
     "1}"},
    {"bottles-differ", "L1",
     "{'kind': 'stocktake', 'at': '2026-03-07T12:00:00Z', 'site': 'quayside', 'place': 'qf', "
     "'bottles': []}"},
    {"unknown-lot", "L9",
     "{'kind': 'sale', 'at': '2026-03-07T12:00:00Z', 'site': 'quayside', 'lot': 'L9', 'count': "
     "1, 'unit_minor': 1, 'currency': 'GBP'}"},
    {"unknown-lot", "L9",
     "{'kind': 'stocktake', 'at': '2026-03-07T12:00:00Z', 'site': 'quayside', 'place': 'qf', "
     "'bottles': [{'lot': 'L1', 'count': 4}, {'lot': 'L9', 'count': 1}]}"},
    {"unknown-lot", "SUGAR",
     "{'kind': 'dispatch', 'at': '2026-03-07T12:00:00Z', 'lot': 'SUGAR', 'to_site': 'foundry', "
     "'count': 1}"},
    {"unknown-lot", "L9",
     "{'kind': 'mix', 'at': '2026-03-07T12:00:00Z', 'batch': 'B2', 'recipe': 'l1', 'inputs': "
     "[{'lot': 'L9', 'mass_g': 10}], 'vessel': 'V', 'started': '2026-03-07T12:00:00Z'}"},
    {"unknown-recipe", "x1",
     "{'kind': 'mix', 'at': '2026-03-07T12:00:00Z', 'batch': 'B2', 'recipe': 'x1', 'inputs': "
     "[{'lot': 'SUGAR', 'mass_g': 10}], 'vessel': 'V', 'started': '2026-03-07T12:00:00Z'}"},
    {"unknown-batch", "B9",
     "{'kind': 'measure', 'at': '2026-03-07T12:00:00Z', 'batch': 'B9', 'what': 'abv', 'value': "
     "'20', 'unit': '% vol', 'method': 'still'}"},
    {"unknown-batch", "B9",
     "{'kind': 'residue', 'at': '2026-03-07T12:00:00Z', 'batch': 'B9', 'mass_g': 10, 'stream': "
     "'bin'}"},
    {"no-licence", "L1",
     "{'kind': 'release', 'at': '2026-03-07T12:00:00Z', 'lot': 'L1', 'decision': 'release'}"},
    {"before-it-existed", "L1",
     "{'kind': 'discard', 'at': '2026-03-01T12:00:00Z', 'what': 'lot', 'code': 'L1', 'count': 1, "
     "'reason': 'x', 'stream': 'bin'}"},
    {"batch-gap", "B3", /* 4000 g in, 3919 g out: 81 g are over 2 % */
     "{'kind': 'strain', 'at': '2026-03-07T12:00:00Z', 'batch': 'B3', 'station': 'F1', 'event': "
     "'end', 'product_g': 2900, 'residue_g': 1019}"},
};

Test(value, each_line_raises_its_discrepancy)
{
    for (size_t i = 0; i < sizeof raises / sizeof raises[0]; i++) {
        struct play *play = with_bottles();
        send(play, "quayside", 4, 4, 0, "2026-03-05");
        town_tub(play, "quayside", "T-B3", 1000, "2026-03-05T17:00:00Z");
        town_move(play, "quayside", "T-B3", "2026-03-05T18:00:00Z");
        town_mix(play, "B3", "T-B3", 1000, "2026-03-06T09:00:00Z");
        cr_expect(not(town_flags(play, "2026-03", raises[i].code, raises[i].subject)), "%s before",
                  raises[i].code);
        play_say(play, "%s", raises[i].line);
        cr_expect(town_flags(play, "2026-03", raises[i].code, raises[i].subject), "%s",
                  raises[i].code);
        play_free(play);
    }
}

Test(value, a_gap_of_exactly_the_limit_is_none)
{
    struct play *play = town_new();
    town_tub(play, "quayside", "T1", 1000, "2026-03-05T17:00:00Z");
    town_move(play, "quayside", "T1", "2026-03-05T18:00:00Z");
    town_mix(play, "B3", "T1", 1000, "2026-03-06T09:00:00Z");
    town_strain(play, "B3", 2900, 2700, 1020, 0, "2026-03-07T12:00:00Z"); /* 80 of 4000 g */
    cr_expect(not(town_flags(play, "2026-03", "batch-gap", "B3")));
    play_free(play);
}

Test(value, lots_are_sent_only_when_released_and_not_recalled)
{
    struct play *play = town_new();
    town_batch(play, "B1", 4, "2026-03-02");
    town_bottle(play, "B1", "L1", 20, "hold", "2026-03-03T10:00:00Z");
    play_say(play, "{'kind': 'recall', 'at': '2026-03-05T10:00:00Z', 'code': 'R1', 'of': "
                   "'supply', 'of_code': 'SUGAR', 'reason': 'glass'}");
    send(play, "quayside", 4, 4, 0, "2026-03-04");
    cr_expect(town_flags(play, "2026-03", "dispatched-unreleased", "L1"));
    cr_expect(not(town_flags(play, "2026-03", "dispatched-recalled", "L1")));
    send(play, "quayside", 2, 2, 0, "2026-03-06");
    cr_expect(town_flags(play, "2026-03", "dispatched-recalled", "L1"));
    sell(play, "quayside", 1, 1800, "GBP", "2026-03-04T18:00:00Z");
    cr_expect(not(town_flags(play, "2026-03", "sold-recalled", "L1")));
    sell(play, "quayside", 1, 1800, "GBP", "2026-03-06T18:00:00Z");
    cr_expect(town_flags(play, "2026-03", "sold-recalled", "L1"));
    play_free(play);
}
