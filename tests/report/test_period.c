/* Closed months, restatements and late records: rules R6 and R7, T3 and T4; worked by hand. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <sodium.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/report/report_month.h"
#include "proto/when.h"
#include "tests/report/closing.h"
#include "tests/report/town.h"

/* A batch in March, its residue in the food stream, a tub left over; nothing before. */
static struct play *
march(void)
{
    struct play *play = town_new();
    town_batch(play, "B1", 1, "2026-03-02");
    play_say(play, "{'kind': 'residue', 'at': '2026-03-03T10:00:00Z', 'batch': 'B1', 'mass_g': "
                   "1050, 'stream': 'food'}");
    town_tub(play, "quayside", "T2", 700, "2026-03-05T12:00:00Z");
    return play;
}

/* A tub of March that the hub saw late. */
static void
late_tub(struct play *play, const char *tub, int net_g, const char *held)
{
    play_say(play,
             "{'kind': 'tub', 'at': '2026-03-20T12:00:00Z', 'held': '%s', 'site': 'foundry', "
             "'tub': '%s', 'coffee': 'house', 'origin': 'filter', 'gross_g': %d, 'tare_g': 100, "
             "'method': 'weighed', 'first_knock': '2026-03-20T12:00:00Z', 'frozen': "
             "'2026-03-20T12:00:00Z', 'place': 'ff'}",
             held, tub, net_g + 100);
}

Test(period, R6_a_closed_month_prints_the_same_bytes_for_ever)
{
    struct play *play = march();
    must_close(play, "2026-03", "2026-04-03T17:00:00Z");
    char *first = month_text(play, "2026-03", false);
    char *words = month_text(play, "2026-03", true);
    late_tub(play, "T9", 900, "2026-04-05T12:00:00Z");
    play_say(play, "{'kind': 'correct', 'at': '2026-04-06T12:00:00Z', 'site': 'quayside', "
                   "'record': '019c0000-0000-7000-8000-00000000001d', 'void': true, 'reason': "
                   "'no'}");
    play_say(play, "{'kind': 'basis', 'at': '2026-04-06T12:00:00Z', 'basis': 'waste', 'stage': "
                   "'food-service', 'from': '2026-02-01', 'reason': 'x', 'decided_by': 'OF'}");
    town_batch(play, "B2", 3, "2026-04-10");
    play_put(play, 1);
    play_restart(play);
    char *again = month_text(play, "2026-03", false);
    char *more = month_text(play, "2026-03", true);
    cr_expect(eq(str, again, first));
    cr_expect(eq(str, more, words));
    free(first);
    free(again);
    free(words);
    free(more);
    play_free(play);
}

Test(period, R6_the_close_holds_the_hash_of_what_it_prints)
{
    struct play *play = march();
    struct err_text why = {.s = ""};
    struct arena arena;
    Knockbox__PeriodClose *close = NULL;
    struct report_ask ask = {.month = play_month("2026-03")};
    struct table_model *model = NULL;
    uint8_t hash[32];
    play_put(play, 0);
    cr_assert(eq(int, arena_init(&arena, ARENA_BIG_RECORD, &why), ERR_OK));
    cr_assert(eq(int,
                 period_close_make(play_ledger(play), play_store(play), play_month("2026-03"), NULL,
                                   day_of("2026-04-03T17:00:00Z"), &arena, &close, &why),
                 ERR_OK));
    cr_expect(eq(str, close->edition, "UK-2024"));
    cr_expect(eq(sz, close->heads->n_v, 2)); /* two logs have records */
    put_act(play, "period-close", &close->base, "2026-04-03T17:00:00Z");
    cr_assert(
        eq(int, report_month(play_ledger(play), play_store(play), &ask, &model, &why), ERR_OK));
    cr_assert(eq(int, report_hash(model, hash, &why), ERR_OK));
    cr_expect(eq(int, memcmp(hash, close->report_hash.data, 32), 0));
    cr_expect(eq(str, (char *)table_get(model, "", "status"), "closed"));
    cr_expect(eq(sz, table_find(model, "heads")->n_rows, 2));
    table_free(model);
    arena_done(&arena);
    play_free(play);
}

Test(period, R6_months_are_closed_once_in_order_and_when_over)
{
    struct play *play = march();
    struct err_text why = {.s = ""};
    cr_expect(eq(int, close_month(play, "2026-03", "2026-03-31T17:00:00Z", &why), ERR_INPUT));
    town_tub(play, "quayside", "T3", 100, "2026-04-02T12:00:00Z");
    cr_expect(eq(int, close_month(play, "2026-04", "2026-05-01T17:00:00Z", &why), ERR_INPUT));
    cr_expect(ne(ptr, strstr(why.s, "in order"), NULL));
    must_close(play, "2026-03", "2026-05-01T17:00:00Z");
    cr_expect(eq(int, close_month(play, "2026-03", "2026-05-02T17:00:00Z", &why), ERR_INPUT));
    must_close(play, "2026-04", "2026-05-02T17:00:00Z");
    play_free(play);
}

Test(period, R7_a_late_record_stands_in_the_first_open_month)
{
    struct play *play = march();
    must_close(play, "2026-03", "2026-04-03T17:00:00Z");
    late_tub(play, "T9", 900, "2026-04-05T12:00:00Z");
    play_say(play, "{'kind': 'collection', 'at': '2026-03-28T12:00:00Z', 'held': "
                   "'2026-04-05T12:00:00Z', 'stream': 'food', 'mass_g': 1000, 'destination': "
                   "'composting'}");
    static const struct want closed[] = {{"stock.filled_kg", "1.700"},
                                         {"stock.closing_kg", "0.700"},
                                         {"waste.waiting_kg", "1.050"},
                                         {"waste.diverted_kg", "0.000"}};
    cr_expect(town_holds(play, 0, "2026-03", closed, 4));
    HOLDS(play, "2026-04", {"stock.opening_kg", "0.700"}, {"stock.late_kg", "0.900"},
          {"stock.closing_kg", "1.600"}, {"stock.filled_kg", "0.000"},
          {"stock.sites.foundry.late_kg", "0.900"}, {"waste.waiting_opening_kg", "1.050"},
          {"waste.late_kg", "-1.000"}, {"waste.waiting_kg", "0.050"},
          {"waste.diverted_kg", "0.000"}, {"quality.late_arrivals.0.kind", "tub"},
          {"quality.late_arrivals.0.month", "2026-03"},
          {"quality.late_arrivals.0.mass_kg", "0.900"},
          {"quality.late_arrivals.1.kind", "collection"}, {"quality.late_arrivals.2", "-"});
}

/* March is closed with the tub; a later correction says that it was frozen in April. What March
 * printed stays, April takes 700 g out as late and in as filled. */
Test(period, R7_a_late_correction_that_moves_a_tub_over_the_month_end)
{
    struct play *play = town_new();
    play_say(play, "{'kind': 'tub', 'id': '019d0000-0000-7000-8000-000000000001', 'at': "
                   "'2026-03-31T20:00:00Z', 'site': 'quayside', 'tub': 'T1', 'coffee': 'house', "
                   "'origin': 'espresso', 'gross_g': 800, 'tare_g': 100, 'method': 'weighed', "
                   "'first_knock': '2026-03-31T19:00:00Z', 'frozen': '2026-03-31T20:00:00Z', "
                   "'place': 'qf'}");
    must_close(play, "2026-03", "2026-04-03T17:00:00Z");
    play_say(play, "{'kind': 'correct', 'id': '019d0000-0000-7000-8000-000000000002', 'at': "
                   "'2026-04-05T12:00:00Z', 'site': 'quayside', 'record': "
                   "'019d0000-0000-7000-8000-000000000001', 'reason': 'wrong day', 'body': {'at': "
                   "'2026-04-01T20:00:00Z', 'tub': 'T1', 'coffee': 'house', 'origin': 'espresso', "
                   "'gross_g': 850, 'tare_g': 100, 'method': 'weighed', 'first_knock': "
                   "'2026-04-01T19:00:00Z', 'frozen': '2026-04-01T20:00:00Z', 'place': 'qf'}}");
    static const struct want closed[] = {{"stock.filled_kg", "0.700"},
                                         {"stock.closing_kg", "0.700"},
                                         {"quality.corrections.0", "-"}};
    cr_expect(town_holds(play, 0, "2026-03", closed, 3));
    HOLDS(play, "2026-04", {"stock.opening_kg", "0.700"}, {"stock.late_kg", "-0.700"},
          {"stock.filled_kg", "0.750"}, {"stock.closing_kg", "0.750"},
          {"grounds.captured_kg", "0.750"}, {"quality.late_arrivals.0.kind", "correct"},
          {"quality.late_arrivals.0.month", "2026-03"}, {"quality.late_arrivals.1", "-"},
          {"quality.corrections.0.record", "019d0000-0000-7000-8000-000000000001"});
}

/* To March and back again: April's print knows only the first of the two. */
Test(period, R6_a_later_correction_leaves_the_late_list_of_a_closed_month)
{
    static const char move[] =
        "{'kind': 'correct', 'at': '%s', 'site': 'foundry', 'record': "
        "'019d0000-0000-7000-8000-000000000001', 'reason': 'day', 'body': {'at': '%s', 'text': "
        "'x'}}";
    struct play *play = march();
    must_close(play, "2026-03", "2026-04-03T17:00:00Z");
    play_say(play, "{'kind': 'note', 'id': '019d0000-0000-7000-8000-000000000001', 'at': "
                   "'2026-04-10T12:00:00Z', 'site': 'foundry', 'text': 'x'}");
    play_say(play, move, "2026-04-11T12:00:00Z", "2026-03-20T12:00:00Z");
    must_close(play, "2026-04", "2026-05-03T17:00:00Z");
    char *first = month_text(play, "2026-04", false);
    cr_expect(ne(ptr, strstr(first, "\"kind\": \"note\""), NULL));
    play_say(play, move, "2026-05-05T12:00:00Z", "2026-04-10T12:00:00Z");
    play_put(play, 0);
    char *again = month_text(play, "2026-04", false);
    cr_expect(eq(str, again, first));
    free(first);
    free(again);
    play_free(play);
}

/* Held at the very instant of the close: in K(T), so neither late nor missed. */
Test(period, R6_what_is_held_at_the_instant_of_the_close_is_in)
{
    struct play *play = march();
    late_tub(play, "T8", 400, "2026-04-03T17:00:00Z");
    must_close(play, "2026-03", "2026-04-03T17:00:00Z");
    late_tub(play, "T9", 900, "2026-04-03T17:00:00.001Z");
    static const struct want closed[] = {{"stock.filled_kg", "2.100"}};
    cr_expect(town_holds(play, 0, "2026-03", closed, 1));
    HOLDS(play, "2026-04", {"stock.late_kg", "0.900"}, {"quality.late_arrivals.0.mass_kg", "0.900"},
          {"quality.late_arrivals.1", "-"});
}

Test(period, R7_the_second_closed_month_stays_as_printed)
{
    struct play *play = march();
    must_close(play, "2026-03", "2026-04-03T17:00:00Z");
    town_tub(play, "quayside", "T3", 300, "2026-04-10T12:00:00Z");
    must_close(play, "2026-04", "2026-05-03T17:00:00Z");
    char *first = month_text(play, "2026-04", false);
    late_tub(play, "T9", 900, "2026-05-05T12:00:00Z");
    play_put(play, 0);
    char *again = month_text(play, "2026-04", false);
    cr_expect(eq(str, again, first));
    free(first);
    free(again);
    HOLDS(play, "2026-05", {"stock.opening_kg", "1.000"}, {"stock.late_kg", "0.900"},
          {"quality.late_arrivals.0.month", "2026-03"});
}

Test(period, R7_a_restatement_takes_it_in_with_both_figures)
{
    struct play *play = march();
    must_close(play, "2026-03", "2026-04-03T17:00:00Z");
    town_tub(play, "quayside", "T3", 300, "2026-04-10T12:00:00Z");
    must_close(play, "2026-04", "2026-05-03T17:00:00Z");
    char *april = month_text(play, "2026-04", false);
    late_tub(play, "T9", 900, "2026-05-05T12:00:00Z");
    must_restate(play, "2026-03", "the foundry's box was offline", "2026-05-06T12:00:00Z");
    char *again = month_text(play, "2026-04", false);
    cr_expect(eq(str, again, april));
    free(april);
    free(again);
    static const struct want now[] = {
        {"status", "restated"},
        {"edition", "UK-2024"},
        {"restatement.number", "1"},
        {"restatement.reason", "the foundry's box was offline"},
        {"stock.filled_kg", "2.600"},
        {"restatement.changes.grounds.captured_kg.before", "-"}, /* a name with a dot */
        {"restatement.changes.0.figure", "grounds.captured_kg"},
        {"restatement.changes.0.before", "1.700"},
        {"restatement.changes.0.after", "2.600"},
    };
    cr_expect(town_holds(play, 0, "2026-03", now, sizeof now / sizeof now[0]));
    /* April was printed without it, so it comes into May's opening as late */
    HOLDS(play, "2026-05", {"stock.opening_kg", "1.000"}, {"stock.late_kg", "0.900"},
          {"stock.closing_kg", "1.900"});
}

static void
hash_now(struct play *play, const char *month, uint8_t out_hash[32])
{
    struct err_text why = {.s = ""};
    struct table_model *model = NULL;
    struct report_ask ask = {.month = play_month(month)};
    cr_assert(
        eq(int, report_month(play_ledger(play), play_store(play), &ask, &model, &why), ERR_OK));
    cr_assert(eq(int, report_hash(model, out_hash, &why), ERR_OK));
    table_free(model);
}

/* Restates and compares the hash of the record with that of the print. */
static void
restate_and_compare(struct play *play, const char *month, const char *at)
{
    struct err_text why = {.s = ""};
    struct arena arena;
    Knockbox__Restate *restate = NULL;
    uint8_t hash[32];
    play_put(play, 0);
    cr_assert(eq(int, arena_init(&arena, ARENA_BIG_RECORD, &why), ERR_OK));
    cr_assert(eq(int,
                 restate_make(play_ledger(play), play_store(play), play_month(month), "late", NULL,
                              &arena, &restate, &why),
                 ERR_OK),
              "%s", why.s);
    put_act(play, "restate", &restate->base, at);
    hash_now(play, month, hash);
    cr_expect(eq(int, memcmp(hash, restate->report_hash.data, 32), 0), "%s", month);
    arena_done(&arena);
}

Test(period, R6_a_restatement_holds_the_hash_of_what_it_prints)
{
    struct play *play = march();
    must_close(play, "2026-03", "2026-04-03T17:00:00Z");
    late_tub(play, "T9", 900, "2026-04-05T12:00:00Z");
    restate_and_compare(play, "2026-03", "2026-04-06T17:00:00Z");
    late_tub(play, "T10", 400, "2026-04-07T12:00:00Z");
    restate_and_compare(play, "2026-03", "2026-04-08T17:00:00Z");
    static const struct want twice[] = {{"restatement.number", "2"},
                                        {"restatement.changes.0.before", "2.600"},
                                        {"restatement.changes.0.after", "3.000"}};
    cr_expect(town_holds(play, 0, "2026-03", twice, 3));
    play_free(play);
}

Test(period, R7_what_an_earlier_restatement_took_in_is_late_no_more)
{
    struct play *play = march();
    must_close(play, "2026-03", "2026-04-03T17:00:00Z");
    late_tub(play, "T9", 900, "2026-04-05T12:00:00Z");
    town_tub(play, "quayside", "T3", 300, "2026-04-10T12:00:00Z");
    must_close(play, "2026-04", "2026-05-03T17:00:00Z");
    static const struct want listed[] = {{"quality.late_arrivals.0.mass_kg", "0.900"},
                                         {"stock.late_kg", "0.900"}};
    cr_expect(town_holds(play, 0, "2026-04", listed, 2));
    restate_and_compare(play, "2026-03", "2026-05-06T17:00:00Z");
    cr_expect(town_holds(play, 0, "2026-04", listed, 2));
    restate_and_compare(play, "2026-04", "2026-05-07T17:00:00Z");
    HOLDS(play, "2026-04", {"quality.late_arrivals.0", "-"}, {"stock.late_kg", "0.000"},
          {"stock.opening_kg", "1.600"}, {"restatement.number", "1"});
}

Test(period, R6_only_a_closed_month_can_be_restated)
{
    struct play *play = march();
    struct err_text why = {.s = ""};
    struct arena arena;
    Knockbox__Restate *restate = NULL;
    play_put(play, 0);
    cr_assert(eq(int, arena_init(&arena, ARENA_BIG_RECORD, &why), ERR_OK));
    cr_expect(eq(int,
                 restate_make(play_ledger(play), play_store(play), play_month("2026-03"), "x", NULL,
                              &arena, &restate, &why),
                 ERR_INPUT));
    arena_done(&arena);
    play_free(play);
}

/* T3, T4: before 04:00 it is the day before; a night close of 31 March is March's. */
Test(period, T4_the_month_is_that_of_the_business_day)
{
    struct play *play = town_new();
    town_tub(play, "quayside", "T1", 500, "2026-04-01T02:30:00Z"); /* 03:30 local */
    town_tub(play, "quayside", "T2", 300, "2026-04-01T03:00:00Z"); /* 04:00 local */
    play_say(play, "{'kind': 'close', 'at': '2026-04-01T08:00:00Z', 'site': 'quayside', 'day': "
                   "'2026-03-31', 'uncaptured_g': 40, 'uncaptured_method': 'sampled', 'stream': "
                   "'bin'}");
    static const struct want march_[] = {{"grounds.captured_kg", "0.500"},
                                         {"grounds.uncaptured_kg", "0.040"},
                                         {"waste.disposed_kg", "0.040"}};
    cr_expect(town_holds(play, 0, "2026-03", march_, 3));
    HOLDS(play, "2026-04", {"grounds.captured_kg", "0.300"}, {"period.start", "2026-04-01"},
          {"period.end", "2026-04-30"}, {"period.zone", "Europe/London"},
          {"period.rule", "business-day"});
}

static char *
page_of(struct play *play, const char *month)
{
    struct report_ask ask = {.month = play_month(month), .pictures = true};
    struct table_model *model = NULL;
    char *page = NULL;
    cr_assert(
        eq(int, report_month(play_ledger(play), play_store(play), &ask, &model, NULL), ERR_OK));
    cr_assert(eq(int, report_html(model, &page, NULL), ERR_OK));
    table_free(model);
    return page;
}

/* Its picture of twelve months tells March as April's close knew it. */
Test(period, R6_the_page_of_a_closed_month_stays_when_an_earlier_month_is_restated)
{
    struct play *play = march();
    town_tub(play, "quayside", "T3", 900, "2026-04-05T12:00:00Z");
    must_close(play, "2026-03", "2026-04-10T12:00:00Z");
    must_close(play, "2026-04", "2026-05-03T12:00:00Z");
    char *april = page_of(play, "2026-04"), *march_ = page_of(play, "2026-03");
    late_tub(play, "T9", 900, "2026-05-05T12:00:00Z");
    must_restate(play, "2026-03", "the foundry's box was offline", "2026-05-06T12:00:00Z");
    char *april_again = page_of(play, "2026-04"), *march_again = page_of(play, "2026-03");
    cr_expect(eq(str, april_again, april));
    cr_expect(ne(str, march_again, march_));
    cr_expect(ne(ptr, strstr(april, "2026-03</th>"), NULL));
    free(april);
    free(march_);
    free(april_again);
    free(march_again);
    play_free(play);
}
