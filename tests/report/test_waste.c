/* Waste and residue by the rules W1 to W12; all numbers worked by hand from the rules. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include "tests/report/town.h"

Test(waste, W1_waste_begins_at_close_discard_and_strain)
{
    struct play *play = town_new();
    play_say(play, "{'kind': 'close', 'at': '2026-03-02T22:00:00Z', 'site': 'quayside', 'day': "
                   "'2026-03-02', 'uncaptured_g': 700, 'uncaptured_method': 'estimated', "
                   "'stream': 'bin'}");
    town_tub(play, "quayside", "T1", 2000, "2026-03-03T12:00:00Z");
    play_say(play, "{'kind': 'discard', 'at': '2026-03-03T13:00:00Z', 'site': 'quayside', "
                   "'what': 'tub', 'code': 'T1', 'count': 1, 'reason': 'warm', 'stream': 'bin'}");
    town_batch(play, "B1", 1, "2026-03-04");
    /* 0.700 uncaptured + 2.000 tub + 1.050 residue; the loss of 50 g and the gap of 0 are none */
    HOLDS(play, "2026-03", {"waste.generated_kg", "3.750"}, {"waste.disposed_kg", "2.700"},
          {"waste.waiting_kg", "1.050"}, {"waste.diverted_pct", "0.0000"},
          {"residue.made_kg", "1.050"}, {"residue.waiting_kg", "1.050"});
}

Test(waste, W1_strain_figures_are_increments)
{
    struct play *play = town_new();
    town_tub(play, "quayside", "T1", 1000, "2026-03-03T12:00:00Z");
    town_move(play, "quayside", "T1", "2026-03-03T13:00:00Z");
    town_mix(play, "B1", "T1", 1000, "2026-03-04T09:00:00Z");
    play_say(play, "{'kind': 'strain', 'at': '2026-03-04T10:00:00Z', 'batch': 'B1', 'station': "
                   "'F1', 'event': 'paper-change', 'residue_g': 400, 'product_g': 1000}");
    town_strain(play, "B1", 1900, 2700, 650, 50, "2026-03-04T11:00:00Z");
    HOLDS(play, "2026-03", {"residue.made_kg", "1.050"}, {"batches.B1.product_g", "2900"},
          {"batches.B1.residue_g", "1050"}, {"batches.B1.gap_g", "0"});
}

Test(waste, W2_residue_without_a_batch_takes_the_oldest)
{
    struct play *play = town_new();
    town_batch(play, "B1", 1, "2026-03-02");
    town_batch(play, "B2", 1, "2026-03-03");
    /* takes B1's 1050 g and 200 g of B2; then B2 has 850 left: 150 g are over the books */
    play_say(play, "{'kind': 'residue', 'at': '2026-03-04T10:00:00Z', 'mass_g': 1250, 'stream': "
                   "'food'}");
    play_say(play, "{'kind': 'residue', 'at': '2026-03-04T11:00:00Z', 'batch': 'B2', 'mass_g': "
                   "1000, 'stream': 'farm'}");
    HOLDS(play, "2026-03", {"waste.gap_kg", "0.150"}, {"waste.diverted_kg", "1.000"},
          {"waste.waiting_kg", "1.250"}, {"residue.waiting_kg", "1.250"},
          {"quality.discrepancies.residue-more-than-made.subject", "B2"});
}

/* W6's check: 0.650 generated = 0.650 diverted. What people eat after all never was waste. */
Test(waste, W6_what_ends_in_a_product_was_not_generated)
{
    struct play *play = town_new();
    town_batch(play, "B1", 1, "2026-03-02");
    play_say(play, "{'kind': 'residue', 'at': '2026-03-03T10:00:00Z', 'batch': 'B1', 'mass_g': "
                   "1050, 'stream': 'food'}");
    play_say(play, "{'kind': 'collection', 'at': '2026-03-04T08:00:00Z', 'stream': 'food', "
                   "'mass_g': 400, 'destination': 'product'}");
    play_say(play, "{'kind': 'collection', 'at': '2026-03-05T08:00:00Z', 'stream': 'food', "
                   "'mass_g': 650, 'destination': 'composting'}");
    HOLDS(play, "2026-03", {"waste.generated_kg", "0.650"}, {"waste.diverted_kg", "0.650"},
          {"waste.disposed_kg", "0.000"}, {"waste.waiting_kg", "0.000"},
          {"waste.by_destination.product.kg", "0.400"}, {"residue.made_kg", "1.050"});
}

Test(waste, W2_on_collection_waits_for_its_site_and_stream)
{
    struct play *play = town_new();
    play_say(play, "{'kind': 'close', 'at': '2026-03-02T22:00:00Z', 'site': 'quayside', 'day': "
                   "'2026-03-02', 'uncaptured_g': 500, 'uncaptured_method': 'weighed', 'stream': "
                   "'food'}");
    play_say(play, "{'kind': 'close', 'at': '2026-03-02T22:00:00Z', 'site': 'foundry', 'day': "
                   "'2026-03-02', 'uncaptured_g': 300, 'uncaptured_method': 'weighed', 'stream': "
                   "'food'}");
    play_say(play, "{'kind': 'collection', 'at': '2026-03-05T08:00:00Z', 'site': 'foundry', "
                   "'stream': 'food', 'mass_g': 300, 'destination': 'anaerobic_digestion'}");
    HOLDS(play, "2026-03", {"waste.waiting_kg", "0.500"}, {"waste.gap_kg", "0.000"},
          {"waste.by_destination.anaerobic_digestion.kg", "0.300"});
}

Test(waste, W2_residue_of_a_batch_that_another_site_strained)
{
    struct play *play = town_new();
    town_batch(play, "B1", 1, "2026-03-02");
    /* at the café: 600 g of the kitchen's batch, then 500 g with 450 g left at the batch */
    play_say(play, "{'kind': 'residue', 'at': '2026-03-03T10:00:00Z', 'site': 'quayside', "
                   "'batch': 'B1', 'mass_g': 600, 'stream': 'food'}");
    play_say(play, "{'kind': 'residue', 'at': '2026-03-03T11:00:00Z', 'batch': 'B1', 'mass_g': "
                   "500, 'stream': 'yard'}");
    play_say(play, "{'kind': 'collection', 'at': '2026-03-05T08:00:00Z', 'site': 'quayside', "
                   "'stream': 'food', 'mass_g': 200, 'destination': 'composting'}");
    HOLDS(play, "2026-03", {"waste.gap_kg", "0.050"}, {"waste.onsite_kg", "0.500"},
          {"waste.waiting_kg", "0.400"}, {"residue.waiting_kg", "0.400"},
          {"waste.by_destination.composting.kg", "0.700"});
}

Test(waste, W2_an_unnamed_residue_of_another_site_takes_nothing_here)
{
    struct play *play = town_new();
    town_batch(play, "B1", 1, "2026-03-02");
    play_say(play, "{'kind': 'residue', 'at': '2026-03-03T10:00:00Z', 'site': 'quayside', "
                   "'mass_g': 100, 'stream': 'food'}");
    HOLDS(play, "2026-03", {"waste.gap_kg", "0.100"}, {"residue.waiting_kg", "1.050"},
          {"waste.waiting_kg", "1.150"},
          {"quality.discrepancies.residue-more-than-made.subject", "food"});
}

Test(waste, W3_more_collected_than_booked_is_a_gap)
{
    struct play *play = town_new();
    play_say(play, "{'kind': 'close', 'at': '2026-03-02T22:00:00Z', 'site': 'quayside', 'day': "
                   "'2026-03-02', 'uncaptured_g': 500, 'uncaptured_method': 'weighed', 'stream': "
                   "'food'}");
    play_say(play, "{'kind': 'collection', 'at': '2026-03-05T08:00:00Z', 'site': 'quayside', "
                   "'stream': 'food', 'mass_g': 620, 'destination': 'composting'}");
    HOLDS(play, "2026-03", {"waste.gap_kg", "0.120"}, {"waste.diverted_kg", "0.620"},
          {"waste.generated_kg", "0.500"}, {"waste.waiting_kg", "0.000"},
          {"quality.discrepancies.collected-more.subject", "food"});
}

/* A mixed container: 500 g of uncaptured grounds, then 1050 g of residue. The first collection takes
 * the 500 and 100 of the residue; the second finds it empty after 300 more: 650 g were never there,
 * so they wait no longer, and no residue is left. */
Test(waste, W2_W3_W8_a_mixed_container_is_emptied)
{
    struct play *play = town_new();
    play_say(play, "{'kind': 'close', 'at': '2026-03-02T05:00:00Z', 'site': 'kitchen', 'day': "
                   "'2026-03-01', 'uncaptured_g': 500, 'uncaptured_method': 'weighed', 'stream': "
                   "'food'}");
    town_batch(play, "B1", 1, "2026-03-02");
    play_say(play, "{'kind': 'residue', 'at': '2026-03-03T10:00:00Z', 'batch': 'B1', 'mass_g': "
                   "1050, 'stream': 'food'}");
    play_say(play, "{'kind': 'collection', 'at': '2026-03-31T08:00:00Z', 'stream': 'food', "
                   "'mass_g': 600, 'destination': 'composting'}");
    play_say(play, "{'kind': 'collection', 'at': '2026-04-01T08:00:00Z', 'stream': 'food', "
                   "'mass_g': 300, 'destination': 'composting', 'emptied': true}");
    static const struct want march[] = {{"waste.diverted_kg", "0.600"},
                                        {"waste.waiting_kg", "0.950"},
                                        {"waste.gap_kg", "0.000"},
                                        {"residue.waiting_kg", "0.950"}};
    cr_expect(town_holds(play, 0, "2026-03", march, 4));
    HOLDS(play, "2026-04", {"waste.waiting_opening_kg", "0.950"}, {"waste.diverted_kg", "0.300"},
          {"waste.gap_kg", "-0.650"}, {"waste.waiting_kg", "0.000"},
          {"waste.generated_kg", "0.000"}, {"residue.waiting_kg", "0.000"});
}

Test(waste, W3_an_emptied_container_ends_what_the_books_had)
{
    struct play *play = town_new();
    town_batch(play, "B1", 1, "2026-03-02");
    play_say(play, "{'kind': 'residue', 'at': '2026-03-03T10:00:00Z', 'batch': 'B1', 'mass_g': "
                   "1050, 'stream': 'food'}");
    play_say(play, "{'kind': 'collection', 'at': '2026-03-05T08:00:00Z', 'stream': 'food', "
                   "'mass_g': 1000, 'destination': 'composting', 'emptied': true}");
    HOLDS(play, "2026-03", {"waste.gap_kg", "-0.050"}, {"waste.diverted_kg", "1.000"},
          {"waste.waiting_kg", "0.000"}, {"residue.waiting_kg", "0.000"});
}

Test(waste, W4_the_month_is_that_of_the_record_that_settled_it)
{
    struct play *play = town_new();
    town_batch(play, "B1", 1, "2026-03-30");
    play_say(play, "{'kind': 'residue', 'at': '2026-03-30T12:00:00Z', 'batch': 'B1', 'mass_g': "
                   "1050, 'stream': 'food'}");
    play_say(play, "{'kind': 'collection', 'at': '2026-04-02T08:00:00Z', 'stream': 'food', "
                   "'mass_g': 1050, 'destination': 'landfill', 'onsite': true}");
    static const struct want march[] = {{"waste.diverted_kg", "0.000"},
                                        {"waste.waiting_kg", "1.050"},
                                        {"waste.diverted_pct", "null"}};
    cr_expect(town_holds(play, 0, "2026-03", march, 3));
    HOLDS(play, "2026-04", {"waste.waiting_opening_kg", "1.050"}, {"waste.disposed_kg", "1.050"},
          {"waste.onsite_kg", "1.050"}, {"waste.generated_kg", "0.000"});
}

Test(waste, W4_a_collection_from_an_at_once_stream_is_a_docket_only)
{
    struct play *play = town_new();
    play_say(play, "{'kind': 'close', 'at': '2026-03-02T22:00:00Z', 'site': 'quayside', 'day': "
                   "'2026-03-02', 'uncaptured_g': 500, 'uncaptured_method': 'weighed', 'stream': "
                   "'bin'}");
    play_say(play, "{'kind': 'collection', 'at': '2026-03-05T08:00:00Z', 'site': 'quayside', "
                   "'stream': 'bin', 'mass_g': 900, 'destination': 'composting'}");
    HOLDS(play, "2026-03", {"waste.disposed_kg", "0.500"}, {"waste.diverted_kg", "0.000"},
          {"waste.gap_kg", "0.000"});
}

Test(waste, W5_no_stream_or_an_unknown_one_is_an_unknown_end)
{
    struct play *play = town_new();
    play_say(play, "{'kind': 'close', 'at': '2026-03-02T22:00:00Z', 'site': 'quayside', 'day': "
                   "'2026-03-02', 'uncaptured_g': 500, 'uncaptured_method': 'weighed'}");
    play_say(play, "{'kind': 'close', 'at': '2026-03-03T22:00:00Z', 'site': 'quayside', 'day': "
                   "'2026-03-03', 'uncaptured_g': 200, 'uncaptured_method': 'weighed', 'stream': "
                   "'skip'}");
    HOLDS(play, "2026-03", {"waste.unknown_kg", "0.700"}, {"waste.disposed_kg", "0.700"},
          {"emissions.lines.unknown.material", "null"},
          {"quality.discrepancies.unknown-stream.subject", "skip"});
}

Test(waste, W6_the_drain_is_in_no_total_but_has_its_row)
{
    struct play *play = town_new();
    town_batch(play, "B1", 1, "2026-03-02");
    play_say(play, "{'kind': 'residue', 'at': '2026-03-03T10:00:00Z', 'batch': 'B1', 'mass_g': "
                   "250, 'stream': 'sink'}");
    play_say(play, "{'kind': 'residue', 'at': '2026-03-03T11:00:00Z', 'batch': 'B1', 'mass_g': "
                   "800, 'stream': 'farm'}");
    HOLDS(play, "2026-03", {"waste.drain_kg", "0.250"}, {"waste.generated_kg", "0.800"},
          {"waste.diverted_kg", "0.800"}, {"waste.offsite_kg", "0.800"},
          {"waste.by_destination.sewer.kg", "0.250"}, {"emissions.lines.sewer.kg", "0.250"},
          {"emissions.not_quantified_kg", "1.050"});
}

/* WE-17 of the reference table: recycled 3.0, other recovery 0.5, disposed 1.5: 5.0 in all, 2.0 or
 * 40 % not recycled (ESRS E5-5 37; EFRAG Q&A 400). In kg here. */
Test(waste, W7_not_recycled_as_in_WE_17)
{
    struct play *play = town_new();
    play_say(play, "{'kind': 'stream', 'code': 'field', 'destination': 'land_application', "
                   "'settles': 'at-once', 'material': 'food'}");
    town_batch(play, "B1", 5, "2026-03-02"); /* residue 5250 g */
    static const struct {
        int mass_g;
        const char *stream;
    } ends[] = {{3000, "farm"}, {500, "field"}, {1500, "bin"}};
    for (size_t i = 0; i < 3; i++)
        play_say(play,
                 "{'kind': 'residue', 'at': '2026-03-03T1%zu:00:00Z', 'batch': 'B1', 'mass_g': "
                 "%d, 'stream': '%s'}",
                 i, ends[i].mass_g, ends[i].stream);
    HOLDS(play, "2026-03", {"waste.non_recycled_kg", "2.000"},
          {"waste.non_recycled_pct", "40.0000"}, {"waste.diverted_kg", "3.500"},
          {"waste.diverted_pct", "70.0000"}, {"waste.hazardous_kg", "0.000"});
}

Test(waste, W8_a_mixed_stream_gives_its_oldest_first)
{
    struct play *play = town_new();
    play_say(play, "{'kind': 'discard', 'at': '2026-03-01T09:00:00Z', 'what': 'batch', 'code': "
                   "'B1', 'mass_g': 400, 'reason': 'spilt', 'stream': 'food'}");
    town_batch(play, "B1", 1, "2026-03-02");
    play_say(play, "{'kind': 'residue', 'at': '2026-03-03T10:00:00Z', 'batch': 'B1', 'mass_g': "
                   "1050, 'stream': 'food'}");
    play_say(play, "{'kind': 'collection', 'at': '2026-03-05T08:00:00Z', 'stream': 'food', "
                   "'mass_g': 500, 'destination': 'composting'}");
    /* the first 400 g are the discard's, so 100 g of residue are gone */
    HOLDS(play, "2026-03", {"residue.waiting_kg", "0.950"}, {"waste.waiting_kg", "0.950"});
}

Test(waste, W9_bottles_enter_waste_only_by_mass)
{
    struct play *play = town_new();
    town_batch(play, "B1", 1, "2026-03-02");
    town_bottle(play, "B1", "L1", 5, "release", "2026-03-03T10:00:00Z");
    play_say(play, "{'kind': 'discard', 'at': '2026-03-04T09:00:00Z', 'what': 'lot', 'code': "
                   "'L1', 'count': 2, 'reason': 'broken', 'stream': 'bin'}");
    play_say(play, "{'kind': 'discard', 'at': '2026-03-04T10:00:00Z', 'what': 'lot', 'code': "
                   "'SUGAR', 'mass_g': 300, 'reason': 'wet', 'stream': 'bin'}");
    HOLDS(play, "2026-03", {"waste.disposed_kg", "0.300"}, {"product.liqueur.lost_minor", "3600"});
}

Test(waste, W10_the_waste_basis_counts_grounds_and_tubs_that_wait)
{
    struct play *play = town_new_without_basis();
    play_say(play, "{'kind': 'basis', 'at': '2026-01-01T00:00:00Z', 'basis': 'waste', 'stage': "
                   "'food-service', 'from': '2026-01-01', 'reason': 'council', 'decided_by': "
                   "'OF'}");
    town_batch(play, "B1", 1, "2026-03-02");
    town_tub(play, "quayside", "T2", 700, "2026-03-05T12:00:00Z");
    play_say(play, "{'kind': 'residue', 'at': '2026-03-03T10:00:00Z', 'batch': 'B1', 'mass_g': "
                   "1050, 'stream': 'farm'}");
    /* generated 1.700; taken up 1.050 - 1.000; waiting is the tub: 1.700 + 0.050 = 1.050 + 0.700 */
    HOLDS(play, "2026-03", {"basis", "waste"}, {"boundary.stage", "food-service"},
          {"waste.generated_kg", "1.700"}, {"waste.taken_up_kg", "0.050"},
          {"waste.waiting_kg", "0.700"}, {"waste.diverted_kg", "1.050"});
}

Test(waste, W10_says_what_its_check_does_not_speak_of)
{
    struct play *play = town_new_without_basis();
    play_say(play, "{'kind': 'basis', 'at': '2026-01-01T00:00:00Z', 'basis': 'waste', 'stage': "
                   "'food-service', 'from': '2026-01-01', 'reason': 'council', 'decided_by': "
                   "'OF'}");
    town_batch(play, "B1", 1, "2026-03-02");
    play_say(play, "{'kind': 'discard', 'at': '2026-03-03T10:00:00Z', 'what': 'batch', 'code': "
                   "'B1', 'mass_g': 2424, 'reason': 'off', 'stream': 'bin'}");
    play_put(play, 0);
    json_t *report = month_json(play, "2026-03");
    cr_expect(eq(str, (char *)month_word(report, "cautions.0"),
                 "2.424 kg of batches and lots thrown away are waste but no grounds: they are in "
                 "no generated figure"));
    json_decref(report);
    play_free(play);
}

Test(waste, W11_dry_matter_stays_in_product_only_where_both_were_measured)
{
    struct play *play = town_new();
    town_batch(play, "B1", 1, "2026-03-02");
    town_batch(play, "B2", 1, "2026-03-03");
    play_say(play, "{'kind': 'measure', 'at': '2026-03-03T12:00:00Z', 'batch': 'B1', 'of': "
                   "'grounds', 'what': 'dry-matter', 'value': '38.5', 'unit': '%%', 'method': "
                   "'oven'}");
    play_say(play, "{'kind': 'measure', 'batch': 'B1', 'of': 'residue', 'what': 'dry-matter', "
                   "'value': '351.25', 'unit': 'g', 'method': 'oven'}");
    play_say(play, "{'kind': 'measure', 'batch': 'B2', 'of': 'grounds', 'what': 'dry-matter', "
                   "'value': '38', 'unit': '%%', 'method': 'oven'}");
    HOLDS(play, "2026-03", {"in_product_kg", "0.03375"}); /* 385 - 351.25 g */
}

Test(waste, W12_no_basis_is_by_product_with_a_caution)
{
    struct play *play = town_new_without_basis();
    town_batch(play, "B1", 1, "2026-03-02");
    HOLDS(play, "2026-03", {"basis", "by-product"}, {"boundary.stage", "null"},
          {"cautions.0", "no basis in force on the first day: by-product is assumed"});
}

Test(waste, T6_a_discard_dated_before_its_tub_counts_with_the_tub)
{
    struct play *play = town_new();
    town_tub(play, "quayside", "T1", 900, "2026-04-01T12:00:00Z");
    play_say(play, "{'kind': 'discard', 'at': '2026-03-31T12:00:00Z', 'site': 'quayside', "
                   "'what': 'tub', 'code': 'T1', 'mass_g': 900, 'reason': 'warm', 'stream': "
                   "'bin'}");
    static const struct want march[] = {{"waste.generated_kg", "0.000"}};
    cr_expect(town_holds(play, 0, "2026-03", march, 1));
    HOLDS(play, "2026-04", {"waste.generated_kg", "0.900"}, {"stock.rejected_kg", "0.900"},
          {"waste.disposed_kg", "0.900"});
}

Test(waste, R2_the_uncaptured_grounds_of_a_second_close_are_no_waste)
{
    struct play *play = town_new();
    for (int i = 0; i < 2; i++)
        play_say(play,
                 "{'kind': 'close', 'at': '2026-03-02T22:0%d:00Z', 'site': 'quayside', 'day': "
                 "'2026-03-02', 'uncaptured_g': %d, 'uncaptured_method': 'weighed', 'stream': "
                 "'bin'}",
                 i, 500 + i);
    HOLDS(play, "2026-03", {"waste.generated_kg", "0.500"}, {"grounds.uncaptured_kg", "0.500"},
          {"quality.discrepancies.closed-twice.subject", "2026-03-02"});
}

Test(waste, an_unknown_tub_thrown_away_is_no_waste_until_it_is_known)
{
    struct play *play = town_new();
    play_say(play, "{'kind': 'discard', 'at': '2026-03-03T12:00:00Z', 'site': 'quayside', "
                   "'what': 'tub', 'code': 'T9', 'mass_g': 900, 'reason': 'warm', 'stream': "
                   "'bin'}");
    static const struct want before[] = {{"waste.generated_kg", "0.000"},
                                         {"quality.discrepancies.unknown-tub.subject", "T9"}};
    cr_expect(town_holds(play, 0, "2026-03", before, 2));
    town_tub(play, "quayside", "T9", 900, "2026-03-03T10:00:00Z");
    HOLDS(play, "2026-03", {"waste.generated_kg", "0.900"}, {"stock.rejected_kg", "0.900"});
}
