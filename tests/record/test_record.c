/* test_record.c - lines of JSON to records, to bytes, and back. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/record/record.h"
#include "proto/json.h"
#include "proto/when.h"
#include "tests/record/sample.h"

static struct arena arena;

static void
begin(void)
{
    (void)arena_init(&arena, ARENA_BIG_RECORD, NULL);
}

static void
end(void)
{
    arena_done(&arena);
}

TestSuite(record, .init = begin, .fini = end);

static Knockbox__Record *
record_of(json_t *line)
{
    struct err_text why = {.s = ""};
    Knockbox__Record *record = NULL;
    char *text = json_dumps(line, 0);
    cr_assert(record_from_json(line, &arena, &record, &why) == ERR_OK, "%s in %s", why.s, text);
    free(text);
    return record;
}

static json_t *
line_of(const Knockbox__Record *record)
{
    struct err_text why = {.s = ""};
    json_t *line = NULL;
    cr_assert(record_to_json(record, NULL, -1, &line, &why) == ERR_OK, "%s", why.s);
    return line;
}

/* What a daemon adds before it stores a record. */
static void
fill_envelope(Knockbox__Record *record)
{
    static uint8_t mark[8] = "markmark";
    record->has_epoch = record->has_mark = record->has_seq = record->has_logged_ms = 1;
    record->epoch = 1;
    record->seq = 7;
    record->mark = (ProtobufCBinaryData){8, mark};
    record->logged_ms = record->at_ms;
}

/* Line -> record -> bytes -> record: the same; its line read again: the same. */
static void
expect_round_trip(json_t *line)
{
    static uint8_t bytes[RECORD_BIG_MAX];
    struct err_text why = {.s = ""};
    size_t len = 0;
    Knockbox__Record *stored = NULL;
    Knockbox__Record *record = record_of(line);
    fill_envelope(record);
    cr_assert(codec_encode(&record->base, bytes, sizeof bytes, &len, &why) == ERR_OK);
    cr_assert(record_decode(bytes, len, true, &arena, &stored, &why) == ERR_OK, "%s", why.s);
    cr_expect(record_same(record, stored));
    json_t *out = line_of(stored);
    Knockbox__Record *again = record_of(out);
    cr_expect(record_same(record, again));
    cr_expect(again->has_held_ms == record->has_held_ms && again->held_ms == record->held_ms);
    json_decref(out);
}

Test(record, a_sample_of_every_kind_goes_all_the_way_round)
{
    unsigned n = 0;
    const struct kind *all = kinds(&n);
    for (unsigned i = 0; i < n; i++) {
        json_t *line = sample_line(&all[i]);
        arena_reset(&arena);
        expect_round_trip(line);
        json_decref(line);
    }
}

Test(record, the_json_of_a_sample_comes_back_field_by_field)
{
    unsigned n = 0;
    const struct kind *all = kinds(&n);
    for (unsigned i = 0; i < n; i++) {
        json_t *line = sample_line(&all[i]);
        arena_reset(&arena);
        json_t *out = line_of(record_of(line));
        char *want = json_dumps(line, JSON_SORT_KEYS);
        char *got = json_dumps(out, JSON_SORT_KEYS);
        cr_expect(eq(str, got, want));
        free(want);
        free(got);
        json_decref(out);
        json_decref(line);
    }
}

static size_t
expect_file_round_trip(const char *path)
{
    FILE *file = fopen(path, "r");
    cr_assert(file != NULL, "%s", path);
    char *text = NULL;
    size_t size = 0;
    size_t lines = 0;
    struct err_text why = {.s = ""};
    for (ssize_t n = getline(&text, &size, file); n > 0; n = getline(&text, &size, file)) {
        json_t *line = NULL;
        cr_assert(json_parse(text, (size_t)n, &line, &why) == ERR_OK, "%s", why.s);
        arena_reset(&arena);
        expect_round_trip(line);
        json_decref(line);
        lines++;
    }
    free(text);
    fclose(file);
    return lines;
}

Test(record, every_line_of_the_example_month_goes_all_the_way_round)
{
    cr_expect(eq(sz, expect_file_round_trip(TEST_DATA "/example-month/catalogue.jsonl"), 33));
    cr_expect(eq(sz, expect_file_round_trip(TEST_DATA "/example-month/records.jsonl"), 718));
}

Test(record, an_export_with_its_envelope_can_be_imported)
{
    static const uint8_t hash[HASH_SIZE] = {1};
    struct err_text why = {.s = ""};
    json_t *line = sample_line(kind_by_word("note"));
    Knockbox__Record *record = record_of(line);
    json_t *out = NULL;
    fill_envelope(record);
    record->has_boot = record->has_mono_ms = record->has_clock = record->has_at_offset_min = 1;
    record->boot = record->mark;
    record->mono_ms = 5;
    record->clock = KNOCKBOX__CLOCK__CLOCK_UNKNOWN;
    record->via = "uid:1000";
    record->zone = "Europe/London";
    record->at_offset_min = 60;
    cr_assert(record_to_json(record, hash, record->at_ms + 1, &out, &why) == ERR_OK);
    static const char *const names[] = {"site",   "epoch", "seq",   "id",      "kind",  "at",
                                        "logged", "held",  "boot",  "mono_ms", "clock", "by",
                                        "via",    "hash",  "about", "text"};
    size_t i = 0;
    const char *name = NULL;
    json_t *value = NULL;
    json_object_foreach(out, name, value) cr_expect(eq(str, (char *)name, (char *)names[i++]));
    cr_expect(eq(sz, i, sizeof names / sizeof names[0]));
    cr_expect(eq(str, (char *)json_string_value(json_object_get(out, "at")),
                 "2026-03-03T22:45:00+01:00"));
    cr_expect(eq(str, (char *)json_string_value(json_object_get(out, "held")),
                 "2026-03-03T21:45:00.001Z"));
    Knockbox__Record *again = record_of(out);
    cr_expect(record_same(record, again));
    cr_expect(again->has_held_ms == 1);
    cr_expect(again->has_epoch == 0 && again->via == NULL);
    json_decref(out);
    json_decref(line);
}

static const struct {
    const char *line, *said;
} refused[] = {
    {"{}", "kind: missing: expected a kind of record such as tub"},
    {"{\"kind\":\"tbu\"}", "kind: tbu: expected a kind of record, did you mean tub?"},
    {"{\"kind\":\"record\"}", "kind: record: expected a kind of record such as tub"},
    {"{\"kind\":\"note\",\"text\":\"x\",\"at\":\"2026-03-03\"}",
     "at: 2026-03-03: expected a time with its offset, such as 2026-03-03T21:40:00+00:00"},
    {"{\"kind\":\"note\",\"text\":\"x\",\"by\":\"a very long name indeed\"}",
     "by: a very long name indeed: expected text of at most 16 bytes in UTF-8"},
    {"{\"kind\":\"note\",\"text\":\"x\",\"site\":\"quay side\"}",
     "site: quay side: expected a code: 1 to 64 bytes, no spaces or control characters"},
    {"{\"kind\":\"note\",\"text\":\"x\",\"zone\":\"UTC\"}", "zone: unknown field of note"},
    {"{\"kind\":\"site\",\"code\":\"a\",\"role\":\"cafe\",\"zone\":\"Europe/Londn\","
     "\"currency\":\"GBP\"}",
     "zone: Europe/Londn: expected an IANA time zone such as Europe/London"},
    {"{\"kind\":\"dispatch\",\"lot\":\"L\",\"count\":1,\"to_site\":null}",
     "to_site: missing: expected a code: 1 to 64 bytes, no spaces or control characters"},
};

Test(record, a_bad_line_is_answered_in_words)
{
    for (size_t i = 0; i < sizeof refused / sizeof refused[0]; i++) {
        struct err_text why = {.s = ""};
        Knockbox__Record *record = NULL;
        json_t *line = json_loads(refused[i].line, 0, NULL);
        cr_expect(eq(int, record_from_json(line, &arena, &record, &why), ERR_INPUT));
        cr_expect(eq(str, why.s, (char *)refused[i].said));
        json_decref(line);
    }
}

Test(record, sameness_looks_at_site_kind_at_by_and_body)
{
    json_t *line = sample_line(kind_by_word("mix"));
    Knockbox__Record *a = record_of(line);
    Knockbox__Record *b = record_of(line);
    cr_expect(record_same(a, b));
    b->seq = 9;
    b->via = "x";
    cr_expect(record_same(a, b));
    b->by = "RK";
    cr_expect(record_same(a, b) == false);
    b->by = a->by;
    b->at_ms++;
    cr_expect(record_same(a, b) == false);
    b->at_ms--;
    b->mix->inputs[1]->mass_g++;
    cr_expect(record_same(a, b) == false);
    b->mix->inputs[1]->mass_g--;
    b->mix->n_inputs--;
    cr_expect(record_same(a, b) == false);
    json_decref(line);
}

Test(record, a_correction_holds_a_whole_body_and_may_move_the_event)
{
    struct err_text why = {.s = ""};
    Knockbox__Record *record = NULL;
    const struct kind *note = kind_by_word("note");
    cr_assert(record_from_correction("{\"text\":\"y\",\"at\":\"2026-03-03T21:45:00Z\"}", note,
                                     &arena, &record, &why) == ERR_OK);
    cr_expect(eq(str, record->note->text, "y"));
    cr_expect(record->has_at_ms && record->at_ms == 1772574300000);
    cr_assert(record_from_correction("{\"text\":\"y\"}", note, &arena, &record, &why) == ERR_OK);
    cr_expect(record->has_at_ms == 0);
    cr_expect(
        eq(int,
           record_from_correction("{\"at\":\"2026-03-03T21:45:00Z\"}", note, &arena, &record, &why),
           ERR_INPUT));
    cr_expect(eq(
        int, record_from_correction("{\"text\":\"y\",\"site\":\"a\"}", note, &arena, &record, &why),
        ERR_INPUT));
    cr_expect(eq(int, record_from_correction("text", note, &arena, &record, &why), ERR_INPUT));
}

Test(record, only_big_kinds_may_take_more_than_4_kib)
{
    static uint8_t bytes[RECORD_BIG_MAX];
    struct err_text why = {.s = ""};
    size_t len = 0;
    Knockbox__Record *stored = NULL;
    json_t *line = sample_line(kind_by_word("receive"));
    Knockbox__Record *record = record_of(line);
    fill_envelope(record);
    Knockbox__ReceivedTub *many[400];
    for (size_t i = 0; i < 400; i++)
        many[i] = record->receive->tubs[0];
    record->receive->tubs = many;
    record->receive->n_tubs = 400;
    cr_assert(codec_encode(&record->base, bytes, sizeof bytes, &len, &why) == ERR_OK);
    cr_assert(len > RECORD_MAX);
    cr_expect(eq(int, record_decode(bytes, len, true, &arena, &stored, &why), ERR_INPUT));
    cr_expect(eq(int, record_decode(bytes, len, false, &arena, &stored, &why), ERR_OK));
    json_decref(line);

    line = sample_line(kind_by_word("plan"));
    record = record_of(line);
    fill_envelope(record);
    record->plan->data = memset(calloc(1, 60001), 'x', 60000);
    cr_assert(codec_encode(&record->base, bytes, sizeof bytes, &len, &why) == ERR_OK);
    cr_expect(eq(int, record_decode(bytes, len, true, &arena, &stored, &why), ERR_OK), "%s", why.s);
    free(record->plan->data);
    json_decref(line);
}

/* Packs the record, which fills its kind's size nearly, and reads it in an arena of `size`. */
static enum err
decode_in(const Knockbox__Record *record, size_t size)
{
    static uint8_t bytes[RECORD_BIG_MAX];
    struct err_text why = {.s = ""};
    struct arena small;
    size_t used = 0;
    Knockbox__Record *stored = NULL;
    cr_assert(arena_init(&small, size, NULL) == ERR_OK);
    cr_assert(codec_encode(&record->base, bytes, sizeof bytes, &used, &why) == ERR_OK);
    enum err e = record_decode(bytes, used, true, &small, &stored, &why);
    arena_done(&small);
    return e;
}

/* What takes the most memory for its bytes: long lists of the shortest entries. */
Test(record, whatever_a_site_can_write_fits_the_arena_of_its_kind)
{
    enum {
        LABELS = (RECORD_BIG_MAX - 400) / 3,
        BOTTLES = (RECORD_BIG_MAX - 400) / 7,
        TUBS = (RECORD_MAX - 200) / 5
    };
    static char *labels[LABELS];
    static Knockbox__BottleCount *bottles[BOTTLES];
    static Knockbox__ReceivedTub *tubs[TUBS];
    Knockbox__BottleCount bottle = KNOCKBOX__BOTTLE_COUNT__INIT;
    Knockbox__ReceivedTub tub = KNOCKBOX__RECEIVED_TUB__INIT;
    Knockbox__Codes codes = KNOCKBOX__CODES__INIT;
    Knockbox__BottleCounts counts = KNOCKBOX__BOTTLE_COUNTS__INIT;
    bottle.lot = tub.tub = "T";
    bottle.has_count = 1;
    for (size_t i = 0; i < LABELS; i++)
        labels[i] = "T";
    for (size_t i = 0; i < BOTTLES; i++)
        bottles[i] = &bottle;
    for (size_t i = 0; i < TUBS; i++)
        tubs[i] = &tub;

    json_t *line = sample_line(kind_by_word("stocktake"));
    Knockbox__Record *record = record_of(line);
    fill_envelope(record);
    record->stocktake->bottles = NULL;
    record->stocktake->tubs = &codes;
    codes = (Knockbox__Codes){codes.base, LABELS, labels};
    cr_expect(eq(int, decode_in(record, ARENA_BIG_RECORD), ERR_OK));
    record->stocktake->tubs = NULL;
    record->stocktake->bottles = &counts;
    counts = (Knockbox__BottleCounts){counts.base, BOTTLES, bottles};
    cr_expect(eq(int, decode_in(record, ARENA_BIG_RECORD), ERR_OK));
    json_decref(line);

    line = sample_line(kind_by_word("receive"));
    record = record_of(line);
    fill_envelope(record);
    record->receive->tubs = tubs;
    record->receive->n_tubs = TUBS;
    cr_expect(eq(int, decode_in(record, ARENA_RECORD), ERR_OK));
    json_decref(line);
}

Test(record, a_kind_of_a_later_version_passes_and_no_kind_does_not)
{
    static uint8_t bytes[RECORD_BIG_MAX];
    struct err_text why = {.s = ""};
    size_t len = 0;
    json_t *line = sample_line(kind_by_word("note"));
    Knockbox__Record *record = record_of(line);
    Knockbox__Record *stored = NULL;
    fill_envelope(record);
    record->body_case = KNOCKBOX__RECORD__BODY__NOT_SET;
    cr_assert(codec_encode(&record->base, bytes, sizeof bytes, &len, &why) == ERR_OK);
    cr_expect(eq(int, record_decode(bytes, len, true, &arena, &stored, &why), ERR_INPUT));
    cr_expect(eq(str, why.field, "kind"));
    memcpy(bytes + len, "\xC2\x3E\x02hi", 5); /* field 1000 */
    cr_expect(eq(int, record_decode(bytes, len + 5, true, &arena, &stored, &why), ERR_OK), "%s",
              why.s);
    cr_expect(record_body(stored) == NULL);
    cr_expect(kind_visible(stored, "quayside") == false);
    json_decref(line);
}
