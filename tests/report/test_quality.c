/* Grounds, stock, gaps and quality as they are printed: rules F7, G1 to G3, S1, S2, R4, R8, Q2, Q3,
 * and part 4 (forms of numbers, order of lists). Worked by hand. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include "tests/report/town.h"

static void
close_day(struct play *play, const char *site, const char *day, const char *rest)
{
    play_say(play, "{'kind': 'close', 'at': '%sT22:00:00Z', 'site': '%s', 'day': '%s'%s}", day,
             site, day, rest);
}

/* G2: what is not weighed, over all that was generated. */
Test(quality, G1_G2_G3_by_method_sums_to_generated)
{
    struct play *play = town_new();
    town_tub(play, "quayside", "T1", 3000, "2026-03-02T12:00:00Z");
    play_say(play, "{'kind': 'tub', 'at': '2026-03-02T13:00:00Z', 'site': 'quayside', 'tub': "
                   "'T2', 'coffee': 'house', 'origin': 'filter', 'gross_g': 1100, 'tare_g': 100, "
                   "'method': 'counted', 'pucks': 55, 'first_knock': '2026-03-02T12:00:00Z', "
                   "'frozen': '2026-03-02T13:00:00Z', 'place': 'qf'}");
    close_day(play, "quayside", "2026-03-02",
              ", 'pucks': 900, 'uncaptured_g': 500, 'uncaptured_method': 'sampled', 'stream': "
              "'bin', 'sample': {'days': ['2026-03-01'], 'size': 3}");
    close_day(play, "quayside", "2026-03-03",
              ", 'uncaptured_g': 250, 'uncaptured_method': 'estimated', 'stream': 'bin'");
    HOLDS(play, "2026-03", {"grounds.captured_kg", "4.000"}, {"grounds.uncaptured_kg", "0.750"},
          {"grounds.generated_kg", "4.750"}, {"grounds.capture_rate_pct", "84.2105"},
          {"grounds.by_method.weighed_kg", "3.000"}, {"grounds.by_method.counted_kg", "1.000"},
          {"grounds.by_method.sampled_kg", "0.500"}, {"grounds.by_method.estimated_kg", "0.250"},
          {"quality.estimated_share_pct", "36.8421"}, {"quality.samples.0.site", "quayside"},
          {"quality.samples.0.day", "2026-03-02"}, {"quality.samples.0.from", "2026-03-01"},
          {"quality.samples.0.days", "1"}, {"quality.samples.0.size", "3"},
          {"quality.samples.1", "-"});
}

Test(quality, F7_uncaptured_left_out_is_unknown_and_zero_is_zero)
{
    struct play *play = town_new();
    close_day(play, "quayside", "2026-03-02", "");
    close_day(play, "quayside", "2026-03-03", "");
    close_day(play, "foundry", "2026-03-02", ", 'uncaptured_g': 0");
    HOLDS(play, "2026-03", {"grounds.uncaptured_kg", "0.000"},
          {"cautions.0", "quayside: uncaptured not stated on 2 days"}, {"cautions.1", "-"},
          {"grounds.capture_rate_pct", "null"}, {"quality.estimated_share_pct", "null"});
}

Test(quality, S1_rows_add_up_and_opening_is_the_closing_before)
{
    struct play *play = town_new();
    town_tub(play, "quayside", "T1", 3000, "2026-02-27T12:00:00Z");
    town_tub(play, "foundry", "T2", 2000, "2026-03-02T12:00:00Z");
    town_move(play, "quayside", "T1", "2026-03-03T07:00:00Z");
    town_mix(play, "B1", "T1", 1000, "2026-03-04T09:00:00Z");
    play_say(play, "{'kind': 'handover', 'at': '2026-03-31T08:00:00Z', 'site': 'foundry', 'run': "
                   "'R2', 'tubs': ['T2']}");
    HOLDS(play, "2026-03", {"stock.opening_kg", "3.000"}, {"stock.filled_kg", "2.000"},
          {"stock.used_kg", "1.000"}, {"stock.closing_kg", "4.000"}, {"first_use_kg", "1.000"},
          {"stock.sites.0.site", "foundry"}, {"stock.sites.1.site", "kitchen"},
          {"stock.sites.2.site", "quayside"}, {"stock.sites.3.site", "in-transit"},
          {"stock.sites.in-transit.closing_kg", "2.000"},
          {"stock.sites.kitchen.received_kg", "3.000"},
          {"stock.sites.quayside.opening_kg", "3.000"}, {"stock.sent_kg", "8.000"},
          {"stock.received_kg", "8.000"});
}

Test(quality, S2_counted_is_the_closing_of_a_counted_row)
{
    struct play *play = town_new();
    town_tub(play, "quayside", "T1", 3000, "2026-03-02T12:00:00Z");
    town_tub(play, "quayside", "T2", 1000, "2026-03-02T13:00:00Z");
    play_say(play, "{'kind': 'stocktake', 'at': '2026-03-05T12:00:00Z', 'site': 'quayside', "
                   "'place': 'qf', 'tubs': ['T1']}");
    HOLDS(play, "2026-03", {"stock.sites.quayside.counted_kg", "3.000"},
          {"stock.sites.quayside.unexplained_pct", "-25.0000"},
          {"stock.sites.foundry.counted_kg", "null"}, {"stock.counted_kg", "3.000"},
          {"stock.sites.foundry.unexplained_pct", "null"},
          {"stock.unexplained_by.count_kg", "-1.000"});
}

Test(quality, S2_the_total_is_counted_only_when_every_row_is)
{
    struct play *play = town_new();
    town_tub(play, "quayside", "T1", 3000, "2026-03-02T12:00:00Z");
    town_tub(play, "foundry", "T2", 1000, "2026-03-02T13:00:00Z");
    play_say(play, "{'kind': 'stocktake', 'at': '2026-03-05T12:00:00Z', 'site': 'quayside', "
                   "'place': 'qf', 'tubs': ['T1']}");
    HOLDS(play, "2026-03", {"stock.counted_kg", "null"},
          {"stock.sites.quayside.counted_kg", "3.000"});
}

Test(quality, R4_the_boundary_is_cut_to_the_month)
{
    struct play *play = town_new();
    play_say(play, "{'kind': 'site', 'code': 'harbour', 'role': 'cafe', 'zone': 'Europe/London', "
                   "'currency': 'GBP', 'joined': '2026-03-10', 'left': '2026-04-02'}");
    town_tub(play, "harbour", "T1", 500, "2026-03-09T12:00:00Z");
    town_tub(play, "harbour", "T2", 700, "2026-03-10T12:00:00Z");
    static const struct want april[] = {{"boundary.sites.harbour.from", "2026-04-01"},
                                        {"boundary.sites.harbour.to", "2026-04-02"}};
    cr_expect(town_holds(play, 0, "2026-04", april, 2));
    static const struct want may[] = {{"boundary.sites.harbour", "-"},
                                      {"stock.sites.harbour.closing_kg", "0.700"}};
    cr_expect(town_holds(play, 0, "2026-05", may, 2));
    HOLDS(play, "2026-03", {"boundary.sites.harbour.from", "2026-03-10"},
          {"boundary.sites.harbour.to", "2026-03-31"}, {"grounds.captured_kg", "0.700"},
          {"quality.discrepancies.outside-boundary.subject", "T1"});
}

Test(quality, R8_days_without_a_close_up_to_the_newest_record)
{
    struct play *play = town_new();
    close_day(play, "quayside", "2026-03-01", ", 'nothing_kept': true");
    close_day(play, "foundry", "2026-03-01", "");
    close_day(play, "foundry", "2026-03-02", "");
    town_tub(play, "quayside", "T1", 700, "2026-03-02T12:00:00Z"); /* does not heal the day */
    play_say(play, "{'kind': 'calendar', 'for_site': 'foundry', 'day': '2026-03-03', 'open': "
                   "false}");
    play_say(play, "{'kind': 'calendar', 'day': '2026-03-04', 'open': false}");
    play_say(play, "{'kind': 'calendar', 'for_site': 'quayside', 'day': '2026-03-04', 'open': "
                   "true}");
    play_say(play, "{'kind': 'note', 'at': '2026-03-04T12:00:00Z', 'text': 'newest'}");
    HOLDS(play, "2026-03", {"quality.missing_days.0.site", "quayside"},
          {"quality.missing_days.0.day", "2026-03-02"},
          {"quality.missing_days.1.day", "2026-03-03"},
          {"quality.missing_days.2.day", "2026-03-04"}, {"quality.missing_days.3", "-"});
}

/* A correction is a record that a site wrote: it shows that the hub had heard from that day. */
Test(quality, R8_a_correction_is_a_record_like_others)
{
    struct play *play = town_new();
    close_day(play, "quayside", "2026-03-01", "");
    close_day(play, "foundry", "2026-03-01", "");
    play_say(play, "{'kind': 'note', 'id': '019d0000-0000-7000-8000-000000000001', 'at': "
                   "'2026-03-01T12:00:00Z', 'text': 'wrong'}");
    play_say(play, "{'kind': 'correct', 'at': '2026-03-02T12:00:00Z', 'record': "
                   "'019d0000-0000-7000-8000-000000000001', 'void': true, 'reason': 'x'}");
    HOLDS(play, "2026-03", {"quality.missing_days.0.site", "foundry"},
          {"quality.missing_days.0.day", "2026-03-02"}, {"quality.missing_days.1.site", "quayside"},
          {"quality.missing_days.1.day", "2026-03-02"}, {"quality.missing_days.2", "-"});
}

static void
read_place(struct play *play, const char *at, const char *temp_c, const char *rest)
{
    play_say(play,
             "{'kind': 'reading', 'at': '%s', 'site': 'quayside', 'place': 'fridge', 'temp_c': "
             "'%s'%s}",
             at, temp_c, rest);
}

Test(quality, Q2_readings_are_compared_exactly_and_counted_by_day)
{
    struct play *play = town_new();
    play_say(play, "{'kind': 'place', 'code': 'fridge', 'for_site': 'quayside', 'class': "
                   "'fridge', 'max_c': '5', 'min_c': '0.5', 'readings_per_day': 2, 'from': "
                   "'2026-03-02'}");
    read_place(play, "2026-03-02T08:00:00Z", "5.0", "");
    read_place(play, "2026-03-02T18:00:00Z", "5.0001", "");
    read_place(play, "2026-03-03T08:00:00Z", "0.4999",
               ", 'action': 'door shut', 'disposition': 'kept'");
    HOLDS(play, "2026-03", {"safety.readings_failed.0.temp_c", "5.0001"},
          {"safety.readings_failed.0.open", "true"}, {"safety.readings_failed.0.place", "fridge"},
          {"safety.readings_failed.1.temp_c", "0.4999"}, {"safety.readings_failed.1.open", "false"},
          {"safety.readings_failed.2", "-"}, {"safety.readings_gap.0.day", "2026-03-03"},
          {"safety.readings_gap.1", "-"},
          {"quality.discrepancies.failed-reading-open.subject", "fridge"});
}

Test(quality, T7_warm_time_is_floored_and_compared_unrounded)
{
    struct play *play = town_new();
    static const char *const frozen[] = {"2026-03-02T12:00:00Z", "2026-03-02T12:00:00.001Z"};
    for (int i = 0; i < 2; i++)
        play_say(play,
                 "{'kind': 'tub', 'at': '2026-03-02T13:00:00Z', 'site': 'quayside', 'tub': "
                 "'T%d', 'coffee': 'house', 'origin': 'filter', 'gross_g': 1100, 'tare_g': 100, "
                 "'method': 'weighed', 'first_knock': '2026-03-02T08:00:00Z', 'frozen': '%s', "
                 "'place': 'qf'}",
                 i, frozen[i]);
    HOLDS(play, "2026-03", {"safety.warm_time_over.0.tub", "T1"},
          {"safety.warm_time_over.0.minutes", "240"}, {"safety.warm_time_over.1", "-"});
}

Test(quality, Q3_corrections_stand_where_the_record_was_or_is)
{
    struct play *play = town_new();
    static const char id[] = "019c0000-0000-7000-8000-00000000aaaa";
    play_say(play,
             "{'kind': 'close', 'id': '%s', 'at': '2026-03-02T22:00:00Z', 'site': 'quayside', "
             "'day': '2026-03-02', 'uncaptured_g': 500, 'uncaptured_method': 'weighed', "
             "'stream': 'bin'}",
             id);
    play_say(play,
             "{'kind': 'correct', 'id': '019c0000-0000-7000-8000-00000000bbbb', 'at': "
             "'2026-04-03T22:00:00Z', 'site': 'quayside', 'record': '%s', 'body': {'day': "
             "'2026-04-01', 'uncaptured_g': 400, 'uncaptured_method': 'weighed', 'stream': "
             "'bin'}, 'reason': 'wrong day'}",
             id);
    static const struct want march[] = {
        {"grounds.uncaptured_kg", "0.000"},
        {"quality.corrections.0.record", "019c0000-0000-7000-8000-00000000aaaa"},
        {"quality.corrections.0.by", "019c0000-0000-7000-8000-00000000bbbb"},
        {"quality.corrections.0.void", "false"},
        {"quality.corrections.0.reason", "wrong day"}};
    cr_expect(town_holds(play, 4, "2026-03", march, 5));
    HOLDS(play, "2026-04", {"grounds.uncaptured_kg", "0.400"},
          {"quality.corrections.0.reason", "wrong day"});
}

/* Two corrections: the last decides, and old is what was first written. */
Test(quality, Q3_a_correction_tells_old_and_new_values_who_when_and_why)
{
    struct play *play = town_new();
    static const char id[] = "019c0000-0000-7000-8000-00000000aaaa";
    play_say(play,
             "{'kind': 'close', 'id': '%s', 'at': '2026-03-02T22:00:00Z', 'site': 'quayside', "
             "'day': '2026-03-02', 'uncaptured_g': 500, 'uncaptured_method': 'weighed', "
             "'stream': 'bin', 'by': 'RK'}",
             id);
    play_say(play,
             "{'kind': 'correct', 'at': '2026-03-03T09:00:00+00:00', 'site': 'quayside', 'record': "
             "'%s', 'body': {'day': '2026-03-02', 'uncaptured_g': 450, 'uncaptured_method': "
             "'weighed', 'stream': 'bin'}, 'reason': 'x', 'by': 'AA'}",
             id);
    play_say(play,
             "{'kind': 'correct', 'id': '019c0000-0000-7000-8000-00000000bbbb', 'at': "
             "'2026-03-04T09:00:00+00:00', 'site': 'kitchen', 'record': '%s', 'body': {'day': "
             "'2026-03-02', 'uncaptured_g': 400, 'uncaptured_method': 'weighed', 'pucks': 30, "
             "'stream': 'bin'}, 'reason': 'tare forgotten', 'by': 'MO'}",
             id);
    static const struct want march[] = {
        {"grounds.uncaptured_kg", "0.400"},
        {"quality.corrections.0.by", "019c0000-0000-7000-8000-00000000bbbb"},
        {"quality.corrections.0.reason", "tare forgotten"},
        {"quality.correctors.0.kind", "close"},
        {"quality.correctors.0.site", "quayside"},
        {"quality.correctors.0.who", "MO"},
        {"quality.correctors.0.at", "2026-03-04T09:00:00+00:00"},
        {"quality.changes.0.record", "019c0000-0000-7000-8000-00000000aaaa"},
        {"quality.changes.0.field", "uncaptured_g"},
        {"quality.changes.0.before", "500"},
        {"quality.changes.0.after", "400"},
        {"quality.changes.1.field", "pucks"},
        {"quality.changes.1.before", "null"},
        {"quality.changes.1.after", "30"},
        {"quality.changes.2", "-"}};
    cr_expect(town_holds(play, 5, "2026-03", march, sizeof march / sizeof march[0]));
    play_free(play);
}

Test(quality, Q3_a_void_shows_what_is_gone_and_a_moved_record_its_two_moments)
{
    struct play *play = town_new();
    play_say(play, "{'kind': 'residue', 'id': '019c0000-0000-7000-8000-00000000aaaa', 'at': "
                   "'2026-03-02T22:00:00Z', 'site': 'kitchen', 'mass_g': 70, 'stream': 'food'}");
    play_say(play, "{'kind': 'correct', 'at': '2026-03-03T09:00:00Z', 'site': 'kitchen', 'record': "
                   "'019c0000-0000-7000-8000-00000000aaaa', 'void': true, 'reason': 'twice'}");
    play_say(play, "{'kind': 'residue', 'id': '019c0000-0000-7000-8000-00000000cccc', 'at': "
                   "'2026-03-05T22:00:00+00:00', 'site': 'kitchen', 'mass_g': 10, 'stream': "
                   "'food'}");
    play_say(play, "{'kind': 'correct', 'at': '2026-03-06T09:00:00Z', 'site': 'kitchen', 'record': "
                   "'019c0000-0000-7000-8000-00000000cccc', 'body': {'at': "
                   "'2026-03-04T22:00:00+00:00', 'mass_g': 10, 'stream': 'food'}, 'reason': 'x'}");
    static const struct want march[] = {{"quality.corrections.0.void", "true"},
                                        {"quality.changes.0.field", "mass_g"},
                                        {"quality.changes.0.before", "70"},
                                        {"quality.changes.0.after", "null"},
                                        {"quality.changes.1.field", "stream"},
                                        {"quality.changes.2.field", "at"},
                                        {"quality.changes.2.before", "2026-03-05T22:00:00+00:00"},
                                        {"quality.changes.2.after", "2026-03-04T22:00:00+00:00"},
                                        {"quality.changes.3", "-"}};
    cr_expect(town_holds(play, 6, "2026-03", march, sizeof march / sizeof march[0]));
    play_free(play);
}

Test(quality, Q3_settling_marks_a_discrepancy_and_changes_no_figure)
{
    struct play *play = town_new();
    play_say(play, "{'kind': 'residue', 'id': '019c0000-0000-7000-8000-00000000aaaa', 'at': "
                   "'2026-03-03T10:00:00Z', 'mass_g': 100, 'stream': 'skip'}");
    play_say(play, "{'kind': 'settle', 'at': '2026-03-09T10:00:00Z', 'discrepancy': "
                   "'unknown-stream/019c0000-0000-7000-8000-00000000aaaa/skip', 'outcome': "
                   "'written-off', 'reason': 'one skip, gone'}");
    HOLDS(play, "2026-03", {"quality.discrepancies.unknown-stream.settled", "written-off"},
          {"quality.discrepancies.residue-more-than-made.settled", "null"},
          {"quality.discrepancies.0.code", "residue-more-than-made"}, {"waste.unknown_kg", "0.100"},
          {"waste.gap_kg", "0.100"});
}

Test(quality, a_month_without_records_prints_zeros_and_nulls)
{
    struct play *play = town_new();
    HOLDS(play, "2027-01", {"status", "open"}, {"restatement", "null"},
          {"grounds.generated_kg", "0.000"}, {"grounds.capture_rate_pct", "null"},
          {"stock.unexplained_pct", "null"}, {"waste.diverted_pct", "null"},
          {"emissions.inventory_kg_co2e", "0"}, {"in_product_kg", "0"}, {"product.0", "-"},
          {"batches.0", "-"}, {"stock.sites.3.site", "in-transit"}, {"cautions.0", "-"},
          {"quality.missing_days.0", "-"}, {"waste.hazardous_kg", "0.000"});
}

/* Of a record that moves nothing too: the tub is gone when it is thrown away again. */
Test(quality, W5_what_nobody_knows_by_its_name_is_told_whatever_else_is_amiss)
{
    struct play *play = town_new();
    town_tub(play, "quayside", "T1", 2000, "2026-03-02T20:00:00Z");
    for (int day = 3; day <= 4; day++)
        play_say(play,
                 "{'kind': 'discard', 'at': '2026-03-0%dT09:00:00Z', 'site': 'quayside', 'what': "
                 "'tub', 'code': 'T1', 'mass_g': 2000, 'reason': 'soft', 'stream': '%s'}",
                 day, day == 3 ? "bin" : "skip");
    play_say(play, "{'kind': 'discard', 'at': '2026-03-05T09:00:00Z', 'site': 'quayside', 'what': "
                   "'tub', 'code': 'T1', 'count': 1, 'reason': 'soft', 'stream': 'tip'}");
    play_say(play, "{'kind': 'reading', 'at': '2026-03-05T09:00:00Z', 'site': 'quayside', 'place': "
                   "'shed', 'temp_c': '-20'}");
    cr_expect(town_flags(play, "2026-03", "unknown-stream", "skip"));
    cr_expect(town_flags(play, "2026-03", "unknown-stream", "tip"));
    cr_expect(town_flags(play, "2026-03", "unknown-place", "shed"));
    cr_expect(town_flags(play, "2026-03", "overdrawn", "T1"));
    play_free(play);
}
