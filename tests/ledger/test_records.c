/* test_records.c - which records count, when, and as what: days, corrections, late ones, K(T).
 *
 * Source of every figure: report rules T1-T4, R1, R2, R4-R8, G1-G3, Q2, Q3, worked by hand.
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/record/record.h"
#include "proto/ledger.pb-c.h"
#include "proto/when.h"
#include "tests/ledger/play.h"

static struct play *
scene(void)
{
    struct play *play = play_new("kitchen");
    play_say(play, "{'kind': 'site', 'at': '2026-01-01T00:00:00Z', 'code': 'kitchen', 'role': "
                   "'kitchen', 'zone': 'Europe/London', 'day_start': '04:00', 'currency': 'GBP', "
                   "'joined': '2026-01-01'}");
    play_say(play,
             "{'kind': 'site', 'at': '2026-01-01T00:00:00Z', 'code': 'alpha', 'role': 'cafe', "
             "'zone': 'Europe/London', 'day_start': '04:00', 'currency': 'GBP', 'joined': "
             "'2026-01-01'}");
    play_say(play,
             "{'kind': 'place', 'at': '2026-01-01T00:00:00Z', 'code': 'alpha-f1', 'for_site': "
             "'alpha', 'class': 'freezer', 'max_c': '-15.0', 'min_c': '-30', "
             "'readings_per_day': 2}");
    return play;
}

#define TUB_BODY(code, gross)                                                                 \
    "'tub': '" code "', 'coffee': 'house', 'origin': 'espresso', 'gross_g': " gross           \
    ", 'tare_g': 100, 'method': 'weighed', 'first_knock': '2026-03-02T14:00:00Z', 'frozen': " \
    "'2026-03-02T15:00:00Z', 'place': 'alpha-f1'"
#define ID(n) "019c0000-0000-7000-8000-0000000000" n

static void
tub(struct play *play, const char *id, const char *at, const char *held, const char *body)
{
    play_say(play, "{'kind': 'tub', 'site': 'alpha', 'id': '%s', 'at': '%s', 'held': '%s', %s}", id,
             at, held, body);
}

static void
correct(struct play *play, const char *id, const char *at, const char *record, const char *what)
{
    play_say(play,
             "{'kind': 'correct', 'site': 'alpha', 'id': '%s', 'at': '%s', 'record': '%s', "
             "'reason': 'why', %s}",
             id, at, record, what);
}

static int64_t
filled(struct play *play, const char *month)
{
    struct books *books = play_books(play, INT64_MAX);
    int64_t g = month != NULL
                    ? books_sum(books, MEASURE_FILLED, play_month(month), play_month(month), NULL)
                    : books_sum(books, MEASURE_FILLED, 0, INT32_MAX, NULL);
    books_free(books);
    return g;
}

struct codes {
    const char *code;
    size_t n;
};

static bool
count_code(void *owner, const struct posting *line)
{
    struct codes *codes = owner;
    size_t len = strlen(codes->code);
    codes->n += strncmp(line->key, codes->code, len) == 0 && line->key[len] == '/';
    return true;
}

static size_t
flags(struct play *play, const char *code)
{
    struct codes codes = {code, 0};
    struct books *books = play_books(play, INT64_MAX);
    books_walk(books, MEASURE_DISCREPANCY, 0, INT32_MAX, count_code, &codes);
    books_free(books);
    return codes.n;
}

/* ---- T1 to T4 */

Test(records, T3_T4_a_business_day_begins_at_day_start_on_the_wall_and_a_month_with_it)
{
    static const struct {
        const char *at, *month;
    } rows[] = {
        {"2026-03-01T03:59:59Z", "2026-02"}, /* 28 February's night */
        {"2026-03-01T04:00:00Z", "2026-03"},
        {"2026-04-01T02:59:59Z", "2026-03"}, /* 03:59:59 on the wall, summer time */
        {"2026-04-01T03:00:00Z", "2026-04"},
        {"2026-04-01T04:59:00+02:00", "2026-03"}, /* an offset of elsewhere: the instant counts */
    };
    for (int i = 0; i < 5; i++) {
        struct play *play = scene();
        tub(play, ID("a1"), rows[i].at, "2026-05-01T00:00:00Z", TUB_BODY("T1", "2100"));
        play_put(play, 0);
        cr_expect(eq(i64, filled(play, rows[i].month), 2000), "%s", rows[i].at);
        play_free(play);
    }
}

Test(records, T1_a_close_counts_on_its_day_whenever_it_is_written)
{
    struct play *play = scene();
    play_say(play, "{'kind': 'close', 'site': 'alpha', 'at': '2026-04-02T22:00:00Z', 'day': "
                   "'2026-03-31', 'uncaptured_g': 700, 'uncaptured_method': 'sampled', 'stream': "
                   "'bin'}");
    play_put(play, 0);
    struct books *books = play_books(play, INT64_MAX);
    int32_t march = play_month("2026-03");
    cr_expect(eq(i64, books_line(books, MEASURE_DAY_CLOSED, march, "alpha", "2026-03-31"), 1));
    cr_expect(eq(i64, books_line(books, MEASURE_UNCAPTURED, march, "alpha", "sampled"), 700));
    books_free(books);
    play_free(play);
}

Test(records, a_day_is_closed_once_and_not_stated_is_not_zero)
{
    struct play *play = scene();
    play_say(play, "{'kind': 'close', 'site': 'alpha', 'at': '2026-03-10T20:00:00Z', 'day': "
                   "'2026-03-10', 'nothing_kept': true}");
    play_say(play, "{'kind': 'close', 'site': 'alpha', 'at': '2026-03-10T21:00:00Z', 'day': "
                   "'2026-03-10', 'uncaptured_g': 700, 'uncaptured_method': 'weighed', 'stream': "
                   "'bin'}");
    play_say(play, "{'kind': 'close', 'site': 'alpha', 'at': '2026-03-11T20:00:00Z', 'day': "
                   "'2026-03-11', 'uncaptured_g': 0}");
    tub(play, ID("a1"), "2026-03-10T22:00:00Z", "2026-03-10T22:00:00Z", TUB_BODY("T1", "2100"));
    play_put(play, 1);
    struct books *books = play_books(play, INT64_MAX);
    cr_expect(eq(i64, books_sum(books, MEASURE_UNCAPTURED, 0, INT32_MAX, NULL), 0));
    cr_expect(eq(i64, books_sum(books, MEASURE_UNCAPTURED_DAYS_UNKNOWN, 0, INT32_MAX, NULL), 1));
    cr_expect(eq(i64, books_sum(books, MEASURE_DAY_CLOSED, 0, INT32_MAX, NULL), 2));
    cr_expect(eq(sz, flags(play, "closed-twice"), 1));
    cr_expect(eq(sz, flags(play, "nothing-kept-but-tubs"), 1));
    books_free(books);
    play_free(play);
}

/* ---- R1 */

Test(records, the_last_correction_by_its_moment_decides_in_every_order_of_arrival)
{
    for (uint64_t seed = 1; seed <= 12; seed++) {
        struct play *play = scene();
        tub(play, ID("a1"), "2026-03-02T16:00:00Z", "2026-03-02T16:00:00Z", TUB_BODY("T1", "2100"));
        correct(play, ID("c1"), "2026-03-05T10:00:00Z", ID("a1"),
                "'body': {" TUB_BODY("T1", "2200") "}");
        correct(play, ID("c2"), "2026-03-05T12:00:00Z", ID("c1"), "'void': true");
        correct(play, ID("c3"), "2026-03-05T13:00:00Z", ID("c2"),
                "'body': {" TUB_BODY("T1", "2400") "}");
        correct(play, ID("c4"), "2026-03-05T11:00:00Z", ID("a1"),
                "'body': {" TUB_BODY("T1", "2500") "}");
        play_shuffle(play, seed);
        play_put(play, 1);
        cr_expect(eq(i64, filled(play, NULL), 2300), "seed %d", (int)seed);
        cr_expect(eq(sz, flags(play, "unknown-record"), 0));
        play_free(play);
    }
}

Test(records, a_void_is_as_if_never_written_until_a_later_body)
{
    struct play *play = scene();
    tub(play, ID("a1"), "2026-03-02T16:00:00Z", "2026-03-02T16:00:00Z", TUB_BODY("T1", "2100"));
    correct(play, ID("c1"), "2026-03-05T10:00:00Z", ID("a1"), "'void': true");
    play_put(play, 1);
    cr_expect(eq(i64, filled(play, NULL), 0));
    correct(play, ID("c2"), "2026-03-06T10:00:00Z", ID("a1"),
            "'body': {" TUB_BODY("T1", "2150") "}");
    play_put(play, 1);
    cr_expect(eq(i64, filled(play, NULL), 2050));
    play_free(play);
}

Test(records, a_correction_may_move_a_record_to_another_moment_and_another_tub)
{
    struct play *play = scene();
    tub(play, ID("a1"), "2026-03-02T16:00:00Z", "2026-03-02T16:00:00Z", TUB_BODY("T1", "2100"));
    correct(play, ID("c1"), "2026-04-05T10:00:00Z", ID("a1"),
            "'body': {" TUB_BODY("T2", "2100") ", 'at': '2026-04-02T16:00:00Z'}");
    play_put(play, 1);
    struct books *books = play_books(play, INT64_MAX);
    cr_expect(eq(i64, filled(play, "2026-03"), 0));
    cr_expect(eq(i64, filled(play, "2026-04"), 2000));
    /* Q3: listed in the month before and in the month after */
    cr_expect(eq(
        i64, books_line(books, MEASURE_CORRECTION, play_month("2026-03"), "alpha", ID("a1")), 1));
    cr_expect(eq(
        i64, books_line(books, MEASURE_CORRECTION, play_month("2026-04"), "alpha", ID("a1")), 1));
    books_free(books);
    play_free(play);
}

Test(records, a_correction_of_nothing_known_waits_and_one_that_does_not_fit_has_no_effect)
{
    struct play *play = scene();
    correct(play, ID("c1"), "2026-03-05T10:00:00Z", ID("a1"),
            "'body': {" TUB_BODY("T1", "2200") "}");
    correct(play, ID("c2"), "2026-03-05T11:00:00Z", ID("a1"),
            "'body': {'place': 'alpha-f1', 'temp_c': '-18'}");
    play_put(play, 1);
    cr_expect(eq(sz, flags(play, "unknown-record"), 2));
    tub(play, ID("a1"), "2026-03-02T16:00:00Z", "2026-03-02T16:00:00Z", TUB_BODY("T1", "2100"));
    play_put(play, 1);
    cr_expect(eq(sz, flags(play, "unknown-record"), 0));
    cr_expect(eq(sz, flags(play, "unfit-correction"), 1));
    cr_expect(eq(i64, filled(play, NULL), 2100));
    play_free(play);
}

Test(records, corrections_that_name_each_other_wait_for_ever)
{
    struct play *play = scene();
    correct(play, ID("c1"), "2026-03-05T10:00:00Z", ID("c2"), "'void': true");
    correct(play, ID("c2"), "2026-03-05T11:00:00Z", ID("c1"), "'void': true");
    play_put(play, 1);
    cr_expect(eq(sz, flags(play, "unknown-record"), 2));
    play_free(play);
}

Test(records, the_catalogue_is_corrected_like_all_else)
{
    struct play *play = scene();
    play_say(play,
             "{'kind': 'limits', 'id': '" ID("b1") "', 'at': '2026-01-02T00:00:00Z', 'code': "
                                                   "'warm-time', 'value': '30', 'unit': 'min', "
                                                   "'comparator': '<=', 'source': 'house', "
                                                   "'dated': '2026-01-01'}");
    tub(play, ID("a1"), "2026-03-02T16:00:00Z", "2026-03-02T16:00:00Z", TUB_BODY("T1", "2100"));
    play_put(play, 1);
    struct books *before = play_books(play, INT64_MAX);
    cr_expect(eq(i64, books_sum(before, MEASURE_WARM_OVER, 0, INT32_MAX, NULL), 61));
    play_say(
        play,
        "{'kind': 'correct', 'at': '2026-03-05T10:00:00Z', 'record': '" ID(
            "b1") "', "
                  "'reason': 'a slip', 'body': {'code': 'warm-time', 'value': '90', 'unit': 'min', "
                  "'comparator': '<=', 'source': 'house', 'dated': '2026-01-01'}}");
    play_put(play, 1);
    struct books *after = play_books(play, INT64_MAX);
    cr_expect(eq(i64, books_sum(after, MEASURE_WARM_OVER, 0, INT32_MAX, NULL), 0));
    cr_expect(eq(i64, books_sum(after, MEASURE_CORRECTION, 0, INT32_MAX, NULL), 0),
              "Q3: site kinds");
    books_free(before);
    books_free(after);
    play_free(play);
}

/* ---- R6, R7 */

static bool
note_late(void *owner, const struct fact *fact)
{
    char id[ID_TEXT], month[MONTH_TEXT];
    (void)sprintf((char *)owner + strlen(owner), "%s:%s:%s ", id_print(fact->id, id) + 34,
                  fact->kind->word, month_print(fact->month, month));
    return true;
}

static void
check_late(struct play *play, const char *month, const char *want)
{
    char got[1000] = "";
    struct err_text why = {.s = ""};
    cr_assert(
        eq(int, ledger_late(play_ledger(play), play_month(month), note_late, got, &why), ERR_OK));
    cr_expect(eq(str, got, (char *)want), "late of %s", month);
}

static int64_t
filled_then(struct play *play, const char *held, const char *month)
{
    struct books *books = play_books(play, play_ms(held));
    int64_t g = books_sum(books, MEASURE_FILLED, play_month(month), play_month(month), NULL);
    books_free(books);
    return g;
}

Test(records, a_closed_month_stays_and_what_came_late_is_listed_in_the_next_open_one)
{
    struct play *play = scene();
    struct closing closing;
    struct err_text why = {.s = ""};
    tub(play, ID("a1"), "2026-03-02T16:00:00Z", "2026-03-02T16:00:00Z", TUB_BODY("T1", "2100"));
    play_say(play, "{'kind': 'period-close', 'at': '2026-04-03T10:00:00Z', 'month': '2026-03', "
                   "'edition': 'UK-2025'}");
    tub(play, ID("a2"), "2026-03-05T16:00:00Z", "2026-04-04T10:00:00Z", TUB_BODY("T2", "1100"));
    correct(play, ID("c1"), "2026-04-04T11:00:00Z", ID("a1"),
            "'body': {" TUB_BODY("T1", "2600") "}");
    play_say(play, "{'kind': 'period-close', 'at': '2026-05-03T10:00:00Z', 'month': '2026-04', "
                   "'edition': 'UK-2025'}");
    tub(play, ID("a3"), "2026-03-06T16:00:00Z", "2026-05-04T10:00:00Z", TUB_BODY("T3", "1600"));
    play_put(play, 1);
    cr_expect(eq(i64, filled_then(play, "2026-04-03T10:00:00Z", "2026-03"), 2000));
    check_late(play, "2026-03", "");
    check_late(play, "2026-04", "a2:tub:2026-03 c1:correct:2026-03 ");
    check_late(play, "2026-05", "a3:tub:2026-03 ");
    /* restated: all that was held by then is in, and the later months stay as printed */
    play_say(play,
             "{'kind': 'restate', 'at': '2026-05-10T10:00:00Z', 'month': '2026-03', 'number': "
             "1, 'reason': 'the box was offline'}");
    play_put(play, 1);
    cr_assert(
        eq(int, ledger_closing(play_ledger(play), play_month("2026-03"), INT64_MAX, &closing, &why),
           ERR_OK));
    cr_expect(eq(i64, closing.held_ms, play_ms("2026-05-10T10:00:00Z")));
    cr_expect(eq(int, closing.number, 1));
    cr_expect(eq(str, closing.edition, "UK-2025"));
    cr_expect(eq(str, closing.reason, "the box was offline"));
    cr_expect(eq(i64, filled_then(play, "2026-05-10T10:00:00Z", "2026-03"), 5000));
    check_late(play, "2026-04", "a2:tub:2026-03 c1:correct:2026-03 ");
    check_late(play, "2026-05", "");
    cr_assert(eq(int,
                 ledger_closing(play_ledger(play), play_month("2026-03"),
                                play_ms("2026-05-03T10:00:00Z"), &closing, &why),
                 ERR_OK));
    cr_expect(eq(int, closing.number, 0));
    cr_expect(
        eq(int, ledger_closing(play_ledger(play), play_month("2026-05"), INT64_MAX, &closing, &why),
           ERR_NOT_FOUND));
    play_free(play);
}

Test(records, a_month_closed_before_its_end_lists_what_was_held_after)
{
    struct play *play = scene();
    play_say(play, "{'kind': 'period-close', 'at': '2026-03-20T10:00:00Z', 'month': '2026-03', "
                   "'edition': 'UK-2025'}");
    tub(play, ID("a1"), "2026-03-22T16:00:00Z", "2026-03-22T16:00:00Z", TUB_BODY("T1", "2100"));
    play_put(play, 1);
    check_late(play, "2026-04", "a1:tub:2026-03 ");
    play_free(play);
}

Test(records, a_close_of_a_month_cannot_be_corrected)
{
    struct play *play = scene();
    struct closing closing;
    struct err_text why = {.s = ""};
    play_say(play, "{'kind': 'period-close', 'id': '" ID(
                       "b1") "', 'at': '2026-04-03T10:00:00Z', "
                             "'month': '2026-03', 'edition': 'UK-2025'}");
    play_say(play, "{'kind': 'correct', 'at': '2026-04-04T10:00:00Z', 'record': '" ID(
                       "b1") "', "
                             "'reason': 'too early', 'void': true}");
    play_put(play, 1);
    cr_expect(
        eq(int, ledger_closing(play_ledger(play), play_month("2026-03"), INT64_MAX, &closing, &why),
           ERR_OK));
    cr_expect(eq(sz, flags(play, "unfit-correction"), 1));
    play_free(play);
}

/* R4, T3 with a site that was another one when the month was closed. */
Test(records, books_of_a_moment_use_the_sites_of_that_moment)
{
    struct play *play = scene();
    tub(play, ID("a1"), "2026-03-02T03:00:00Z", "2026-03-02T16:00:00Z", TUB_BODY("T1", "2100"));
    tub(play, ID("a2"), "2026-03-01T03:30:00Z", "2026-03-02T16:00:00Z", TUB_BODY("T2", "1100"));
    play_say(play,
             "{'kind': 'site', 'at': '2026-04-10T00:00:00Z', 'code': 'alpha', 'role': 'cafe', "
             "'zone': 'Europe/London', 'day_start': '03:00', 'currency': 'GBP', 'joined': "
             "'2026-03-02'}");
    play_put(play, 1);
    cr_expect(eq(i64, filled(play, "2026-03"), 2000), "T2 is outside now");
    cr_expect(eq(sz, flags(play, "outside-boundary"), 1));
    cr_expect(eq(i64, filled_then(play, "2026-04-01T00:00:00Z", "2026-02"), 1000));
    cr_expect(eq(i64, filled_then(play, "2026-04-01T00:00:00Z", "2026-03"), 2000));
    play_free(play);
}

/* ---- Q2 */

Test(records, a_reading_outside_the_limits_fails_digit_for_digit)
{
    static const struct {
        const char *temp, *more;
        int failed, open;
    } rows[] = {{"-15.0", "", 0, 0},
                {"-14.9999", "", 1, 1},
                {"-15.00001", "", 0, 0},
                {"-30", "", 0, 0},
                {"-30.1", "", 1, 1},
                {"-9", ", 'action': 'door shut'", 1, 1},
                {"-9", ", 'action': 'door shut', 'disposition': 'still hard'", 1, 0}};
    for (int i = 0; i < 7; i++) {
        struct play *play = scene();
        play_say(play,
                 "{'kind': 'reading', 'site': 'alpha', 'at': '2026-03-02T16:00:00Z', 'place': "
                 "'alpha-f1', "
                 "'temp_c': '%s'%s}",
                 rows[i].temp, rows[i].more);
        play_put(play, 0);
        struct books *books = play_books(play, INT64_MAX);
        cr_expect(
            eq(i64, books_sum(books, MEASURE_READING_FAILED, 0, INT32_MAX, NULL), rows[i].failed),
            "%s", rows[i].temp);
        cr_expect(eq(sz, flags(play, "failed-reading-open"), (size_t)rows[i].open), "%s",
                  rows[i].temp);
        cr_expect(eq(i64,
                     books_line(books, MEASURE_READING, play_month("2026-03"), "alpha",
                                "alpha-f1|2026-03-02"),
                     1));
        books_free(books);
        play_free(play);
    }
}

/* ---- supplies */

Test(records, a_supply_knows_what_is_left_and_who_took_too_much)
{
    struct play *play = scene();
    struct arena arena;
    struct err_text why = {.s = ""};
    ProtobufCMessage *message = NULL;
    play_say(
        play,
        "{'kind': 'supply', 'at': '2026-03-01T09:00:00Z', 'lot': 'S1', 'item': 'spirit', "
        "'supplier': 'Still House', 'received': '2026-03-01', 'mass_g': 5000, 'abv_pct': '40'}");
    for (int i = 0; i < 3; i++)
        play_say(play,
                 "{'kind': 'mix', 'at': '2026-03-0%dT09:00:00Z', 'batch': 'B%d', 'recipe': 'r', "
                 "'vessel': 'V', 'started': '2026-03-02T09:00:00Z', 'inputs': [{'lot': 'S1', "
                 "'mass_g': 2000}, {'lot': 'S9', 'mass_g': 1}]}",
                 2 + i, i);
    play_put(play, 1);
    cr_expect(eq(sz, flags(play, "supply-overdrawn"), 1));
    cr_assert(eq(int, arena_init(&arena, ARENA_RECORD, &why), ERR_OK));
    cr_assert(eq(int, ledger_row(play_ledger(play), SUBJECT_SUPPLY, "S1", &arena, &message, &why),
                 ERR_OK));
    const Knockbox__SupplyRow *row = (const Knockbox__SupplyRow *)message;
    cr_expect(eq(i64, row->mass_g, 5000));
    cr_expect(eq(i64, row->left_g, 0));
    cr_expect(eq(str, row->abv_pct, "40"));
    arena_done(&arena);
    cr_expect(eq(sz, flags(play, "unknown-lot"), 3), "S9 in three batches");
    play_free(play);
}

/* ---- a café on its own */

Test(records, a_machine_without_a_catalogue_keeps_its_own_books)
{
    struct play *play = play_new("alpha");
    tub(play, ID("a1"), "2026-03-02T16:00:00Z", "2026-03-02T16:00:00Z", TUB_BODY("T1", "2100"));
    play_put(play, 1);
    cr_expect(eq(i64, filled(play, "2026-03"), 2000));
    cr_expect(eq(sz, flags(play, "outside-boundary"), 0));
    play_free(play);
}

/* ---- what one more record touches */

static bool
count_fact(void *owner, const struct fact *fact)
{
    (void)fact;
    ++*(size_t *)owner;
    return true;
}

static size_t
facts_under(struct play *play, enum subject_class class, const char *code)
{
    struct err_text why = {.s = ""};
    size_t n = 0;
    cr_assert(eq(int, ledger_facts(play_ledger(play), class, code, INT64_MAX, count_fact, &n, &why),
                 ERR_OK));
    return n;
}

/* Cafés sell the same product and read their freezers on the same days: each day of each café is
 * folded alone, and the sums are those of all. Common practice, no source. */
Test(records, sales_and_readings_are_folded_by_day_and_site)
{
    static const char *const sites[] = {"alpha", "beta"};
    struct play *play = play_new("kitchen");
    for (int s = 0; s < 2; s++)
        play_say(play,
                 "{'kind': 'site', 'code': '%s', 'role': 'cafe', 'zone': 'Europe/London', "
                 "'currency': 'GBP', 'joined': '2026-03-01'}",
                 sites[s]);
    for (int i = 0; i < 12; i++) {
        play_say(play,
                 "{'kind': 'sale', 'site': '%s', 'at': '2026-03-%02dT12:%02d:00Z', 'product': "
                 "'dark', 'bottle_ml': 500, 'count': 2, 'unit_minor': 1650, 'currency': 'GBP'}",
                 sites[i % 2], 2 + i % 3, i);
        play_say(play,
                 "{'kind': 'reading', 'site': '%s', 'at': '2026-03-%02dT12:%02d:00Z', 'place': "
                 "'%s-freezer', 'temp_c': '-18'}",
                 sites[i % 2], 2 + i % 3, i, sites[i % 2]);
    }
    play_put(play, 5);
    cr_expect(eq(sz, facts_under(play, SUBJECT_SALE, "2026-03-02|alpha|dark"), 2));
    cr_expect(eq(sz, facts_under(play, SUBJECT_PLACE, "2026-03-04|beta-freezer"), 2));
    struct books *books = play_books(play, INT64_MAX);
    int32_t march = play_month("2026-03");
    cr_expect(eq(i64, books_line(books, MEASURE_SOLD_ML, march, "beta", "dark|2026-03-03"), 2000));
    cr_expect(eq(i64, books_sum(books, MEASURE_SOLD, march, march, NULL), 12 * 2 * 1650));
    cr_expect(eq(i64, books_sum(books, MEASURE_READING, march, march, "alpha"), 6));
    books_free(books);
    play_free(play);
}
