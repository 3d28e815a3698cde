/* The worked month: three reports and three traces, computed apart from this project. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdio.h>
#include <stdlib.h>
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
    snprintf(path, sizeof path, "%s/example-month/%s", TEST_DATA, name);
    json_t *json = json_load_file(path, 0, &error);
    cr_assert(ne(ptr, json, NULL), "%s: %s", path, error.text);
    return json;
}

static bool
is_as_worked(struct play *play, const char *month)
{
    char name[64];
    snprintf(name, sizeof name, "report-%s.json", month);
    json_t *want = load(name), *got = month_json(play, month);
    bool same = month_same(month, want, got) && month_adds_up(got);
    json_decref(want);
    json_decref(got);
    return same;
}

Test(example, months_are_as_worked_out_apart)
{
    struct play *play = play_example(0);
    cr_expect(is_as_worked(play, "2026-02"));
    cr_expect(is_as_worked(play, "2026-03"));
    cr_expect(is_as_worked(play, "2026-04"));
    play_free(play);
}

Test(example, months_are_the_same_in_any_order_of_arrival)
{
    for (uint64_t seed = 1; seed <= 3; seed++) {
        struct play *play = play_example(seed);
        cr_expect(is_as_worked(play, "2026-02"), "seed %d", (int)seed);
        cr_expect(is_as_worked(play, "2026-03"), "seed %d", (int)seed);
        cr_expect(is_as_worked(play, "2026-04"), "seed %d", (int)seed);
        play_free(play);
    }
}

Test(example, C1_traces_are_as_worked_out_apart)
{
    static const char *const codes[] = {"B-0001", "B-0020", "L-B-0013"};
    struct play *play = play_example(5);
    for (size_t i = 0; i < 3; i++) {
        char name[64];
        struct err_text why = {.s = ""};
        json_t *got = NULL;
        snprintf(name, sizeof name, "trace-%s.json", codes[i]);
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
