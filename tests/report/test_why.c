/* The records behind a number add up to it: for every figure of worked and of random months, open,
 * closed and restated. `report_why` gives what it lists; this file adds it up on its own. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/report/why.h"
#include "proto/decimal.h"
#include "proto/when.h"
#include "tests/report/month.h"
#include "tests/report/randoms.h"
#include "tests/report/town.h"

static struct play *
play_example(void)
{
    struct play *play = play_new("kitchen");
    play_read(play, TEST_DATA "/example-month/catalogue.jsonl");
    play_read(play, TEST_DATA "/example-month/records.jsonl");
    play_put(play, 0);
    return play;
}

static struct table_model *
explain(struct play *play, const struct report_ask *ask, const char *key)
{
    struct table_model *model = NULL;
    struct err_text why = {.s = ""};
    enum err e = report_why(play_ledger(play), play_store(play), ask, key, &model, &why);
    cr_assert(eq(int, e, ERR_OK), "%s: %s", key, why.s);
    return model;
}

static size_t
column(const struct section *s, const char *key)
{
    for (size_t i = 0; i < s->n_columns; i++)
        if (strcmp(s->columns[i].key, key) == 0)
            return i;
    cr_assert(false, "no column %s", key);
    return 0;
}

/* The amounts of the list, added up as decimals. */
static bool
adds_up(const struct table_model *model, const char *value)
{
    const struct section *s = table_find(model, "why.records");
    struct decimal sum = decimal_of(0, 0), want;
    size_t amount = column(s, "amount");
    for (size_t row = 0; row < s->n_rows; row++) {
        struct decimal one;
        cr_assert(eq(int, decimal_parse(table_cell(s, row, amount)->text, &one, NULL), ERR_OK));
        cr_assert(eq(int, decimal_add(&sum, &one, &sum, NULL), ERR_OK));
    }
    cr_assert(eq(int, decimal_parse(value, &want, NULL), ERR_OK), "%s", value);
    return decimal_compare(&sum, &want) == 0;
}

/* Sums: the figures that a report adds up over records. */
static bool
must_be_a_sum(const char *path, const char *key)
{
    static const char *const all[] = {"grounds", "stock", "stock.sites", "residue", "product"};
    static const char *const no[] = {"capture_rate_pct", "unexplained_pct", "diverted_pct",
                                     "non_recycled_pct", "hazardous_kg"};
    for (size_t i = 0; i < sizeof no / sizeof no[0]; i++)
        if (strcmp(key, no[i]) == 0)
            return false;
    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++)
        if (strcmp(path, all[i]) == 0)
            return true;
    if (strcmp(path, "batches") == 0)
        return strstr(key, "_g") != NULL && strncmp(key, "ethanol", 7) != 0;
    return strncmp(path, "waste", 5) == 0 || strcmp(key, "first_use_kg") == 0 ||
           strcmp(key, "in_product_kg") == 0 || strcmp(key, "kg_co2e") == 0 ||
           strcmp(key, "inventory_kg_co2e") == 0 || strcmp(key, "not_quantified_kg") == 0;
}

static int sums, others;
static size_t stride = 1; /* of long lists every so many rows; TEST_WHY=10: all */

static bool
is_explained(struct play *play, const struct report_ask *ask, const char *key, const char *path,
             const struct column *column, const char *value)
{
    struct table_model *model = explain(play, ask, key);
    const char *is = table_get(model, "why", "is");
    bool fine = strcmp(value, table_get(model, "why", "value")) == 0;
    bool sum = strcmp(is, "sum") == 0;
    sums += sum;
    others += !sum;
    if (sum)
        fine = fine && adds_up(model, value) &&
               strcmp(table_get(model, "why", "sum"), value) == 0 &&
               strcmp(table_get(model, "why", "figure"), value) == 0;
    else
        fine = fine && strlen(table_get(model, "why", "words")) > 20;
    if (!sum && must_be_a_sum(path, column->key))
        fine = strcmp(value, "not quantified") == 0;
    if (!fine)
        fprintf(stderr, "%s: %s is not explained (%s, sum %s)\n", key, value, is,
                sum ? table_get(model, "why", "sum") : "-");
    table_free(model);
    return fine;
}

static const char *
word_of(const struct section *s, size_t row, size_t column)
{
    const struct cell *cell = table_cell(s, row, column);
    return cell->type == CELL_TEXT    ? cell->text
           : cell->type == CELL_TRUE  ? "yes"
           : cell->type == CELL_FALSE ? "no"
                                      : "-";
}

/* Does another row begin with the same `names` words? */
static bool
is_shared(const struct section *s, size_t row, size_t names)
{
    for (size_t other = 0; other < s->n_rows; other++) {
        size_t same = 0;
        while (same < names && strcmp(word_of(s, row, same), word_of(s, other, same)) == 0)
            same++;
        if (other != row && same == names)
            return true;
    }
    return false;
}

/* "emissions.lines[composting,food,no].kg": as few words as name one row. */
static void
name_cell(const struct section *s, size_t row, size_t column, char out[256])
{
    size_t names = 1;
    while (names < s->n_columns && is_shared(s, row, names))
        names++;
    int len = snprintf(out, 256, "%s[", s->path);
    for (size_t i = 0; i < names; i++)
        len += snprintf(out + len, 256 - (size_t)len, "%s%s", i > 0 ? "," : "", word_of(s, row, i));
    snprintf(out + len, 256 - (size_t)len, "].%s", s->columns[column].key);
}

static bool
section_is_explained(struct play *play, const struct report_ask *ask, const struct section *s)
{
    bool fine = true;
    if (strcmp(s->path, "restatement.changes") == 0)
        return true; /* figures that have names of their own */
    for (size_t row = 0; row<s->n_rows; row += s->n_rows> 8 ? stride : 1) {
        for (size_t i = 0; i < s->n_columns; i++) {
            char key[256];
            const struct cell *cell = table_cell(s, row, i);
            if (!s->columns[i].number || cell->type != CELL_TEXT)
                continue;
            if (s->shape == SHAPE_ROWS)
                name_cell(s, row, i, key);
            else if (s->shape == SHAPE_LIST)
                continue; /* words */
            else
                snprintf(key, sizeof key, "%s%s%s", s->path, s->path[0] != '\0' ? "." : "",
                         s->columns[i].key);
            fine = is_explained(play, ask, key, s->path, &s->columns[i], cell->text) && fine;
        }
    }
    return fine;
}

static bool
all_is_explained(struct play *play, const struct report_ask *ask)
{
    struct err_text why = {.s = ""};
    struct table_model *model = NULL;
    bool fine = true;
    cr_assert(eq(int, report_month(play_ledger(play), play_store(play), ask, &model, &why), ERR_OK),
              "%s", why.s);
    for (size_t i = 0; i < table_count(model); i++)
        fine = section_is_explained(play, ask, table_at(model, i)) && fine;
    table_free(model);
    return fine;
}

static struct report_ask
ask_month(const char *month)
{
    return (struct report_ask){.month = play_month(month)};
}

Test(why, every_figure_of_the_worked_months_is_the_sum_of_its_records_or_said_to_be_none)
{
    static const char *const months[] = {"2026-02", "2026-03", "2026-04"};
    struct play *play = play_example();
    for (size_t i = 0; i < 3; i++) {
        struct report_ask ask = ask_month(months[i]);
        cr_expect(all_is_explained(play, &ask), "%s", months[i]);
    }
    fprintf(stderr, "%d sums, %d others\n", sums, others);
    cr_expect(ge(int, sums, 400));
    play_free(play);
}

/* Two currencies, a change of the hour, a café that comes in the middle, late records, waiting
 * residue: the months of tests/data/made-months. */
Test(why, every_figure_of_hostile_months_is_the_sum_of_its_records)
{
    static const char *const months[] = {"2026-02", "2026-03", "2026-04"};
    struct play *play = play_new("kitchen");
    stride = randoms_number("TEST_WHY", 2) < 10 ? 5 : 1;
    play_read(play, TEST_DATA "/made-months/lines.jsonl");
    play_put(play, 0);
    for (size_t i = 0; i < 3; i++) {
        struct report_ask ask = ask_month(months[i]);
        cr_expect(all_is_explained(play, &ask), "%s", months[i]);
    }
    cr_expect(ge(int, sums, 100));
    play_free(play);
}

Test(why, every_figure_of_random_months_is_the_sum_of_its_records)
{
    uint64_t first = randoms_number("TEST_SEED", 20260401), n = randoms_number("TEST_WHY", 2);
    fprintf(stderr, "seeds %llu and on\n", (unsigned long long)first);
    for (uint64_t i = 0; i < n; i++) {
        struct report_ask ask = ask_month(i % 2 == 0 ? "2026-03" : "2026-04");
        struct play *play = random_months(first + i, i % 3 == 1);
        play_put(play, 0);
        cr_expect(all_is_explained(play, &ask), "seed %llu", (unsigned long long)(first + i));
        play_free(play);
    }
}

/* A span of days and one site's part: the same sums. */
Test(why, figures_of_one_site_of_a_span_and_of_another_basis_are_sums_of_its_records_too)
{
    struct span span = {.from = 0, .to = 0};
    struct play *play = random_months(20260404, false);
    play_put(play, 0);
    cr_assert(day_parse("2026-03-05", &span.from) && day_parse("2026-04-02", &span.to));
    struct report_ask site = ask_month("2026-03"), days = {.span = &span};
    site.site = "quayside";
    cr_expect(all_is_explained(play, &site));
    days.basis = REPORT_BASIS_WASTE;
    cr_expect(all_is_explained(play, &days));
    play_free(play);
}

/* ---- closed months and late records */

/* February is closed with one tub; another of it and a discard come later. */
static struct play *
play_late(void)
{
    struct play *play = town_new();
    town_tub(play, "quayside", "T1", 3000, "2026-02-10T18:00:00Z");
    play_say(play, "{'kind': 'period-close', 'at': '2026-03-02T12:00:00Z', 'month': '2026-02', "
                   "'edition': 'UK-2024'}");
    play_say(play, "{'kind': 'tub', 'at': '2026-02-11T18:00:00Z', 'held': '2026-03-03T12:00:00Z', "
                   "'site': 'quayside', 'tub': 'T2', 'coffee': 'c', 'origin': 'espresso', "
                   "'gross_g': 2100, 'tare_g': 100, 'method': 'weighed', 'first_knock': "
                   "'2026-02-11T16:00:00Z', 'frozen': '2026-02-11T18:00:00Z', 'place': 'qf'}");
    town_tub(play, "quayside", "T3", 1000, "2026-03-04T18:00:00Z");
    play_put(play, 0);
    return play;
}

static void
expect_sum(struct play *play, const struct report_ask *ask, const char *key, const char *sum,
           size_t records)
{
    struct table_model *model = explain(play, ask, key);
    cr_expect(eq(str, (char *)table_get(model, "why", "sum"), (char *)sum), "%s", key);
    cr_expect(eq(sz, table_find(model, "why.records")->n_rows, records), "%s", key);
    cr_expect(adds_up(model, sum), "%s", key);
    table_free(model);
}

Test(why, R6_a_closed_month_is_explained_as_of_its_close_and_late_records_where_they_are_told)
{
    struct play *play = play_late();
    struct report_ask february = ask_month("2026-02"), march = ask_month("2026-03");
    expect_sum(play, &february, "grounds.captured_kg", "3.000", 1);
    expect_sum(play, &february, "stock.closing_kg", "3.000", 1);
    expect_sum(play, &march, "stock.opening_kg", "3.000", 1);
    expect_sum(play, &march, "stock.late_kg", "2.000", 1);
    expect_sum(play, &march, "stock.sites[quayside].closing_kg", "6.000", 3);
    expect_sum(play, &march, "grounds.captured_kg", "1.000", 1);
    play_free(play);
}

Test(why, R7_a_restated_month_is_explained_as_of_its_restatement)
{
    struct play *play = play_late();
    struct report_ask february = ask_month("2026-02"), march = ask_month("2026-03");
    play_say(play, "{'kind': 'restate', 'at': '2026-03-06T12:00:00Z', 'month': '2026-02', "
                   "'number': 1, 'reason': 'a tub was late', 'edition': 'UK-2024'}");
    play_put(play, 0);
    expect_sum(play, &february, "grounds.captured_kg", "5.000", 2);
    expect_sum(play, &march, "stock.opening_kg", "5.000", 2);
    expect_sum(play, &march, "stock.late_kg", "0.000", 0);
    play_free(play);
}

Test(why, R1_a_corrected_record_gives_what_it_counts_and_names_its_correction)
{
    struct play *play = town_new();
    struct report_ask march = ask_month("2026-03");
    play_say(play, "{'kind': 'close', 'id': '019c0000-0000-7000-8000-0000000000a1', 'at': "
                   "'2026-03-03T20:00:00Z', 'site': 'quayside', 'day': '2026-03-03', "
                   "'uncaptured_g': 500, 'uncaptured_method': 'estimated', 'stream': 'bin'}");
    play_say(play, "{'kind': 'correct', 'id': '019c0000-0000-7000-8000-0000000000a2', 'at': "
                   "'2026-03-04T20:00:00Z', 'site': 'quayside', 'record': "
                   "'019c0000-0000-7000-8000-0000000000a1', 'reason': 'x', 'body': {'day': "
                   "'2026-03-03', 'uncaptured_g': 700, 'uncaptured_method': 'estimated', "
                   "'stream': 'bin'}}");
    play_put(play, 0);
    struct table_model *model = explain(play, &march, "waste.disposed_kg");
    const struct section *s = table_find(model, "why.records");
    cr_assert(eq(sz, s->n_rows, 1));
    cr_expect(eq(str, (char *)table_cell(s, 0, column(s, "amount"))->text, "0.700"));
    cr_expect(eq(str, (char *)table_cell(s, 0, column(s, "record"))->text,
                 "019c0000-0000-7000-8000-0000000000a1"));
    cr_expect(eq(str, (char *)table_cell(s, 0, column(s, "corrected_by"))->text,
                 "019c0000-0000-7000-8000-0000000000a2"));
    table_free(model);
    play_free(play);
}

Test(why, a_balance_leaves_out_what_came_and_went_and_says_how_many_records_that_were)
{
    struct play *play = town_new();
    struct report_ask march = ask_month("2026-03");
    town_tub(play, "quayside", "T1", 1000, "2026-03-03T18:00:00Z");
    town_move(play, "quayside", "T1", "2026-03-04T08:00:00Z");
    town_mix(play, "B1", "T1", 1000, "2026-03-05T08:00:00Z");
    town_tub(play, "quayside", "T2", 1500, "2026-03-03T19:00:00Z");
    play_put(play, 0);
    struct table_model *model = explain(play, &march, "stock.closing_kg");
    cr_expect(eq(str, (char *)table_get(model, "why", "sum"), "1.500"));
    cr_expect(eq(sz, table_find(model, "why.records")->n_rows, 1));
    /* tub, handover, receipt, mix */
    cr_expect(eq(str, (char *)table_get(model, "why", "left_out"), "4"));
    table_free(model);
    play_free(play);
}

/* Two lines at a factor that does not end: each record gets what it raises the sum by. */
Test(why, E3_amounts_at_a_factor_that_does_not_end_add_up_to_the_rounded_figure)
{
    struct play *play = town_new();
    struct report_ask march = ask_month("2026-03");
    play_say(play, "{'kind': 'factors', 'at': '2026-01-02T00:00:00Z', 'edition': 'US-X', 'from': "
                   "'2026-02-01', 'rows': [{'id': 'US-X-1', 'material': 'mixed', 'class': 'm', "
                   "'treatment': 'landfill', 'value': '0.52', 'unit': 'tCO2e/short_ton', "
                   "'boundary': 'b', 'purpose': 'inventory', 'gwp_basis': 'AR5', 'source': 's'}]}");
    for (int i = 0; i < 7; i++)
        play_say(play,
                 "{'kind': 'close', 'at': '2026-03-%02dT20:00:00Z', 'site': 'quayside', 'day': "
                 "'2026-03-%02d', 'uncaptured_g': %d, 'uncaptured_method': 'estimated', 'stream': "
                 "'bin'}",
                 3 + i, 3 + i, 333 + i);
    play_put(play, 0);
    struct table_model *model = explain(play, &march, "emissions.inventory_kg_co2e");
    const char *value = table_get(model, "why", "value");
    cr_expect(eq(sz, strlen(strchr(value, '.')), 7), "%s", value);
    cr_expect(adds_up(model, value), "%s", value);
    cr_expect(eq(sz, table_find(model, "why.records")->n_rows, 7));
    table_free(model);
    play_free(play);
}

/* 1168 g at 1 t CO2e per short ton: 1.2874996.. kg, to 6 decimals 1.287500. */
Test(why, E3_a_rounded_sum_that_ends_in_zeros_is_equal_to_its_figure)
{
    struct play *play = town_new();
    struct report_ask march = ask_month("2026-03");
    play_say(play, "{'kind': 'factors', 'at': '2026-01-02T00:00:00Z', 'edition': 'US-X', 'from': "
                   "'2026-02-01', 'rows': [{'id': 'US-X-1', 'material': 'mixed', 'class': 'm', "
                   "'treatment': 'landfill', 'value': '1', 'unit': 'tCO2e/short_ton', "
                   "'boundary': 'b', 'purpose': 'inventory', 'gwp_basis': 'AR5', 'source': 's'}]}");
    play_say(play, "{'kind': 'close', 'at': '2026-03-03T20:00:00Z', 'site': 'quayside', 'day': "
                   "'2026-03-03', 'uncaptured_g': 1168, 'uncaptured_method': 'estimated', "
                   "'stream': 'bin'}");
    play_put(play, 0);
    struct table_model *model = explain(play, &march, "emissions.inventory_kg_co2e");
    cr_expect(eq(str, (char *)table_get(model, "why", "figure"), "1.287500"));
    cr_expect(eq(str, (char *)table_get(model, "why", "sum"), "1.287500"));
    table_free(model);
    play_free(play);
}

/* Residue of two batches, at two destinations in three records; a saving that does not end. */
Test(why, E4_avoided_emissions_are_the_sum_of_what_reached_its_end)
{
    struct play *play = town_new_without_basis();
    struct report_ask march = ask_month("2026-03");
    play_say(play, "{'kind': 'basis', 'at': '2026-01-01T00:00:00Z', 'basis': 'by-product', "
                   "'stage': 'processing', 'from': '2026-01-01', 'reason': 'kept clean', "
                   "'decided_by': 'OF', 'avoided': "
                   "{'family': 'house-study', 'gwp_basis': 'AR6', 'baseline': '500', 'reason': "
                   "'study', 'kg_co2e_per_t': {'composting': '30', 'animal_feed': '-7'}}}");
    town_batch(play, "B1", 1, "2026-03-02");
    town_batch(play, "B2", 3, "2026-03-04");
    for (int i = 0; i < 3; i++)
        play_say(play,
                 "{'kind': 'residue', 'at': '2026-03-0%dT12:00:00Z', 'batch': '%s', 'mass_g': %d, "
                 "'stream': '%s'}",
                 6 + i, i == 0 ? "B1" : "B2", 1001 + i, i == 1 ? "farm" : "yard");
    play_put(play, 0);
    struct table_model *model = explain(play, &march, "emissions.avoided.kg_co2e");
    const char *value = table_get(model, "why", "value");
    cr_expect(eq(str, (char *)table_get(model, "why", "is"), "sum"));
    cr_expect(adds_up(model, value), "%s", value);
    cr_expect(eq(str, (char *)table_get(model, "why", "sum"), (char *)value));
    cr_expect(eq(sz, table_find(model, "why.records")->n_rows, 3));
    table_free(model);
    play_free(play);
}

Test(why, keys_that_name_nothing_are_refused_with_what_there_is)
{
    static const char *const keys[] = {"",
                                       "nonsense",
                                       "waste",
                                       "waste.",
                                       "waste.nonsense",
                                       "waste.by_destination[mars]",
                                       "waste.by_destination[",
                                       "waste.by_destination[]",
                                       "waste.by_destination[composting].flw2",
                                       "stock.sites[quayside]",
                                       "stock[quayside].opening_kg",
                                       "[a].b",
                                       "cautions[x].y"};
    struct play *play = play_example();
    struct report_ask march = ask_month("2026-03");
    for (size_t i = 0; i < sizeof keys / sizeof keys[0]; i++) {
        struct err_text why = {.s = ""};
        struct table_model *model = NULL;
        enum err e = report_why(play_ledger(play), play_store(play), &march, keys[i], &model, &why);
        cr_expect(eq(int, e, ERR_INPUT), "%s", keys[i]);
        cr_expect(ge(sz, strlen(why.s), 20), "%s: %s", keys[i], why.s);
    }
    play_free(play);
}

Test(why, prints_end_with_the_sum)
{
    struct play *play = play_example();
    struct report_ask march = ask_month("2026-03");
    struct table_model *model = explain(play, &march, "residue.made_kg");
    struct err_text why = {.s = ""};
    char *text = NULL, *csv = NULL;
    cr_assert(eq(int, report_text(model, &text, &why), ERR_OK));
    cr_assert(eq(int, report_csv(model, &csv, &why), ERR_OK));
    const char *value = table_get(model, "why", "value");
    char last[128];
    int len =
        snprintf(last, sizeof last, "Sum %s kg, the report says %s kg: equal.\n", value, value);
    cr_expect(eq(str, text + strlen(text) - len, last), "%s", text);
    len = snprintf(last, sizeof last, "sum,,,,,,%s,,\r\n", value);
    cr_expect(eq(str, csv + strlen(csv) - len, last), "%s", csv);
    cr_expect(eq(int, strncmp(csv, "day,site,epoch,seq,kind,code,amount,record,", 43), 0));
    free(text);
    free(csv);
    table_free(model);
    play_free(play);
}
