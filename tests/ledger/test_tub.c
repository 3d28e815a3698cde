/* test_tub.c - one row a rule of the life of a tub, worked by hand.
 *
 * Source of every row: docs/report-rules, the rule named in it; figures worked by hand from it.
 * A scene is a few lines after a common catalogue: kitchen, alpha and beta (cafés), freezers
 * kitchen-f1, kitchen-f2, alpha-f1, beta-f1; tub T1 is filled at alpha on 2 March with 2000 g.
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "proto/ledger.pb-c.h"
#include "tests/ledger/play.h"

static struct play *
scene(void)
{
    struct play *play = play_new("kitchen");
    static const char *const sites[] = {"kitchen", "alpha", "beta"};
    for (int i = 0; i < 3; i++) {
        play_say(play,
                 "{'kind': 'site', 'at': '2026-02-01T00:00:00Z', 'code': '%s', 'role': '%s', "
                 "'zone': 'Europe/London', 'day_start': '04:00', 'currency': 'GBP', 'joined': "
                 "'2026-02-01'%s}",
                 sites[i], i == 0 ? "kitchen" : "cafe", i == 2 ? ", 'left': '2026-03-20'" : "");
        play_say(play,
                 "{'kind': 'place', 'at': '2026-02-01T00:00:00Z', 'code': '%s-f1', 'for_site': "
                 "'%s', 'class': 'freezer'}",
                 sites[i], sites[i]);
    }
    play_say(play, "{'kind': 'place', 'at': '2026-02-01T00:00:00Z', 'code': 'kitchen-f2', "
                   "'for_site': 'kitchen', 'class': 'freezer'}");
    return play;
}

#define TUB(at, code, gross, more)                                                            \
    "{'kind': 'tub', 'site': 'alpha', 'at': '" at "', 'tub': '" code "', 'coffee': 'house', " \
    "'origin': 'espresso', 'gross_g': " gross ", 'tare_g': 100, 'method': 'weighed', "        \
    "'first_knock': '2026-03-02T14:00:00Z', 'frozen': '2026-03-02T15:00:00Z', 'place': "      \
    "'alpha-f1'" more "}"
#define T1 \
    TUB("2026-03-02T16:00:00Z", "T1", "2100", ", 'id': '019c0000-0000-7000-8000-0000000000aa'")
#define HAND(at, run) \
    "{'kind': 'handover', 'site': 'alpha', 'at': '" at "', 'run': '" run "', 'tubs': ['T1']}"
#define RECEIVE(at, more) \
    "{'kind': 'receive', 'at': '" at "', 'run': 'R1', 'tubs': [{'tub': 'T1'" more "}]}"
#define MIX(at, mass, more)                                                                        \
    "{'kind': 'mix', 'at': '" at "', 'batch': 'B1', 'recipe': 'r', 'vessel': 'V', 'started': '" at \
    "', 'inputs': [{'tub': 'T1', 'mass_g': " mass more "}]}"
#define COUNT(site, at, place, tubs)                                             \
    "{'kind': 'stocktake', 'site': '" site "', 'at': '" at "', 'place': '" place \
    "', 'tubs': [" tubs "]}"
#define DISCARD(site, at, what)                                                                  \
    "{'kind': 'discard', 'site': '" site "', 'at': '" at "', 'what': 'tub', 'code': 'T1', " what \
    ", 'reason': 'soft', 'stream': 'bin'}"

#define NOON "'2026-03-02T12:00:00Z'"
#define T5(kind, id, more)                                                                         \
    "{'kind': '" kind "', 'at': " NOON ", 'id': '019c0000-0000-7000-8000-0000000000" id "', " more \
    "}"

struct sum {
    enum measure measure;
    const char *site;
    int64_t grams;
};

struct tub_case {
    const char *name;
    const char *lines[6];
    const char *flags; /* codes of discrepancies about T1, in order of code, with blanks between */
    struct sum sums[6];
    const char *row; /* where it is at the end, "" for gone */
    int64_t left_g;
    Knockbox__TubState state;
};

#define S(state) KNOCKBOX__TUB_STATE__TUB_STATE_##state

static const struct tub_case cases[] = {
    {"G1 S1 filled and still there",
     {T1},
     "",
     {{MEASURE_FILLED, "alpha", 2000}},
     "alpha",
     2000,
     S(FROZEN)},
    {"R2 R3 a label is one lot for ever: the second tub has no effect",
     {T1, TUB("2026-03-03T16:00:00Z", "T1", "3100", "")},
     "tub-twice",
     {{MEASURE_FILLED, NULL, 2000}},
     "alpha",
     2000,
     S(FROZEN)},
    {"S3 handed over: out of the café's row, into transit",
     {T1, HAND("2026-03-03T06:00:00Z", "R1")},
     "",
     {{MEASURE_SENT, "alpha", 2000}, {MEASURE_RECEIVED, "in-transit", 2000}},
     "in-transit",
     2000,
     S(IN_TRANSIT)},
    {"S3 café and driver both write the same run: once",
     {T1, HAND("2026-03-03T06:00:00Z", "R1"), HAND("2026-03-03T06:10:00Z", "R1")},
     "",
     {{MEASURE_SENT, NULL, 2000}},
     "in-transit",
     2000,
     S(IN_TRANSIT)},
    {"S3 another run: no effect",
     {T1, HAND("2026-03-03T06:00:00Z", "R1"), HAND("2026-03-04T06:00:00Z", "R2")},
     "handed-over-twice",
     {{MEASURE_SENT, NULL, 2000}},
     "in-transit",
     2000,
     S(IN_TRANSIT)},
    {"S4 received and weighed: 40 g less is within 50 g and unexplained at the kitchen",
     {T1, HAND("2026-03-03T06:00:00Z", "R1"), RECEIVE("2026-03-03T08:00:00Z", ", 'gross_g': 2060")},
     "",
     {{MEASURE_SENT, "in-transit", 2000},
      {MEASURE_RECEIVED, "kitchen", 2000},
      {MEASURE_UNEXPLAINED_RECEIPT, "kitchen", -40}},
     "kitchen",
     1960,
     S(RECEIVED)},
    {"S4 51 g is beyond the limit",
     {T1, HAND("2026-03-03T06:00:00Z", "R1"), RECEIVE("2026-03-03T08:00:00Z", ", 'gross_g': 2151")},
     "weight-difference",
     {{MEASURE_UNEXPLAINED_RECEIPT, "kitchen", 51}},
     "kitchen",
     2051,
     S(RECEIVED)},
    {"S4 a net of nothing is ignored",
     {T1, HAND("2026-03-03T06:00:00Z", "R1"), RECEIVE("2026-03-03T08:00:00Z", ", 'gross_g': 90")},
     "weight-difference",
     {{MEASURE_UNEXPLAINED_RECEIPT, NULL, 0}},
     "kitchen",
     2000,
     S(RECEIVED)},
    {"S3 received without a handover goes straight from row to row",
     {T1, RECEIVE("2026-03-03T08:00:00Z", "")},
     "no-handover",
     {{MEASURE_SENT, "alpha", 2000},
      {MEASURE_RECEIVED, "kitchen", 2000},
      {MEASURE_RECEIVED, "in-transit", 0}},
     "kitchen",
     2000,
     S(RECEIVED)},
    {"S3 R2 a second receipt on its row has no effect",
     {T1, HAND("2026-03-03T06:00:00Z", "R1"), RECEIVE("2026-03-03T08:00:00Z", ""),
      RECEIVE("2026-03-03T09:00:00Z", ", 'gross_g': 2000")},
     "received-twice",
     {{MEASURE_UNEXPLAINED_RECEIPT, NULL, 0}},
     "kitchen",
     2000,
     S(RECEIVED)},
    {"S5 not accepted: in stock, waits for its discard",
     {T1, HAND("2026-03-03T06:00:00Z", "R1"),
      RECEIVE("2026-03-03T08:00:00Z", ", 'accepted': false")},
     "refused-not-discarded",
     {{MEASURE_RECEIVED, "kitchen", 2000}},
     "kitchen",
     2000,
     S(REFUSED)},
    {"S5 S6 refused and thrown away",
     {T1, HAND("2026-03-03T06:00:00Z", "R1"),
      RECEIVE("2026-03-03T08:00:00Z", ", 'accepted': false"),
      DISCARD("kitchen", "2026-03-03T09:00:00Z", "'count': 1")},
     "",
     {{MEASURE_REJECTED, "kitchen", 2000}},
     "",
     0,
     S(DISCARDED)},
    {"S5 refused and used all the same",
     {T1, HAND("2026-03-03T06:00:00Z", "R1"),
      RECEIVE("2026-03-03T08:00:00Z", ", 'accepted': false"),
      MIX("2026-03-03T09:00:00Z", "2000", "")},
     "refused-not-discarded used-refused",
     {{MEASURE_USED, "kitchen", 2000}},
     "",
     0,
     S(USED)},
    {"S5 refused and missed by a count: still to be discarded",
     {T1, HAND("2026-03-03T06:00:00Z", "R1"),
      RECEIVE("2026-03-03T08:00:00Z", ", 'accepted': false"),
      COUNT("kitchen", "2026-03-04T20:00:00Z", "kitchen-f1", "")},
     "count-missing refused-not-discarded",
     {{MEASURE_UNEXPLAINED_COUNT, "kitchen", -2000}},
     "kitchen",
     2000,
     S(MISSING)},
    {"S6 thrown away at the café by mass: what is left stays",
     {T1, DISCARD("alpha", "2026-03-03T09:00:00Z", "'mass_g': 500")},
     "",
     {{MEASURE_REJECTED, "alpha", 500}},
     "alpha",
     1500,
     S(FROZEN)},
    {"S7 S8 used in part, as weighed at mixing",
     {T1, HAND("2026-03-03T06:00:00Z", "R1"), RECEIVE("2026-03-03T08:00:00Z", ""),
      MIX("2026-03-03T09:00:00Z", "1200", "")},
     "",
     {{MEASURE_USED, "kitchen", 1200}},
     "kitchen",
     800,
     S(RECEIVED)},
    {"S8 empty: what is left is unexplained",
     {T1, HAND("2026-03-03T06:00:00Z", "R1"), RECEIVE("2026-03-03T08:00:00Z", ""),
      MIX("2026-03-03T09:00:00Z", "1950", ", 'empty': true")},
     "",
     {{MEASURE_USED, NULL, 1950}, {MEASURE_UNEXPLAINED_EMPTY, "kitchen", -50}},
     "",
     0,
     S(USED)},
    {"S9 more used than held: the written mass, the excess unexplained",
     {T1, HAND("2026-03-03T06:00:00Z", "R1"), RECEIVE("2026-03-03T08:00:00Z", ""),
      MIX("2026-03-03T09:00:00Z", "2100", "")},
     "overdrawn",
     {{MEASURE_USED, NULL, 2100}, {MEASURE_UNEXPLAINED_OVERDRAW, "kitchen", 100}},
     "",
     0,
     S(USED)},
    {"S9 used when nothing is left: all of it is excess",
     {T1, HAND("2026-03-03T06:00:00Z", "R1"), RECEIVE("2026-03-03T08:00:00Z", ""),
      MIX("2026-03-03T09:00:00Z", "2000", ""), MIX("2026-03-04T09:00:00Z", "300", "")},
     "overdrawn",
     {{MEASURE_USED, NULL, 2300}, {MEASURE_UNEXPLAINED_OVERDRAW, "kitchen", 300}},
     "",
     0,
     S(USED)},
    {"S10 used while it is still at the café: moved at the booked weight",
     {T1, MIX("2026-03-03T09:00:00Z", "1500", "")},
     "used-not-received",
     {{MEASURE_SENT, "alpha", 2000},
      {MEASURE_RECEIVED, "kitchen", 2000},
      {MEASURE_USED, "kitchen", 1500}},
     "kitchen",
     500,
     S(FROZEN)},
    {"S10 thrown away by the kitchen while in transit: the row stays",
     {T1, HAND("2026-03-03T06:00:00Z", "R1"),
      DISCARD("kitchen", "2026-03-03T09:00:00Z", "'count': 1")},
     "",
     {{MEASURE_REJECTED, "in-transit", 2000}, {MEASURE_RECEIVED, "kitchen", 0}},
     "",
     0,
     S(DISCARDED)},
    {"S3 nothing left is not moved",
     {T1, DISCARD("alpha", "2026-03-03T05:00:00Z", "'count': 1"),
      HAND("2026-03-03T06:00:00Z", "R1")},
     "moved-when-gone",
     {{MEASURE_SENT, NULL, 0}},
     "",
     0,
     S(DISCARDED)},
    {"S11 not listed in its place: missing, out of stock",
     {T1, COUNT("alpha", "2026-03-03T20:00:00Z", "alpha-f1", "'T9'")},
     "count-missing",
     {{MEASURE_UNEXPLAINED_COUNT, "alpha", -2000}, {MEASURE_COUNTED, "alpha", 1}},
     "alpha",
     2000,
     S(MISSING)},
    {"S11 listed again: back with its mass",
     {T1, COUNT("alpha", "2026-03-03T20:00:00Z", "alpha-f1", ""),
      COUNT("alpha", "2026-03-04T20:00:00Z", "alpha-f1", "'T1'")},
     "count-found count-missing",
     {{MEASURE_UNEXPLAINED_COUNT, "alpha", 0}},
     "alpha",
     2000,
     S(FROZEN)},
    {"S11 missed, then used: back first",
     {T1, COUNT("alpha", "2026-03-03T20:00:00Z", "alpha-f1", ""),
      MIX("2026-03-04T09:00:00Z", "2000", "")},
     "count-missing used-not-received",
     {{MEASURE_UNEXPLAINED_COUNT, "alpha", 0}, {MEASURE_USED, "kitchen", 2000}},
     "",
     0,
     S(USED)},
    {"S11 another place is counted: nothing",
     {T1, COUNT("kitchen", "2026-03-03T20:00:00Z", "kitchen-f1", "")},
     "",
     {{MEASURE_UNEXPLAINED_COUNT, NULL, 0}},
     "alpha",
     2000,
     S(FROZEN)},
    {"S11 listed elsewhere on the same site: moved, silent; its old place does not miss it",
     {T1, HAND("2026-03-03T06:00:00Z", "R1"), RECEIVE("2026-03-03T08:00:00Z", ""),
      COUNT("kitchen", "2026-03-03T20:00:00Z", "kitchen-f2", "'T1'"),
      COUNT("kitchen", "2026-03-03T21:00:00Z", "kitchen-f1", "")},
     "",
     {{MEASURE_UNEXPLAINED_COUNT, NULL, 0}},
     "kitchen",
     2000,
     S(RECEIVED)},
    {"S11 listed on another row: an implied transfer",
     {T1, COUNT("kitchen", "2026-03-03T20:00:00Z", "kitchen-f1", "'T1'")},
     "count-elsewhere",
     {{MEASURE_SENT, "alpha", 2000}, {MEASURE_RECEIVED, "kitchen", 2000}},
     "kitchen",
     2000,
     S(FROZEN)},
    {"S11 listed when gone: no mass",
     {T1, DISCARD("alpha", "2026-03-03T05:00:00Z", "'count': 1"),
      COUNT("alpha", "2026-03-03T20:00:00Z", "alpha-f1", "'T1'")},
     "count-of-gone",
     {{MEASURE_UNEXPLAINED_COUNT, NULL, 0}},
     "",
     0,
     S(DISCARDED)},
    {"F7 a stocktake without a list of tubs counted none",
     {T1,
      "{'kind': 'stocktake', 'site': 'alpha', 'at': '2026-03-03T20:00:00Z', 'place': 'alpha-f1', "
      "'bottles': []}"},
     "",
     {{MEASURE_COUNTED, NULL, 0}, {MEASURE_UNEXPLAINED_COUNT, NULL, 0}},
     "alpha",
     2000,
     S(FROZEN)},
    {"T6 a movement dated before its tub counts at the tub's moment",
     {T1, HAND("2026-03-02T12:00:00Z", "R1")},
     "before-it-existed",
     {{MEASURE_FILLED, "alpha", 2000}, {MEASURE_SENT, "alpha", 2000}},
     "in-transit",
     2000,
     S(IN_TRANSIT)},
    {"T5 all in one moment, ids the other way round: filled, handed over, received, used",
     {T5("mix", "c1",
         "'batch': 'B1', 'recipe': 'r', 'vessel': 'V', 'started': " NOON
         ", 'inputs': [{'tub': 'T1', 'mass_g': 2000}]"),
      T5("receive", "c2", "'run': 'R1', 'tubs': [{'tub': 'T1'}]"),
      T5("handover", "c3", "'site': 'alpha', 'run': 'R1', 'tubs': ['T1']"),
      T5("tub", "c4",
         "'site': 'alpha', 'tub': 'T1', 'coffee': 'house', 'origin': 'espresso', "
         "'gross_g': 2100, 'tare_g': 100, 'method': 'weighed', 'first_knock': "
         "'2026-03-02T11:00:00Z', 'frozen': " NOON ", 'place': 'alpha-f1'")},
     "",
     {{MEASURE_FILLED, "alpha", 2000},
      {MEASURE_SENT, "alpha", 2000},
      {MEASURE_RECEIVED, "kitchen", 2000},
      {MEASURE_USED, "kitchen", 2000}},
     "",
     0,
     S(USED)},
    {"R9 the tub is void: its movements are of an unknown tub",
     {T1, HAND("2026-03-03T06:00:00Z", "R1"),
      "{'kind': 'correct', 'site': 'alpha', 'at': '2026-03-05T06:00:00Z', 'record': "
      "'019c0000-0000-7000-8000-0000000000aa', 'void': true, 'reason': 'never was'}"},
     "unknown-tub",
     {{MEASURE_FILLED, NULL, 0}, {MEASURE_SENT, NULL, 0}},
     NULL,
     0,
     S(UNKNOWN)},
    {"R1 corrected weight, as if written so at first",
     {T1, "{'kind': 'correct', 'site': 'alpha', 'at': '2026-03-05T06:00:00Z', 'record': "
          "'019c0000-0000-7000-8000-0000000000aa', 'reason': 'read again', 'body': {'tub': 'T1', "
          "'coffee': 'house', 'origin': 'espresso', 'gross_g': 2600, 'tare_g': 100, 'method': "
          "'estimated', 'first_knock': '2026-03-02T14:00:00Z', 'frozen': '2026-03-02T15:00:00Z', "
          "'place': 'alpha-f1'}}"},
     "",
     {{MEASURE_FILLED, "alpha", 2500}, {MEASURE_CORRECTION, "alpha", 1}},
     "alpha",
     2500,
     S(FROZEN)},
};
enum {
    CASES = sizeof cases / sizeof cases[0]
};

struct flags {
    char codes[16][40];
    size_t n;
};

static bool
gather(void *owner, const struct posting *line)
{
    struct flags *flags = owner;
    const char *subject = strrchr(line->key, '/');
    if (strcmp(subject, "/T1") == 0)
        (void)snprintf(flags->codes[flags->n++], sizeof flags->codes[0], "%.*s",
                       (int)strcspn(line->key, "/"), line->key);
    return true;
}

static void
check_flags(const struct tub_case *c, const struct books *books)
{
    struct flags flags = {.n = 0};
    char text[400] = "";
    books_walk(books, MEASURE_DISCREPANCY, 0, INT32_MAX, gather, &flags);
    qsort(flags.codes, flags.n, sizeof flags.codes[0], (int (*)(const void *, const void *))strcmp);
    for (size_t i = 0; i < flags.n; i++) {
        strcat(text, i > 0 ? " " : "");
        strcat(text, flags.codes[i]);
    }
    cr_expect(eq(str, text, (char *)c->flags), "%s", c->name);
}

static void
check_row(const struct tub_case *c, struct play *play)
{
    struct arena arena;
    struct err_text why = {.s = ""};
    ProtobufCMessage *message = NULL;
    cr_assert(eq(int, arena_init(&arena, ARENA_RECORD, &why), ERR_OK));
    cr_assert(
        eq(int, ledger_row(play_ledger(play), SUBJECT_TUB, "T1", &arena, &message, &why), ERR_OK),
        "%s", c->name);
    const Knockbox__TubRow *row = (const Knockbox__TubRow *)message;
    cr_expect(eq(int, row->state, c->state), "%s", c->name);
    cr_expect(eq(i64, row->net_g, c->left_g), "%s", c->name);
    if (c->row != NULL)
        cr_expect(eq(str, row->site, (char *)c->row), "%s", c->name);
    arena_done(&arena);
}

Test(tub, each_rule_gives_the_worked_row)
{
    for (int i = 0; i < CASES; i++) {
        const struct tub_case *c = &cases[i];
        struct play *play = scene();
        for (int k = 0; k < 6 && c->lines[k] != NULL; k++)
            play_say(play, "%s", c->lines[k]);
        play_put(play, 1);
        struct books *books = play_books(play, INT64_MAX);
        for (int k = 0; k < 6 && c->sums[k].measure != 0; k++)
            cr_expect(eq(i64, books_sum(books, c->sums[k].measure, 0, INT32_MAX, c->sums[k].site),
                         c->sums[k].grams),
                      "%s: measure %d at %s", c->name, c->sums[k].measure,
                      c->sums[k].site != NULL ? c->sums[k].site : "all");
        check_flags(c, books);
        check_row(c, play);
        books_free(books);
        play_free(play);
    }
}

/* T6: in the month of the tub, whatever month the movement was written in. */
Test(tub, a_movement_dated_in_the_month_before_its_tub_counts_in_the_month_of_the_tub)
{
    struct play *play = scene();
    play_say(play, T1);
    play_say(play, HAND("2026-02-20T12:00:00Z", "R1"));
    play_put(play, 0);
    struct books *books = play_books(play, INT64_MAX);
    int32_t february = play_month("2026-02"), march = play_month("2026-03");
    cr_expect(eq(i64, books_sum(books, MEASURE_SENT, february, february, "alpha"), 0));
    cr_expect(eq(i64, books_sum(books, MEASURE_SENT, march, march, "alpha"), 2000));
    books_free(books);
    play_free(play);
}

/* R4: the day before it joined, and the day after it left. */
Test(tub, a_tub_outside_the_boundary_does_not_exist)
{
    static const char *const days[] = {"2026-01-31T12:00:00Z", "2026-03-21T12:00:00Z"};
    for (int i = 0; i < 2; i++) {
        struct play *play = scene();
        play_say(
            play,
            "{'kind': 'tub', 'site': 'beta', 'at': '%s', 'tub': 'T1', 'coffee': 'house', "
            "'origin': 'espresso', 'gross_g': 2100, 'tare_g': 100, 'method': 'weighed', "
            "'first_knock': '2026-01-01T14:00:00Z', 'frozen': '2026-01-01T15:00:00Z', 'place': "
            "'beta-f1'}",
            days[i]);
        play_say(play, HAND("2026-03-22T12:00:00Z", "R1"));
        play_put(play, 0);
        struct books *books = play_books(play, INT64_MAX);
        struct flags flags = {.n = 0};
        books_walk(books, MEASURE_DISCREPANCY, 0, INT32_MAX, gather, &flags);
        cr_expect(eq(i64, books_sum(books, MEASURE_FILLED, 0, INT32_MAX, NULL), 0));
        cr_expect(eq(sz, flags.n, 2));
        cr_expect(eq(i64, books_sum(books, MEASURE_SENT, 0, INT32_MAX, NULL), 0));
        books_free(books);
        play_free(play);
    }
}

/* ---- T7 */

struct warm_case {
    const char *name;
    const char *shifts[3]; /* state, from, to on 2 March; state "" is warm */
    int64_t minutes;
};

static const struct warm_case warm_cases[] = {
    {"knocked out 14:00, frozen 15:00", {NULL}, 60},
    {"chilled 14:10 to 14:40", {"chilled 14:10 14:40"}, 30},
    {"chilled before, over the edge", {"chilled 13:00 14:20"}, 40},
    {"two that overlap count once", {"chilled 14:00 14:30", "frozen 14:20 14:40"}, 20},
    {"thawing takes nothing off and adds nothing", {"thawing 14:10 14:40"}, 60},
    {"warm outside the span adds", {"warm 18:00 18:15"}, 75},
    {"warm inside the span is in it already", {"warm 14:10 14:40"}, 60},
    {"warm over the edge adds what is outside", {"warm 14:50 15:10"}, 70},
    {"two warm ones that overlap count once", {"warm 18:00 18:15", "warm 18:10 18:20"}, 80},
};

static void
say_shift(struct play *play, const char *text)
{
    char state[16], from[8], to[8];
    cr_assert(eq(int, sscanf(text, "%15s %7s %7s", state, from, to), 3));
    char stated[40] = "";
    if (strcmp(state, "warm") != 0)
        (void)snprintf(stated, sizeof stated, ", 'state': '%s'", state);
    play_say(
        play,
        "{'kind': 'shift', 'site': 'alpha', 'at': '2026-03-02T19:00:00Z', 'tub': 'T1', 'from': "
        "'2026-03-02T%s:00Z', 'to': '2026-03-02T%s:00Z'%s}",
        from, to, stated);
}

static Knockbox__TubRow
warm_row(struct play *play)
{
    struct arena arena;
    struct err_text why = {.s = ""};
    ProtobufCMessage *message = NULL;
    cr_assert(eq(int, arena_init(&arena, ARENA_RECORD, &why), ERR_OK));
    cr_assert(
        eq(int, ledger_row(play_ledger(play), SUBJECT_TUB, "T1", &arena, &message, &why), ERR_OK));
    Knockbox__TubRow row = *(const Knockbox__TubRow *)message;
    arena_done(&arena);
    return row;
}

Test(tub, warm_time_is_counted_as_worked)
{
    for (size_t i = 0; i < sizeof warm_cases / sizeof warm_cases[0]; i++) {
        const struct warm_case *c = &warm_cases[i];
        struct play *play = scene();
        play_say(play, T1);
        for (int k = 0; k < 3 && c->shifts[k] != NULL; k++)
            say_shift(play, c->shifts[k]);
        play_put(play, 0);
        cr_expect(eq(i64, warm_row(play).warm_ms / 60000, c->minutes), "%s", c->name);
        play_free(play);
    }
}

/* The comparator is data, the comparison exact: 60 min against <= 60, < 60, and 60 min 1 ms. */
Test(tub, warm_time_is_compared_unrounded_with_the_limit_of_the_site)
{
    static const struct {
        const char *comparator, *frozen;
        int64_t over; /* floored minutes + 1 */
    } rows[] = {{"<=", "15:00:00Z", 0}, {"<", "15:00:00Z", 61}, {"<=", "15:00:00.001Z", 61}};
    for (int i = 0; i < 3; i++) {
        struct play *play = scene();
        play_say(
            play,
            "{'kind': 'limits', 'code': 'warm-time', 'value': '60', 'unit': 'min', "
            "'comparator': '%s', 'source': 'house', 'dated': '2026-01-01', 'for_site': 'alpha'}",
            rows[i].comparator);
        play_say(play,
                 "{'kind': 'tub', 'site': 'alpha', 'at': '2026-03-02T16:00:00Z', 'tub': 'T1', "
                 "'coffee': 'house', 'origin': 'espresso', 'gross_g': 2100, 'tare_g': 100, "
                 "'method': 'weighed', 'first_knock': '2026-03-02T14:00:00Z', 'frozen': "
                 "'2026-03-02T%s', 'place': 'alpha-f1'}",
                 rows[i].frozen);
        play_put(play, 0);
        struct books *books = play_books(play, INT64_MAX);
        cr_expect(eq(i64,
                     books_line(books, MEASURE_WARM_OVER, play_month("2026-03"), "alpha", "T1"),
                     rows[i].over),
                  "%s %s", rows[i].comparator, rows[i].frozen);
        cr_expect(eq(int, warm_row(play).warm_over, rows[i].over > 0));
        books_free(books);
        play_free(play);
    }
}

/* T8: 300 s is the edge; ahead, the tub is neither passed nor over, and counts all the same. */
Test(tub, T8_a_clock_ahead_leaves_the_warm_time_unknown)
{
    static const struct {
        const char *held;
        int ahead;
    } rows[] = {{"2026-03-02T15:55:00Z", 0}, {"2026-03-02T15:54:59.999Z", 1}};
    for (int i = 0; i < 2; i++) {
        struct play *play = scene();
        play_say(play,
                 "{'kind': 'tub', 'site': 'alpha', 'at': '2026-03-02T16:00:00Z', 'held': '%s', "
                 "'tub': 'T1', 'coffee': 'house', 'origin': 'espresso', 'gross_g': 2100, 'tare_g': "
                 "100, 'method': 'weighed', 'first_knock': '2026-03-02T04:00:00Z', 'frozen': "
                 "'2026-03-02T15:00:00Z', 'place': 'alpha-f1'}",
                 rows[i].held);
        play_put(play, 0);
        struct books *books = play_books(play, INT64_MAX);
        struct flags flags = {.n = 0};
        int32_t march = play_month("2026-03");
        books_walk(books, MEASURE_DISCREPANCY, 0, INT32_MAX, gather, &flags);
        cr_expect(eq(sz, flags.n, (size_t)rows[i].ahead));
        cr_expect(flags.n == 0 || strcmp(flags.codes[0], "clock-ahead") == 0);
        cr_expect(
            eq(i64, books_line(books, MEASURE_WARM_UNKNOWN, march, "alpha", "T1"), rows[i].ahead));
        cr_expect(eq(i64, books_line(books, MEASURE_WARM_OVER, march, "alpha", "T1"),
                     rows[i].ahead ? 0 : 661));
        cr_expect(eq(i64, books_sum(books, MEASURE_FILLED, march, march, "alpha"), 2000));
        books_free(books);
        play_free(play);
    }
}

/* A shift `frozen` after the tub was frozen is a second freezing; one that ends in it is the first. */
Test(tub, a_second_freezing_is_flagged)
{
    static const struct {
        const char *shift;
        size_t flags;
    } rows[] = {{"frozen 17:00 18:00", 1},
                {"frozen 14:30 15:00", 0},
                {"frozen 14:10 14:20", 1},
                {"chilled 17:00 18:00", 0}};
    for (int i = 0; i < 4; i++) {
        struct play *play = scene();
        struct flags flags = {.n = 0};
        play_say(play, T1);
        say_shift(play, rows[i].shift);
        play_put(play, 0);
        struct books *books = play_books(play, INT64_MAX);
        books_walk(books, MEASURE_DISCREPANCY, 0, INT32_MAX, gather, &flags);
        cr_expect(eq(sz, flags.n, rows[i].flags), "%s", rows[i].shift);
        cr_expect(flags.n == 0 || strcmp(flags.codes[0], "second-freezing") == 0);
        books_free(books);
        play_free(play);
    }
}
