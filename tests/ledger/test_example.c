/* test_example.c - the worked months of tests/data/example-month: books against their reports.
 *
 * The reports were computed apart from this program (their README). Of each the parts that the
 * ledger answers for are compared: stock, grounds, safety, quality.
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <inttypes.h>
#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/record/record.h"
#include "proto/when.h"
#include "tests/ledger/play.h"

static struct play *
example(void)
{
    struct play *play = play_new("kitchen");
    play_read(play, TEST_DATA "/example-month/catalogue.jsonl");
    play_read(play, TEST_DATA "/example-month/records.jsonl");
    return play;
}

struct month_row {
    const char *month, *held_most; /* NULL: open */
    const char *before_held;       /* what the month before was printed from, NULL: open */
};

static const struct month_row months[] = {
    {"2026-02", NULL, NULL},
    {"2026-03", "2026-04-03T16:00:00Z", NULL},
    {"2026-04", NULL, "2026-04-03T16:00:00Z"},
};
enum {
    MONTHS = sizeof months / sizeof months[0]
};

static json_t *
report_of(const char *month)
{
    char path[512];
    (void)snprintf(path, sizeof path, TEST_DATA "/example-month/report-%s.json", month);
    json_t *report = json_load_file(path, 0, NULL);
    cr_assert(ne(ptr, report, NULL));
    return report;
}

static int64_t
held_of(const char *text)
{
    return text != NULL ? play_ms(text) : INT64_MAX;
}

/* "-2.036" kg in grams */
static int64_t
grams(const json_t *object, const char *key)
{
    const char *text = json_string_value(json_object_get(object, key));
    cr_assert(ne(ptr, (void *)text, NULL), "%s", key);
    int64_t sum = 0;
    for (const char *c = text; *c != '\0'; c++)
        if (*c >= '0' && *c <= '9')
            sum = sum * 10 + (*c - '0');
    return text[0] == '-' ? -sum : sum;
}

static int64_t
unexplained(const struct books *books, int32_t first, int32_t last, const char *site)
{
    return books_sum(books, MEASURE_UNEXPLAINED_RECEIPT, first, last, site) +
           books_sum(books, MEASURE_UNEXPLAINED_COUNT, first, last, site) +
           books_sum(books, MEASURE_UNEXPLAINED_OVERDRAW, first, last, site) +
           books_sum(books, MEASURE_UNEXPLAINED_EMPTY, first, last, site);
}

static int64_t
stock(const struct books *books, int32_t last, const char *site)
{
    return books_sum(books, MEASURE_FILLED, 0, last, site) +
           books_sum(books, MEASURE_RECEIVED, 0, last, site) -
           books_sum(books, MEASURE_SENT, 0, last, site) -
           books_sum(books, MEASURE_REJECTED, 0, last, site) -
           books_sum(books, MEASURE_USED, 0, last, site) + unexplained(books, 0, last, site);
}

static void
check_row(const json_t *row, const struct books *books, const struct books *before, int32_t month,
          const char *site)
{
    static const struct {
        const char *key;
        enum measure measure;
    } sums[] = {{"filled_kg", MEASURE_FILLED},
                {"sent_kg", MEASURE_SENT},
                {"received_kg", MEASURE_RECEIVED},
                {"rejected_kg", MEASURE_REJECTED},
                {"used_kg", MEASURE_USED}},
      causes[] = {{"receipt_kg", MEASURE_UNEXPLAINED_RECEIPT},
                  {"count_kg", MEASURE_UNEXPLAINED_COUNT},
                  {"overdraw_kg", MEASURE_UNEXPLAINED_OVERDRAW},
                  {"empty_kg", MEASURE_UNEXPLAINED_EMPTY}};
    const char *name = site != NULL ? site : "all";
    for (size_t i = 0; i < sizeof sums / sizeof sums[0]; i++)
        cr_expect(
            eq(i64, books_sum(books, sums[i].measure, month, month, site), grams(row, sums[i].key)),
            "%s %s", name, sums[i].key);
    const json_t *by = json_object_get(row, "unexplained_by");
    for (size_t i = 0; i < sizeof causes / sizeof causes[0]; i++)
        cr_expect(eq(i64, books_sum(books, causes[i].measure, month, month, site),
                     grams(by, causes[i].key)),
                  "%s %s", name, causes[i].key);
    cr_expect(eq(i64, unexplained(books, month, month, site), grams(row, "unexplained_kg")));
    int64_t opening_g = stock(before, month - 1, site);
    cr_expect(eq(i64, opening_g, grams(row, "opening_kg")), "%s opening", name);
    cr_expect(eq(i64, stock(books, month - 1, site) - opening_g, grams(row, "late_kg")), "%s late",
              name);
    cr_expect(eq(i64, stock(books, month, site), grams(row, "closing_kg")), "%s closing", name);
    bool counted = json_is_string(json_object_get(row, "counted_kg"));
    if (site != NULL && strcmp(site, "in-transit") != 0)
        cr_expect(eq(int, books_sum(books, MEASURE_COUNTED, month, month, site) > 0, counted));
}

Test(example, stock_of_each_row_is_as_worked)
{
    struct play *play = example();
    play_put(play, 100);
    for (int i = 0; i < MONTHS; i++) {
        json_t *report = report_of(months[i].month);
        const json_t *all = json_object_get(report, "stock"), *row = NULL;
        struct books *books = play_books(play, held_of(months[i].held_most));
        struct books *before = play_books(play, held_of(months[i].before_held));
        int32_t month = play_month(months[i].month);
        size_t k = 0;
        check_row(all, books, before, month, NULL);
        json_array_foreach(json_object_get(all, "sites"), k, row)
            check_row(row, books, before, month, json_string_value(json_object_get(row, "site")));
        books_free(before);
        books_free(books);
        json_decref(report);
    }
    play_free(play);
}

Test(example, grounds_are_as_worked)
{
    static const char *const methods[] = {"weighed", "counted", "sampled", "estimated"};
    struct play *play = example();
    play_put(play, 100);
    for (int i = 0; i < MONTHS; i++) {
        json_t *report = report_of(months[i].month);
        const json_t *grounds = json_object_get(report, "grounds");
        struct books *books = play_books(play, held_of(months[i].held_most));
        int32_t month = play_month(months[i].month);
        cr_expect(eq(i64, books_sum(books, MEASURE_FILLED, month, month, NULL),
                     grams(grounds, "captured_kg")));
        cr_expect(eq(i64, books_sum(books, MEASURE_UNCAPTURED, month, month, NULL),
                     grams(grounds, "uncaptured_kg")));
        for (int m = 0; m < 4; m++) {
            char key[32];
            int64_t sum_g = 0;
            for (const char *const *site =
                     (const char *const[]){"kitchen", "quayside", "foundry", NULL};
                 *site != NULL; site++)
                sum_g += books_line(books, MEASURE_FILLED_BY, month, *site, methods[m]) +
                         books_line(books, MEASURE_UNCAPTURED, month, *site, methods[m]);
            (void)snprintf(key, sizeof key, "%s_kg", methods[m]);
            cr_expect(eq(i64, sum_g, grams(json_object_get(grounds, "by_method"), key)), "%s %s",
                      months[i].month, key);
        }
        books_free(books);
        json_decref(report);
    }
    play_free(play);
}

/* ---- lists */

struct gathered {
    char *keys[512];
    size_t n;
};

static bool
gather_key(void *owner, const struct posting *line)
{
    struct gathered *g = owner;
    cr_assert(lt(sz, g->n, 512));
    if (asprintf(&g->keys[g->n++], "%s %s", line->key, line->site) < 0)
        abort();
    return true;
}

static int
compare_keys(const void *a, const void *b)
{
    return strcmp(*(char *const *)a, *(char *const *)b);
}

static void
check_list(const struct gathered *got, const struct gathered *want, const char *month)
{
    for (size_t i = 0; i < got->n; i++)
        cr_expect(ne(ptr, bsearch(&got->keys[i], want->keys, want->n, sizeof(char *), compare_keys),
                     NULL),
                  "%s: too much: %s", month, got->keys[i]);
    for (size_t i = 0; i < want->n; i++)
        cr_expect(
            ne(ptr, bsearch(&want->keys[i], got->keys, got->n, sizeof(char *), compare_keys), NULL),
            "%s: missing: %s", month, want->keys[i]);
}

static void
forget(struct gathered *g)
{
    for (size_t i = 0; i < g->n; i++)
        free(g->keys[i]);
}

static void
sort(struct gathered *g)
{
    qsort(g->keys, g->n, sizeof(char *), compare_keys);
}

static const char *
text_of(const json_t *row, const char *key)
{
    const char *text = json_string_value(json_object_get(row, key));
    return text != NULL ? text : "";
}

Test(example, discrepancies_are_as_worked)
{
    struct play *play = example();
    play_put(play, 100);
    for (int i = 0; i < MONTHS; i++) {
        json_t *report = report_of(months[i].month);
        struct gathered got = {.n = 0}, want = {.n = 0};
        const json_t *row = NULL;
        size_t k = 0;
        json_array_foreach(json_object_get(json_object_get(report, "quality"), "discrepancies"), k,
                           row) if (asprintf(&want.keys[want.n++], "%s/%s/%s %s",
                                             text_of(row, "code"), text_of(row, "record"),
                                             text_of(row, "subject"), text_of(row, "site")) < 0)
            abort();
        struct books *books = play_books(play, held_of(months[i].held_most));
        int32_t month = play_month(months[i].month);
        books_walk(books, MEASURE_DISCREPANCY, month, month, gather_key, &got);
        sort(&got);
        sort(&want);
        check_list(&got, &want, months[i].month);
        forget(&got);
        forget(&want);
        books_free(books);
        json_decref(report);
    }
    play_free(play);
}

Test(example, corrections_are_as_worked)
{
    struct play *play = example();
    play_put(play, 100);
    for (int i = 0; i < MONTHS; i++) {
        json_t *report = report_of(months[i].month);
        const json_t *list = json_object_get(json_object_get(report, "quality"), "corrections");
        struct books *books = play_books(play, held_of(months[i].held_most));
        int32_t month = play_month(months[i].month);
        cr_expect(eq(i64, books_sum(books, MEASURE_CORRECTION, month, month, NULL),
                     (int64_t)json_array_size(list)));
        const json_t *row = NULL;
        size_t k = 0;
        json_array_foreach(list, k, row)
        {
            uint8_t id[16];
            char by[ID_TEXT];
            struct correction correction;
            struct err_text why = {.s = ""};
            cr_assert(id_parse(text_of(row, "record"), id));
            cr_assert(eq(int,
                         ledger_correction(play_ledger(play), id, held_of(months[i].held_most),
                                           &correction, &why),
                         ERR_OK));
            cr_expect(eq(str, id_print(correction.by, by), (char *)text_of(row, "by")));
            cr_expect(eq(str, correction.reason, (char *)text_of(row, "reason")));
            cr_expect(eq(int, correction.is_void, json_is_true(json_object_get(row, "void"))));
        }
        books_free(books);
        json_decref(report);
    }
    play_free(play);
}

static bool
gather_late(void *owner, const struct fact *fact)
{
    struct gathered *g = owner;
    char id[ID_TEXT], month[MONTH_TEXT];
    if (asprintf(&g->keys[g->n++], "%s %s %s %s", id_print(fact->id, id), fact->kind->word,
                 fact->site, month_print(fact->month, month)) < 0)
        abort();
    return true;
}

Test(example, late_arrivals_are_as_worked)
{
    struct play *play = example();
    play_put(play, 100);
    for (int i = 0; i < MONTHS; i++) {
        json_t *report = report_of(months[i].month);
        struct gathered got = {.n = 0}, want = {.n = 0};
        struct err_text why = {.s = ""};
        const json_t *row = NULL;
        size_t k = 0;
        json_array_foreach(json_object_get(json_object_get(report, "quality"), "late_arrivals"), k,
                           row) if (asprintf(&want.keys[want.n++], "%s %s %s %s",
                                             text_of(row, "record"), text_of(row, "kind"),
                                             text_of(row, "site"), text_of(row, "month")) < 0)
            abort();
        cr_assert(
            eq(int,
               ledger_late(play_ledger(play), play_month(months[i].month), gather_late, &got, &why),
               ERR_OK));
        sort(&got);
        sort(&want);
        check_list(&got, &want, months[i].month);
        forget(&got);
        forget(&want);
        json_decref(report);
    }
    play_free(play);
}

static bool
gather_reading(void *owner, const struct posting *line)
{
    struct gathered *g = owner;
    g->keys[g->n++] = strdup(line->key);
    return true;
}

Test(example, failed_readings_and_tubs_of_unknown_warmth_are_as_worked)
{
    struct play *play = example();
    play_put(play, 100);
    for (int i = 0; i < MONTHS; i++) {
        json_t *report = report_of(months[i].month);
        const json_t *safety = json_object_get(report, "safety"), *row = NULL;
        struct gathered got = {.n = 0}, want = {.n = 0};
        struct books *books = play_books(play, held_of(months[i].held_most));
        int32_t month = play_month(months[i].month);
        size_t k = 0;
        json_array_foreach(json_object_get(safety, "readings_failed"), k,
                           row) if (asprintf(&want.keys[want.n++], "%s|%s|%d|%s",
                                             text_of(row, "record"), text_of(row, "temp_c"),
                                             json_is_true(json_object_get(row, "open")),
                                             text_of(row, "place")) < 0) abort();
        books_walk(books, MEASURE_READING_FAILED, month, month, gather_reading, &got);
        sort(&got);
        sort(&want);
        check_list(&got, &want, months[i].month);
        forget(&got);
        forget(&want);
        json_array_foreach(json_object_get(safety, "warm_time_unknown"), k, row)
            cr_expect(eq(i64,
                         books_line(books, MEASURE_WARM_UNKNOWN, month, text_of(row, "site"),
                                    text_of(row, "tub")),
                         1));
        cr_expect(eq(i64, books_sum(books, MEASURE_WARM_UNKNOWN, month, month, NULL),
                     (int64_t)json_array_size(json_object_get(safety, "warm_time_unknown"))));
        cr_expect(eq(i64, books_sum(books, MEASURE_WARM_OVER, month, month, NULL), 0));
        books_free(books);
        json_decref(report);
    }
    play_free(play);
}

/* ---- the same whatever the order */

static void
digest_of(uint64_t seed, size_t group, uint8_t out[32])
{
    struct play *play = example();
    if (seed != 0)
        play_shuffle(play, seed);
    play_put(play, group);
    play_digest(play, out);
    play_free(play);
}

Test(example, every_order_of_arrival_gives_the_same_ledger_byte_for_byte)
{
    static const struct {
        uint64_t seed;
        size_t group;
    } rows[] = {{0, 0}, {1, 1}, {2, 7}, {3, 100}, {4, 1000}, {5, 1}};
    uint8_t first[32], other[32];
    digest_of(0, 100, first);
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        digest_of(rows[i].seed, rows[i].group, other);
        cr_expect(eq(int, memcmp(first, other, sizeof first), 0), "seed %" PRIu64 ", groups of %zu",
                  rows[i].seed, rows[i].group);
    }
}

Test(example, a_rebuild_gives_the_same_ledger_byte_for_byte)
{
    struct play *play = example();
    uint8_t first[32], other[32];
    uint64_t records = 0;
    struct err_text why = {.s = ""};
    size_t n = play_size(play);
    play_shuffle(play, 11);
    play_put(play, 13);
    play_digest(play, first);
    cr_assert(eq(int, ledger_rebuild(play_ledger(play), &records, &why), ERR_OK), "%s", why.s);
    play_digest(play, other);
    cr_expect(eq(u64, records, (uint64_t)n));
    cr_expect(eq(int, memcmp(first, other, sizeof first), 0));
    play_restart(play);
    play_digest(play, other);
    cr_expect(eq(int, memcmp(first, other, sizeof first), 0));
    play_free(play);
}

/* R6: what is held later does not show in the books of a moment, whichever way they are made. */
Test(example, books_of_a_moment_are_those_of_a_hub_that_holds_no_more)
{
    static const char *const moments[] = {"2026-02-22T00:00:00Z", "2026-02-27T12:59:59Z",
                                          "2026-03-01T02:03:00Z", "2026-03-14T12:00:00Z",
                                          "2026-04-03T16:00:00Z", "2026-04-03T17:01:00Z",
                                          "2026-04-05T12:02:00Z", "2026-05-01T00:00:00Z"};
    struct play *all = example();
    play_shuffle(all, 21);
    play_put(all, 100);
    for (size_t i = 0; i < sizeof moments / sizeof moments[0]; i++) {
        struct play *then = example();
        play_keep_held(then, play_ms(moments[i]));
        play_put(then, 0);
        struct books *a = play_books(all, play_ms(moments[i]));
        struct books *b = play_books(then, INT64_MAX);
        char *got = play_text(a), *want = play_text(b);
        cr_expect(eq(str, got, want), "%s", moments[i]);
        free(got);
        free(want);
        books_free(a);
        books_free(b);
        play_free(then);
    }
    play_free(all);
}
