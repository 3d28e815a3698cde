/* The worked month: three reports and three traces, computed apart from this project. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/report/trace.h"
#include "tests/report/month.h"

static struct play *
play_example(uint64_t seed)
{
    struct play *play = play_new("kitchen");
    play_read(play, TEST_DATA "/example-month/catalogue.jsonl");
    play_read(play, TEST_DATA "/example-month/records.jsonl");
    if (seed != 0)
        play_shuffle(play, seed);
    play_put(play, seed != 0 ? 37 : 0);
    return play;
}

static json_t *
load(const char *name)
{
    char path[512];
    json_error_t error;
    snprintf(path, sizeof path, "%s/%s", TEST_DATA, name);
    json_t *json = json_load_file(path, 0, &error);
    cr_assert(ne(ptr, json, NULL), "%s: %s", path, error.text);
    return json;
}

static bool
is_as_in(struct play *play, const char *folder, const char *month)
{
    char name[64];
    snprintf(name, sizeof name, "%s/report-%s.json", folder, month);
    json_t *want = load(name), *got = month_json(play, month);
    bool same = month_same(month, want, got);
    json_decref(want);
    json_decref(got);
    return same;
}

static bool
is_as_worked(struct play *play, const char *month)
{
    json_t *got = month_json(play, month);
    bool adds_up = month_adds_up(got);
    json_decref(got);
    return is_as_in(play, "example-month", month) && adds_up;
}

/* See tests/data/made-months/README.md. */
Test(example, made_months_are_as_a_second_implementation_has_them)
{
    static const char *const months[] = {"2026-02", "2026-03", "2026-04"};
    struct play *play = play_new("kitchen");
    play_read(play, TEST_DATA "/made-months/lines.jsonl");
    play_put(play, 100);
    for (size_t i = 0; i < 3; i++)
        cr_expect(is_as_in(play, "made-months", months[i]), "%s", months[i]);
    play_free(play);
}

/* Is there no number in it but as a text? */
static bool
holds_texts_only(const json_t *value)
{
    const char *key = NULL;
    json_t *member = NULL;
    bool fine = !json_is_number(value);
    size_t i = 0;
    json_object_foreach((json_t *)(uintptr_t)value, key, member) fine =
        holds_texts_only(member) && fine;
    json_array_foreach(value, i, member) fine = holds_texts_only(member) && fine;
    return fine;
}

static bool
is_sorted(const json_t *report, const char *path, const char *by)
{
    const json_t *list = month_at(report, path);
    for (size_t i = 1; i < json_array_size(list); i++) {
        const char *a = json_string_value(json_object_get(json_array_get(list, i - 1), by));
        const char *b = json_string_value(json_object_get(json_array_get(list, i), by));
        if (strcmp(a, b) > 0)
            return false;
    }
    return json_is_array(list);
}

static size_t
rows_of_zeros(const json_t *report, const char *path)
{
    const json_t *list = month_at(report, path);
    size_t zeros = 0;
    for (size_t i = 0; i < json_array_size(list); i++) {
        const char *kg = json_string_value(json_object_get(json_array_get(list, i), "kg"));
        zeros += kg != NULL && strcmp(kg, "0.000") == 0;
    }
    return zeros;
}

Test(example, N6_N7_every_number_is_a_text_and_lists_are_sorted_without_rows_of_zeros)
{
    static const char *const months[] = {"2026-02", "2026-03", "2026-04"};
    static const struct {
        const char *path, *by;
    } lists[] = {{"boundary.sites", "site"},       {"batches", "batch"},
                 {"product", "product"},           {"heads", "site"},
                 {"quality.missing_days", "site"}, {"quality.discrepancies", "code"},
                 {"safety.warm_time_over", "tub"}, {"safety.held_lots", "lot"},
                 {"safety.readings_gap", "place"}};
    struct play *play = play_example(0);
    for (size_t m = 0; m < 3; m++) {
        json_t *report = month_json(play, months[m]);
        cr_expect(holds_texts_only(report), "%s", months[m]);
        for (size_t i = 0; i < sizeof lists / sizeof lists[0]; i++)
            cr_expect(is_sorted(report, lists[i].path, lists[i].by), "%s %s", months[m],
                      lists[i].path);
        cr_expect(eq(sz, rows_of_zeros(report, "waste.by_destination"), 0));
        cr_expect(eq(sz, rows_of_zeros(report, "emissions.lines"), 0));
        json_decref(report);
    }
    play_free(play);
}

Test(example, months_are_as_worked_out_apart)
{
    struct play *play = play_example(0);
    cr_expect(is_as_worked(play, "2026-02"));
    cr_expect(is_as_worked(play, "2026-03"));
    cr_expect(is_as_worked(play, "2026-04"));
    play_free(play);
}

Test(example, T5_months_are_the_same_in_any_order_of_arrival)
{
    for (uint64_t seed = 1; seed <= 3; seed++) {
        struct play *play = play_example(seed);
        cr_expect(is_as_worked(play, "2026-02"), "seed %d", (int)seed);
        cr_expect(is_as_worked(play, "2026-03"), "seed %d", (int)seed);
        cr_expect(is_as_worked(play, "2026-04"), "seed %d", (int)seed);
        play_free(play);
    }
}

static char *
load_text(const char *name)
{
    char path[512];
    snprintf(path, sizeof path, "%s/tests/golden/%s", TEST_SOURCE, name);
    FILE *file = fopen(path, "r");
    cr_assert(ne(ptr, file, NULL), "%s", path);
    char *text = calloc(1, 1 << 20);
    size_t len = fread(text, 1, (1 << 20) - 1, file);
    text[len] = '\0';
    fclose(file);
    return text;
}

/* March is closed, so its heads are those of its close: none. */
Test(example, prints_of_a_closed_month_are_byte_for_byte_the_golden_ones)
{
    struct play *play = play_example(9);
    char *json = month_text(play, "2026-03", false), *words = month_text(play, "2026-03", true);
    char *golden_json = load_text("report-2026-03.json");
    char *golden_words = load_text("report-2026-03.txt");
    cr_expect(eq(str, json, golden_json));
    cr_expect(eq(str, words, golden_words));
    free(json);
    free(words);
    free(golden_json);
    free(golden_words);
    play_free(play);
}

Test(example, text_has_at_most_80_columns_and_no_blanks_at_the_end)
{
    static const char *const months[] = {"2026-02", "2026-03", "2026-04"};
    struct play *play = play_example(0);
    for (size_t i = 0; i < 3; i++) {
        char *text = month_text(play, months[i], true);
        for (char *line = strtok(text, "\n"); line != NULL; line = strtok(NULL, "\n")) {
            cr_expect(le(sz, strlen(line), 80), "%s", line);
            cr_expect(ne(chr, line[strlen(line) - 1], ' '), "%s|", line);
        }
        free(text);
    }
    play_free(play);
}

Test(example, C1_traces_are_as_worked_out_apart)
{
    static const char *const codes[] = {"B-0001", "B-0020", "L-B-0013"};
    struct play *play = play_example(5);
    for (size_t i = 0; i < 3; i++) {
        char name[64];
        struct err_text why = {.s = ""};
        json_t *got = NULL;
        snprintf(name, sizeof name, "example-month/trace-%s.json", codes[i]);
        json_t *want = load(name);
        cr_assert(eq(int, trace_code(play_ledger(play), codes[i], &got, &why), ERR_OK), "%s",
                  why.s);
        cr_expect(month_same(codes[i], want, got));
        json_decref(want);
        json_decref(got);
    }
    play_free(play);
}

Test(example, a_code_that_nobody_wrote_is_not_found)
{
    struct play *play = play_example(0);
    struct err_text why = {.s = ""};
    json_t *got = NULL;
    cr_expect(eq(int, trace_code(play_ledger(play), "B-9999", &got, &why), ERR_NOT_FOUND));
    play_free(play);
}
