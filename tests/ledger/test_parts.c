/* test_parts.c - books, catalogue, packed outcomes, keys, the set and the sorter on their own.
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/ledger/limit.h"
#include "daemon/ledger/outcome.h"
#include "daemon/ledger/set.h"
#include "daemon/ledger/tables.h"
#include "proto/when.h"
#include "tests/ledger/play.h"

/* ---- books */

static void
post(struct books *books, enum measure measure, int32_t month, const char *site, const char *key,
     int64_t amount)
{
    struct err_text why = {.s = ""};
    struct posting posting = {measure, month, site, key, amount};
    cr_assert(eq(int, books_post(books, &posting, &why), ERR_OK));
}

Test(books, postings_of_one_line_add_up_and_a_line_of_nothing_is_not_there)
{
    struct err_text why = {.s = ""};
    struct books *books = NULL;
    cr_assert(eq(int, books_new(&books, &why), ERR_OK));
    post(books, MEASURE_FILLED, 10, "b", "", 5);
    post(books, MEASURE_FILLED, 10, "a", "", 2);
    post(books, MEASURE_FILLED, 11, "a", "k", 4);
    post(books, MEASURE_FILLED, 10, "b", "", -5);
    post(books, MEASURE_SENT, 10, "a", "", 9);
    cr_expect(eq(i64, books_line(books, MEASURE_FILLED, 10, "a", ""), 2));
    cr_expect(eq(i64, books_sum(books, MEASURE_FILLED, 10, 11, "a"), 6));
    cr_expect(eq(i64, books_sum(books, MEASURE_FILLED, 0, 10, NULL), 2));
    char *text = play_text(books);
    cr_expect(eq(str, text, "1 0000-11 a  2\n1 0000-12 a k 4\n5 0000-11 a  9\n"));
    free(text);
    books_free(books);
}

Test(books, a_hundred_thousand_lines_come_out_in_order)
{
    struct err_text why = {.s = ""};
    struct books *books = NULL;
    char key[16];
    cr_assert(eq(int, books_new(&books, &why), ERR_OK));
    for (int i = 0; i < 100000; i++) {
        (void)snprintf(key, sizeof key, "%06d", (int)((i * 7919L) % 100000));
        post(books, MEASURE_READING, 24315, "alpha", key, 1);
    }
    cr_expect(eq(sz, books_size(books), 100000));
    cr_expect(eq(i64, books_sum(books, MEASURE_READING, 24315, 24315, "alpha"), 100000));
    books_free(books);
}

/* ---- catalogue, R5 */

static Knockbox__Record
price_record(Knockbox__Price *price, int64_t list, int32_t from, int64_t at_ms, uint8_t *id)
{
    Knockbox__Record record = KNOCKBOX__RECORD__INIT;
    knockbox__price__init(price);
    price->product = (char *)"liqueur";
    price->has_bottle_ml = price->has_list_minor = price->has_from = 1;
    price->bottle_ml = 500;
    price->currency = (char *)"GBP";
    price->list_minor = list;
    price->from = from;
    record.has_at_ms = 1;
    record.at_ms = at_ms;
    record.has_id = 1;
    record.id.data = id;
    record.id.len = 16;
    record.body_case = KNOCKBOX__RECORD__BODY_PRICE;
    record.price = price;
    return record;
}

Test(catalogue, R5_in_force_is_the_greatest_from_not_after_the_day_and_of_two_the_later)
{
    static const struct {
        int64_t list;
        int32_t from;
        int64_t at_ms;
        uint8_t id;
    } rows[] = {{100, 10, 5, 1}, {200, 20, 4, 2}, {201, 20, 6, 3}, {202, 20, 6, 2}};
    struct err_text why = {.s = ""};
    struct catalogue *catalogue = NULL;
    cr_assert(eq(int, catalogue_new(&catalogue, &why), ERR_OK));
    for (int i = 0; i < 4; i++) {
        Knockbox__Price price;
        uint8_t id[16] = {rows[i].id};
        Knockbox__Record record =
            price_record(&price, rows[i].list, rows[i].from, rows[i].at_ms, id);
        cr_assert(eq(int, catalogue_add(catalogue, &record, id, 0, &why), ERR_OK));
    }
    static const int64_t want[][2] = {{9, 0}, {10, 100}, {19, 100}, {20, 201}, {99, 201}};
    for (int i = 0; i < 5; i++) {
        const Knockbox__Price *price = (const Knockbox__Price *)catalogue_get(
            catalogue, KNOCKBOX__RECORD__BODY_PRICE, "liqueur|500|GBP", (int32_t)want[i][0]);
        cr_expect(eq(i64, price != NULL ? price->list_minor : 0, want[i][1]), "day %d",
                  (int)want[i][0]);
    }
    const int64_t *instants = NULL;
    cr_expect(eq(
        uint,
        catalogue_instants(catalogue, KNOCKBOX__RECORD__BODY_PRICE, "liqueur|500|GBP", &instants),
        4));
    cr_expect(eq(i64, instants[0], 4));
    const Knockbox__Price *then = (const Knockbox__Price *)catalogue_at(
        catalogue, KNOCKBOX__RECORD__BODY_PRICE, "liqueur|500|GBP", 5);
    cr_expect(eq(i64, then->list_minor, 100));
    const char *const *keys = NULL;
    cr_expect(eq(uint, catalogue_keys(catalogue, KNOCKBOX__RECORD__BODY_PRICE, &keys), 1));
    cr_expect(eq(str, (char *)keys[0], "liqueur|500|GBP"));
    catalogue_free(catalogue);
}

Test(catalogue, what_is_not_known_is_outside_and_has_no_limit)
{
    struct err_text why = {.s = ""};
    struct catalogue *catalogue = NULL;
    cr_assert(eq(int, catalogue_new(&catalogue, &why), ERR_OK));
    cr_expect(not(catalogue_inside(catalogue, "nowhere", 20000)));
    cr_expect(eq(ptr, (void *)catalogue_limit(catalogue, "warm-time", "alpha", 20000), NULL));
    /* 240 min and 50 g where the catalogue says nothing: rules T7, S4 */
    cr_expect(limit_holds(catalogue, &limit_warm_time, "alpha", 20000, 240 * 60000, 60000));
    cr_expect(
        not(limit_holds(catalogue, &limit_warm_time, "alpha", 20000, 240 * 60000 + 1, 60000)));
    cr_expect(limit_holds(catalogue, &limit_weight_difference, "alpha", 20000, 50, 1));
    cr_expect(not(limit_holds(catalogue, &limit_weight_difference, "alpha", 20000, 51, 1)));
    cr_expect(eq(i64, limit_number(catalogue, &limit_use_by, "alpha", 20000), 28));
    catalogue_free(catalogue);
}

/* ---- outcomes */

static void
give_all(struct outcome *outcome, const int *order)
{
    Knockbox__TubRow row = KNOCKBOX__TUB_ROW__INIT;
    row.tub = (char *)"T1";
    for (int i = 0; i < 7; i++) {
        switch (order[i]) {
        case 0:
            (void)outcome_post(outcome, MEASURE_FILLED, 24315, "alpha", "", 7);
            break;
        case 1:
            (void)outcome_post(outcome, MEASURE_FILLED, 24315, "alpha", "", -2);
            break;
        case 2:
            (void)outcome_post(outcome, MEASURE_SENT, -3, "beta", "k", INT64_MIN + 1);
            break;
        case 3:
            (void)outcome_row(outcome, &row.base);
            break;
        case 4:
            (void)outcome_stay(outcome, "alpha", 5, INT64_MAX);
            break;
        case 5:
            (void)outcome_stay(outcome, "alpha", 5, 5);
            break;
        default:
            (void)outcome_depends(outcome, SUBJECT_LOT, "L1");
            break;
        }
    }
}

Test(outcome, the_same_gifts_in_any_order_are_the_same_bytes_and_read_back)
{
    static const int orders[][7] = {
        {0, 1, 2, 3, 4, 5, 6}, {6, 5, 4, 3, 2, 1, 0}, {3, 1, 5, 0, 6, 2, 4}};
    struct err_text why = {.s = ""};
    struct outcome *outcome = NULL;
    uint8_t first[512];
    size_t first_len = 0;
    cr_assert(eq(int, outcome_new(&outcome, &why), ERR_OK));
    for (int i = 0; i < 3; i++) {
        const uint8_t *bytes = NULL;
        size_t len = 0;
        outcome_clear(outcome);
        give_all(outcome, orders[i]);
        cr_assert(eq(int, outcome_pack(outcome, &bytes, &len), ERR_OK));
        if (i == 0)
            memcpy(first, bytes, first_len = len);
        cr_expect(eq(sz, len, first_len));
        cr_expect(eq(int, memcmp(first, bytes, len), 0));
    }
    struct outcome_reader reader;
    struct outcome_item item[8];
    int n = 0;
    outcome_read(&reader, first, first_len);
    while (n < 8 && outcome_next(&reader, &item[n]))
        n++;
    cr_assert(eq(int, n, 6));
    cr_expect(eq(i64, item[0].amount, 5));
    cr_expect(eq(str, (char *)item[0].site, "alpha"));
    cr_expect(eq(int, item[0].month, 24315));
    cr_expect(eq(i64, item[1].amount, INT64_MIN + 1));
    cr_expect(eq(int, item[1].month, -3));
    cr_expect(eq(int, item[2].type, OUTCOME_ROW));
    cr_expect(eq(i64, item[3].to_ms, 5));
    cr_expect(eq(i64, item[4].to_ms, INT64_MAX));
    cr_expect(eq(str, (char *)item[5].key, "L1"));
    for (int i = 0; i < 6; i++)
        for (int k = 0; k < 6; k++)
            cr_expect(eq(int, outcome_compare(&item[i], &item[k]) < 0, i < k));
    outcome_free(outcome);
}

Test(outcome, nothing_given_or_taken_back_is_no_bytes)
{
    struct err_text why = {.s = ""};
    struct outcome *outcome = NULL;
    const uint8_t *bytes = NULL;
    size_t len = 1;
    cr_assert(eq(int, outcome_new(&outcome, &why), ERR_OK));
    (void)outcome_post(outcome, MEASURE_FILLED, 1, "a", "", 3);
    (void)outcome_post(outcome, MEASURE_FILLED, 1, "a", "", -3);
    cr_assert(eq(int, outcome_pack(outcome, &bytes, &len), ERR_OK));
    cr_expect(eq(sz, len, 0));
    outcome_free(outcome);
}

/* ---- keys */

Test(tables, numbers_in_keys_sort_as_numbers_do)
{
    static const int64_t numbers[] = {INT64_MIN, -5000000000, -1,        0,        1,
                                      255,       256,         1LL << 40, INT64_MAX};
    uint8_t before[8] = {0}, now[8];
    for (size_t i = 0; i < sizeof numbers / sizeof numbers[0]; i++) {
        put_i64(now, numbers[i]);
        cr_expect(eq(i64, get_i64(now), numbers[i]));
        cr_expect(i == 0 || memcmp(before, now, sizeof now) < 0);
        memcpy(before, now, sizeof now);
    }
    struct key key = {.n = 0, .over = false};
    key_instant(&key, 1772000000123);
    cr_expect(eq(i64, get_instant(key.bytes), 1772000000123));
    key.n = 0;
    key_instant(&key, INT64_MAX);
    cr_expect(eq(i64, get_instant(key.bytes), INT64_MAX));
}

Test(tables, a_key_that_is_too_long_says_so)
{
    char text[600];
    memset(text, 'x', sizeof text - 1);
    text[sizeof text - 1] = '\0';
    struct key key = key_row(SUBJECT_TUB, text);
    cr_expect(key.over);
}

/* ---- texts */

/* Numbered names, the odd ones twice; bytes of 0 are bytes like others. */
Test(texts, hold_each_once_in_order_of_arrival_and_stay_where_they_are)
{
    struct texts texts = {.n = 0};
    char name[16];
    const char *first = NULL;
    uint32_t number = 0;
    for (int round = 0; round < 3; round++) {
        for (unsigned i = 0; i < 5000; i++) {
            size_t len = (size_t)snprintf(name, sizeof name, "c%u%c-", i, '\0');
            cr_assert(texts_add(&texts, name, len, &number));
            cr_assert(eq(u32, number, i));
            cr_assert(i % 2 == 0 || (texts_add(&texts, name, len, &number) && number == i));
            first = i == 0 ? texts.at[0].s : first;
        }
        cr_expect(eq(sz, texts.n, 5000));
        cr_expect(texts.at[0].s == first);
        cr_expect(eq(u32, texts_find(&texts, "c4999\0-", 7), 4999));
        cr_expect(eq(u32, texts_find(&texts, "c4999", 5), TEXTS_NONE));
        texts_clear(&texts);
        cr_expect(eq(sz, texts.n, 0));
        cr_expect(eq(u32, texts_find(&texts, "c4999\0-", 7), TEXTS_NONE));
    }
    texts_done(&texts);
}

Test(texts, nothing_is_a_text_too)
{
    struct texts texts = {.n = 0};
    uint32_t number = 7;
    cr_expect(eq(u32, texts_find(&texts, "", 0), TEXTS_NONE));
    cr_assert(texts_add(&texts, "", 0, &number));
    cr_expect(eq(u32, number, 0));
    cr_expect(eq(u32, texts_find(&texts, "", 0), 0));
    cr_expect(eq(str, (char *)(uintptr_t)texts.at[0].s, ""));
    texts_done(&texts);
}

/* ---- the set */

Test(set, holds_each_subject_once)
{
    struct err_text why = {.s = ""};
    struct set set = {.texts = {.n = 0}};
    char code[16];
    for (int i = 0; i < 3000; i++) {
        (void)snprintf(code, sizeof code, "T%d", i % 1000);
        cr_assert(eq(int, set_add(&set, i % 2 ? SUBJECT_TUB : SUBJECT_LOT, code, &why), ERR_OK));
    }
    cr_expect(eq(sz, set_size(&set), 1000));
    cr_expect(eq(str, (char *)set_code(&set, 1), "T1"));
    set_clear(&set);
    cr_expect(eq(sz, set_size(&set), 0));
    set_done(&set);
}

static void
append_line(struct books *books, enum measure measure, const char *month, const char *key,
            int64_t amount)
{
    struct posting line = {measure, play_month(month), "quayside", key, amount};
    cr_assert(eq(int, books_append(books, &line, NULL), ERR_OK));
}

/* The same lines, appended in order, appended out of order, posted. */
Test(books, lines_that_are_appended_are_found_summed_and_walked_as_posted_ones)
{
    char *texts[3];
    for (int way = 0; way < 3; way++) {
        struct books *books = NULL;
        cr_assert(eq(int, books_new(&books, NULL), ERR_OK));
        cr_expect(eq(i64, books_line(books, MEASURE_SENT, 0, "quayside", ""), 0));
        for (int i = 0; i < 200; i++) {
            char key[8];
            int n = way == 0 ? i : 199 - i;
            snprintf(key, sizeof key, "%03d", n);
            if (way < 2)
                append_line(books, MEASURE_READING, "2026-03", key, n + 1);
            else
                books_post(books,
                           &(struct posting){MEASURE_READING, play_month("2026-03"), "quayside",
                                             key, n + 1},
                           NULL);
        }
        append_line(books, MEASURE_SAMPLED, "2026-02", "z", 0); /* 0 is no line */
        append_line(books, MEASURE_SAMPLED, "2026-03", "a", 7);
        cr_expect(eq(
            i64, books_line(books, MEASURE_READING, play_month("2026-03"), "quayside", "007"), 8));
        cr_expect(eq(
            i64, books_line(books, MEASURE_READING, play_month("2026-03"), "quayside", "200"), 0));
        append_line(books, MEASURE_READING, "2026-03", "007", 100); /* once more: added */
        append_line(books, MEASURE_READING, "2026-01", "first", 5);
        cr_expect(eq(i64,
                     books_line(books, MEASURE_READING, play_month("2026-03"), "quayside", "007"),
                     108));
        cr_expect(eq(i64, books_sum(books, MEASURE_READING, INT32_MIN, INT32_MAX, NULL),
                     200 * 201 / 2 + 105));
        cr_expect(eq(sz, books_size(books), 202));
        texts[way] = play_text(books);
        books_free(books);
    }
    cr_expect(eq(str, texts[0], texts[1]));
    cr_expect(eq(str, texts[0], texts[2]));
    for (int way = 0; way < 3; way++)
        free(texts[way]);
}
