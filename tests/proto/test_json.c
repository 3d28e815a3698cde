/* test_json.c - JSON to messages and back, and the words of each refusal. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdlib.h>
#include <string.h>

#include "proto/json.h"
#include "proto/record.pb-c.h"

static struct arena arena;

static void
begin(void)
{
    (void)arena_init(&arena, ARENA_RECORD, NULL);
}

static void
end(void)
{
    arena_done(&arena);
}

TestSuite(json, .init = begin, .fini = end);

static enum err
read(const ProtobufCMessageDescriptor *descriptor, const char *text, ProtobufCMessage **out,
     struct err_text *why)
{
    json_t *object = NULL;
    arena_reset(&arena);
    enum err e = json_parse(text, strlen(text), &object, why);
    if (e == ERR_OK)
        e = json_to_message(object, descriptor, NULL, &arena, out, why);
    json_decref(object);
    return e;
}

/* Reads and prints again; the text is lent until the next call. */
static const char *
round_trip(const ProtobufCMessageDescriptor *descriptor, const char *text)
{
    static char out[1024];
    struct err_text why = {.s = ""};
    ProtobufCMessage *message = NULL;
    cr_assert(read(descriptor, text, &message, &why) == ERR_OK, "%s", why.s);
    json_t *object = json_object();
    cr_assert(json_from_message(message, 60, object, &why) == ERR_OK);
    char *dump = json_dumps(object, JSON_COMPACT);
    snprintf(out, sizeof out, "%s", dump);
    free(dump);
    json_decref(object);
    return out;
}

#define TUB                                                                           \
    "\"tub\":\"T-1\",\"coffee\":\"house\",\"origin\":\"espresso\","                   \
    "\"tare_g\":180,\"method\":\"weighed\",\"first_knock\":\"2026-03-03T21:00:00Z\"," \
    "\"frozen\":\"2026-03-03T21:40:00Z\",\"place\":\"f1\""

Test(json, a_message_comes_back_as_it_was)
{
    const char *want =
        "{\"tub\":\"T-1\",\"coffee\":\"house\",\"origin\":\"espresso\",\"gross_g\":500,"
        "\"tare_g\":180,\"method\":\"weighed\","
        "\"first_knock\":\"2026-03-03T22:00:00+01:00\","
        "\"frozen\":\"2026-03-03T22:40:00+01:00\",\"place\":\"f1\","
        "\"contains\":[]}";
    cr_expect(eq(str,
                 (char *)round_trip(&knockbox__tub__descriptor,
                                    "{" TUB ",\"gross_g\":\"500\",\"contains\":[]}"),
                 (char *)want));
    cr_expect(eq(str, (char *)round_trip(&knockbox__tub__descriptor, want), (char *)want));
}

Test(json, lists_maps_words_and_objects_inside)
{
    static const struct {
        const ProtobufCMessageDescriptor *descriptor;
        const char *text;
    } rows[] = {
        {&knockbox__stocktake__descriptor,
         "{\"place\":\"f1\",\"tubs\":[],\"bottles\":[{\"lot\":\"L-1\",\"count\":0}]}"},
        {&knockbox__limits__descriptor,
         "{\"code\":\"warm-time\",\"value\":\"240\",\"unit\":\"min\","
         "\"comparator\":\"<=\",\"source\":\"house\","
         "\"dated\":\"2026-02-01\"}"},
        {&knockbox__avoided__descriptor,
         "{\"family\":\"a\",\"gwp_basis\":\"AR6\",\"baseline\":\"10\",\"reason\":\"r\","
         "\"kg_co2e_per_t\":{\"animal_feed\":\"1.5\",\"landfill\":\"700\"}}"},
        {&knockbox__correct__descriptor,
         "{\"record\":\"017f22e2-79b0-7cc3-98c4-dc0c0c07398f\",\"body\":{\"a\":[1,{\"b\":null}]},"
         "\"reason\":\"typo\"}"},
        {&knockbox__strain__descriptor,
         "{\"batch\":\"B\",\"station\":\"F\",\"event\":\"paper-change\"}"},
        {&knockbox__run__descriptor,
         "{\"code\":\"r\",\"route\":\"q\",\"day\":\"2026-03-03\",\"departs\":\"06:30\"}"},
        {&knockbox__calendar__descriptor, "{\"day\":\"2026-12-25\",\"open\":false}"},
        {&knockbox__route__descriptor,
         "{\"code\":\"r\",\"stops\":[\"quayside\"],\"weekdays\":[1,5]}"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        cr_expect(
            eq(str, (char *)round_trip(rows[i].descriptor, rows[i].text), (char *)rows[i].text));
}

Test(json, null_is_absent)
{
    cr_expect(eq(str,
                 (char *)round_trip(&knockbox__note__descriptor, "{\"about\":null,\"text\":\"x\"}"),
                 "{\"text\":\"x\"}"));
}

Test(json, decimals_keep_their_digits)
{
    static const char *const rows[][2] = {
        {"-17.4", "-17.4"}, {"\"-17.40\"", "-17.40"}, {"4", "4"},
        {"0.1", "0.1"},     {"\"007\"", "007"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        char text[128];
        char want[128];
        snprintf(text, sizeof text, "{\"place\":\"f1\",\"temp_c\":%s}", rows[i][0]);
        snprintf(want, sizeof want, "{\"place\":\"f1\",\"temp_c\":\"%s\"}", rows[i][1]);
        cr_expect(eq(str, (char *)round_trip(&knockbox__reading__descriptor, text), want));
    }
}

/* Each row: what a tub gets for gross_g, and what is said of it. */
static const struct {
    const char *value, *said;
} weights[] = {
    {"-5", "gross_g: -5: expected 1 to 60000 (grams)"},
    {"60001", "gross_g: 60001: expected 1 to 60000 (grams)"},
    {"500.5", "gross_g: 500.5: expected 1 to 60000 (grams), a whole number"},
    {"500.0", "gross_g: 500.0: expected 1 to 60000 (grams), a whole number"},
    {"\"3.4 kg\"", "gross_g: 3.4 kg: expected 1 to 60000 (grams), digits only, without a unit"},
    {"\"3,4\"", "gross_g: 3,4: expected 1 to 60000 (grams), with a point and no comma"},
    {"\"\"", "gross_g: : expected 1 to 60000 (grams)"},
    {"true", "gross_g: true: expected 1 to 60000 (grams)"},
    {"[500]", "gross_g: [500]: expected 1 to 60000 (grams)"},
    {"\"99999999999999999999\"", "gross_g: 99999999999999999999: expected 1 to 60000 (grams)"},
    {"null", "gross_g: missing: expected 1 to 60000 (grams)"},
};

Test(json, a_bad_number_is_answered_with_range_and_unit)
{
    for (size_t i = 0; i < sizeof weights / sizeof weights[0]; i++) {
        char text[512];
        struct err_text why = {.s = ""};
        ProtobufCMessage *message = NULL;
        snprintf(text, sizeof text, "{" TUB ",\"gross_g\":%s}", weights[i].value);
        cr_expect(eq(int, read(&knockbox__tub__descriptor, text, &message, &why), ERR_INPUT));
        cr_expect(eq(str, why.s, (char *)weights[i].said));
    }
}

static const struct {
    const ProtobufCMessageDescriptor *descriptor;
    const char *text, *said;
} refused[] = {
    {&knockbox__tub__descriptor, "{\"gros_g\":1}",
     "gros_g: unknown field of tub, did you mean gross_g?"},
    {&knockbox__tub__descriptor, "{\"zebra\":1}", "zebra: unknown field of tub"},
    {&knockbox__tub__descriptor, "{\"origin\":\"expresso\"}",
     "origin: expresso: expected one of espresso, filter"},
    {&knockbox__tub__descriptor, "{\"tub\":5}",
     "tub: 5: expected a code: 1 to 64 bytes, no spaces or control characters, in quotes"},
    {&knockbox__tub__descriptor, "{\"frozen\":\"2026-03-03T21:40:00\"}",
     "frozen: 2026-03-03T21:40:00: expected a time with its offset, such as "
     "2026-03-03T21:40:00+00:00"},
    {&knockbox__tub__descriptor, "{\"contains\":\"milk\"}",
     "contains: milk: expected text of at most 100 bytes in UTF-8, in a list: [...]"},
    {&knockbox__tub__descriptor, "{\"contains\":[\"milk\",null]}",
     "contains[1]: null: expected text of at most 100 bytes in UTF-8, in quotes"},
    {&knockbox__receive__descriptor, "{\"tubs\":[{\"tub\":\"a\"},{\"tub\":\"b\",\"gros_g\":1}]}",
     "tubs[1].gros_g: unknown field of received-tub, did you mean gross_g?"},
    {&knockbox__receive__descriptor, "{\"tubs\":[{\"tub\":\"a\",\"accepted\":\"yes\"}]}",
     "tubs[0].accepted: yes: expected true or false"},
    {&knockbox__calendar__descriptor, "{\"day\":\"2026-02-30\",\"open\":true}",
     "day: 2026-02-30: expected a day that exists, such as 2026-03-03"},
    {&knockbox__reading__descriptor, "{\"place\":\"f\",\"temp_c\":\"-17,4\"}",
     "temp_c: -17,4: expected -90 to 300 (degrees Celsius), with a point and no comma"},
    {&knockbox__reading__descriptor, "{\"place\":\"f\",\"temp_c\":301}",
     "temp_c: 301: expected -90 to 300 (degrees Celsius)"},
    {&knockbox__reading__descriptor, "{\"place\":\"f\",\"temp_c\":0.12345678901234567}",
     "temp_c: 0.123456789012346: expected -90 to 300 (degrees Celsius), as text with its digits"},
    {&knockbox__sale__descriptor, "{\"count\":1,\"unit_minor\":1,\"currency\":\"gbp\"}",
     "currency: gbp: expected a currency of three capital letters, such as GBP"},
    {&knockbox__correct__descriptor, "{\"record\":\"12\"}",
     "record: 12: expected an id such as 019cb9ed-90c0-7e93-abeb-6f152c2ece1a"},
};

Test(json, a_refusal_names_field_value_and_what_is_expected)
{
    for (size_t i = 0; i < sizeof refused / sizeof refused[0]; i++) {
        struct err_text why = {.s = ""};
        ProtobufCMessage *message = NULL;
        cr_expect(eq(int, read(refused[i].descriptor, refused[i].text, &message, &why), ERR_INPUT));
        cr_expect(eq(str, why.s, (char *)refused[i].said));
    }
}

Test(json, text_that_is_not_one_strict_object_is_refused)
{
    static const char *const rows[] = {
        "",
        "[]",
        "5",
        "{",
        "{} {}",
        "{\"a\":1,\"a\":2}",
        "{\"a\":NaN}",
        "{\"a\":\"\\u0000\"}",
        "{\"a\":\"\\ud800\"}",
        "{\"a\":\"\xFF\"}",
        "{'a':1}",
        "{\"a\":99999999999999999999}",
        "[[[[[[[[[[[[[[[[[[[[[[]]]]]]]]]]]]]]]]]]]]]]",
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct err_text why = {.s = ""};
        json_t *object = NULL;
        cr_expect(eq(int, json_parse(rows[i], strlen(rows[i]), &object, &why), ERR_INPUT), "%s",
                  rows[i]);
        cr_expect(object == NULL && why.s[0] != '\0');
    }
}
