/* test_kind.c - the table of kinds, and what each kind refuses. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdio.h>
#include <string.h>

#include "daemon/record/record.h"
#include "proto/fields.h"
#include "proto/json.h"
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

TestSuite(kind, .init = begin, .fini = end);

Test(kind, every_member_of_the_oneof_has_its_row)
{
    unsigned n = 0;
    unsigned found = 0;
    const struct kind *all = kinds(&n);
    const ProtobufCMessageDescriptor *record = &knockbox__record__descriptor;
    for (unsigned i = 0; i < record->n_fields; i++) {
        const ProtobufCFieldDescriptor *field = &record->fields[i];
        if ((field->flags & PROTOBUF_C_FIELD_FLAG_ONEOF) == 0)
            continue;
        char word[64];
        snprintf(word, sizeof word, "%s", field->name);
        if (word[strlen(word) - 1] == '_')
            word[strlen(word) - 1] = '\0';
        for (char *p = word; *p != '\0'; p++)
            *p = *p == '_' ? '-' : *p;
        const struct kind *kind = kind_by_number(field->id);
        cr_assert(kind != NULL, "%s", field->name);
        cr_expect(kind == &all[found++], "%s is out of order", field->name);
        cr_expect(eq(str, (char *)kind->word, word));
        cr_expect(kind == kind_by_word(word));
        cr_expect(kind->descriptor == field->descriptor, "%s", field->name);
        cr_expect(ne(u32, kind->writers & ROLE_BIT_OPERATOR, 0), "%s", word);
        cr_expect(eq(u32, kind->writers & ROLE_BIT_READER, 0), "%s", word);
    }
    cr_expect(eq(u32, found, n));
    cr_expect(kind_by_number(0) == NULL && kind_by_number(1000) == NULL);
    cr_expect(kind_by_word("") == NULL);
}

/* Report rule T5, in its words. */
Test(kind, the_order_of_one_instant_is_that_of_the_rule)
{
    static const char *const order[] = {
        "site",    "tub",        "shift",  "handover", "receive",   "supply", "thaw", "mix",
        "strain",  "measure",    "bottle", "release",  "dispatch",  "accept", "sale", "discard",
        "residue", "collection", "close",  "reading",  "stocktake", "note"};
    for (size_t i = 1; i < sizeof order / sizeof order[0]; i++)
        cr_expect(kind_by_word(order[i - 1])->order < kind_by_word(order[i])->order, "%s",
                  order[i]);
    unsigned n = 0;
    const struct kind *all = kinds(&n);
    for (unsigned i = 0; i < n; i++) {
        int want = all[i].group == KIND_CATALOGUE ? 0 : all[i].order;
        cr_expect(eq(int, all[i].order, want), "%s", all[i].word);
        if (all[i].group == KIND_ACT)
            cr_expect(eq(int, all[i].order, kind_by_word("note")->order), "%s", all[i].word);
    }
}

/* Each row: a kind, what is put over its sample, and what is said; NULL: nothing. */
static const struct {
    const char *kind, *over, *said;
} rows[] = {
    {"tub", "{\"tare_g\": 3240}", "tare_g: 3240: expected less than gross_g (3240)"},
    {"tub", "{\"frozen\": \"2026-03-03T20:59:59Z\"}",
     "frozen: 2026-03-03T20:59:59+00:00: expected no earlier than first_knock "
     "(2026-03-03T21:00:00+00:00)"},
    {"tub", "{\"method\": \"sampled\"}", "method: sampled: expected weighed, counted or estimated"},
    {"close", "{\"uncaptured_method\": null}",
     "uncaptured_method: missing: expected weighed, counted, sampled or estimated, because "
     "uncaptured_g is over 0"},
    {"close", "{\"uncaptured_method\": null, \"uncaptured_g\": 0}", NULL},
    {"shift", "{\"to\": \"2026-03-03T20:00:00Z\"}",
     "to: 2026-03-03T20:00:00+00:00: expected no earlier than from (2026-03-03T21:00:00+00:00)"},
    {"shift", "{\"state\": null}", NULL},
    {"discard", "{\"mass_g\": null}", "mass_g: missing: expected the mass in grams"},
    {"discard", "{\"what\": \"tub\", \"mass_g\": null}",
     "mass_g: missing: expected mass_g, or count"},
    {"discard", "{\"what\": \"lot\", \"mass_g\": null, \"count\": 3}", NULL},
    {"discard", "{\"what\": \"batch\", \"count\": 3}",
     "count: a count: expected none: a batch has a mass only"},
    {"supply", "{\"mass_g\": null, \"volume_ml\": null}",
     "mass_g: missing: expected mass_g, or volume_ml"},
    {"supply", "{\"currency\": null}",
     "currency: missing: expected the currency of cost_minor, such as GBP"},
    {"thaw", "{\"ended\": \"2026-03-03T20:00:00Z\"}",
     "ended: 2026-03-03T20:00:00+00:00: expected no earlier than started "
     "(2026-03-03T21:00:00+00:00)"},
    {"mix", "{\"inputs\": [{\"tub\": \"a\", \"mass_g\": 1}, {\"mass_g\": 1}]}",
     "inputs[1].tub: missing: expected either tub or lot"},
    {"mix", "{\"inputs\": [{\"tub\": \"a\", \"lot\": \"b\", \"mass_g\": 1}]}",
     "inputs[0].tub: a: expected either tub or lot"},
    {"mix", "{\"inputs\": [{\"lot\": \"b\", \"mass_g\": 1, \"empty\": true}]}",
     "inputs[0].empty: true: expected only with a tub"},
    {"mix", "{\"inputs\": []}", "inputs: missing: expected at least one"},
    {"measure", "{\"lot\": null}", "batch: missing: expected either batch or lot"},
    {"measure", "{\"batch\": \"b\"}", "batch: b: expected either batch or lot"},
    {"measure", "{\"unit\": \"kg\"}", "unit: kg: expected % or g"},
    {"measure", "{\"what\": \"abv\", \"unit\": \"%\", \"value\": \"100.1\"}",
     "value: 100.1: expected 0 to 100"},
    {"measure", "{\"what\": \"ph\", \"unit\": \"pH\", \"value\": \"-1\"}",
     "value: -1: expected 0 to 14"},
    {"measure", "{\"what\": \"water-activity\", \"unit\": \"aw\", \"value\": \"0.91\"}", NULL},
    {"accept", "{\"broken\": 25}", "broken: 25: expected at most count (24)"},
    {"accept", "{\"broken\": 24}", NULL},
    {"sale", "{\"product\": null}", "lot: missing: expected either lot or product"},
    {"sale", "{\"lot\": \"L\"}", "lot: L: expected either lot or product"},
    {"sale", "{\"bottle_ml\": null}",
     "bottle_ml: missing: expected the size of the bottle, because the lot is not given"},
    {"sale", "{\"lot\": \"L\", \"product\": null, \"bottle_ml\": null}", NULL},
    {"order", "{\"count\": null}", "count: missing: expected either count or ml"},
    {"order", "{\"ml\": 500}", "count: both: expected either count or ml"},
    {"purchase", "{\"mass_g\": null}", "mass_g: missing: expected either mass_g or volume_ml"},
    {"purchase", "{\"volume_ml\": 500}", "mass_g: both: expected either mass_g or volume_ml"},
    {"purchase", "{\"volume_ml\": 500, \"mass_g\": null}", NULL},
    {"correct", "{\"body\": null}",
     "body: missing: expected either a whole new body, or void: true"},
    {"correct", "{\"void\": true}",
     "body: with void: expected either a whole new body, or void: true"},
    {"correct", "{\"body\": null, \"void\": true}", NULL},
    {"correct", "{\"void\": false}", NULL},
    {"correct", "{\"body\": {\"site\": \"a\"}}",
     "body: site: expected the fields of its kind; of the envelope only `at`"},
    {"site", "{\"zone\": \"../../etc/passwd\"}",
     "zone: ../../etc/passwd: expected an IANA time zone such as Europe/London"},
    {"site", "{\"joined\": \"2026-03-03\", \"left\": \"2026-03-02\"}",
     "left: 2026-03-02: expected no earlier than joined"},
    {"site", "{\"day_start\": \"24:00\"}",
     "day_start: 24:00: expected a time of day such as 04:30"},
    {"recipe", "{\"grounds_min_g\": 60001}",
     "grounds_min_g: 60001: expected at most grounds_max_g"},
    {"item", "{\"currency\": null}",
     "currency: missing: expected the currency of pack_minor, such as GBP"},
    {"place", "{\"min_c\": \"-14.9\"}", "min_c: -14.9: expected at most max_c"},
    {"staff", "{\"roles\": [\"barista\", \"chef\"]}",
     "roles[1]: chef: expected barista, driver, kitchen, office, operator or reader"},
    {"plan", "{\"part\": 3}", "part: 3: expected at most parts"},
    {"enrol", "{\"for_site\": null}", "for_site: missing: expected the site whose machine it is"},
    {"enrol", "{\"role\": \"reader\", \"person\": null}",
     "person: missing: expected who holds the key"},
    {"enrol", "{\"role\": \"root\"}",
     "role: root: expected site, barista, driver, kitchen, office, operator or reader"},
    {"price", "{\"from\": null}", "from: missing: expected a day that exists, such as 2026-03-03"},
    {"route", "{\"weekdays\": [0]}", "weekdays[0]: 0: expected 1 to 7"},
};

Test(kind, each_kind_refuses_what_it_alone_can_know)
{
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct err_text why = {.s = ""};
        Knockbox__Record *record = NULL;
        json_t *line = sample_line(kind_by_word(rows[i].kind));
        json_t *over = json_loads(rows[i].over, 0, NULL);
        cr_assert(over != NULL, "%s", rows[i].over);
        json_object_update(line, over);
        arena_reset(&arena);
        enum err e = record_from_json(line, &arena, &record, &why);
        cr_expect(eq(int, e, rows[i].said != NULL ? ERR_INPUT : ERR_OK), "%s", rows[i].over);
        cr_expect(eq(str, why.s, (char *)(rows[i].said != NULL ? rows[i].said : "")));
        json_decref(over);
        json_decref(line);
    }
}

static bool
visible(const char *kind, const char *over)
{
    Knockbox__Record *record = NULL;
    struct err_text why = {.s = ""};
    json_t *line = sample_line(kind_by_word(kind));
    json_t *set = json_loads(over, 0, NULL);
    json_object_update(line, set);
    cr_assert(record_from_json(line, &arena, &record, &why) == ERR_OK, "%s", why.s);
    json_decref(set);
    json_decref(line);
    return kind_visible(record, "quayside");
}

Test(kind, a_cafe_sees_what_concerns_it_and_never_a_price)
{
    static const char *const always[] = {"coffee",  "product", "recipe", "vessel",
                                         "station", "run",     "recall"};
    static const char *const never[] = {"price", "staff", "enrol",        "revoke",  "factors",
                                        "basis", "plan",  "period-close", "restate", "settle"};
    static const char *const own[] = {"stream", "place", "limits", "calendar", "pickup"};
    for (size_t i = 0; i < sizeof always / sizeof always[0]; i++)
        cr_expect(visible(always[i], "{}"), "%s", always[i]);
    for (size_t i = 0; i < sizeof never / sizeof never[0]; i++)
        cr_expect(visible(never[i], "{}") == false, "%s", never[i]);
    for (size_t i = 0; i < sizeof own / sizeof own[0]; i++) {
        cr_expect(visible(own[i], "{\"for_site\": \"quayside\"}"), "%s", own[i]);
        cr_expect(visible(own[i], "{\"for_site\": \"foundry\"}") == false, "%s", own[i]);
    }
    cr_expect(visible("stream", "{\"for_site\": null}"));
    cr_expect(visible("route", "{\"stops\": [\"foundry\", \"quayside\"]}"));
    cr_expect(visible("route", "{\"stops\": [\"foundry\"]}") == false);
    cr_expect(visible("site", "{\"code\": \"quayside\"}"));
    cr_expect(visible("site", "{\"code\": \"foundry\"}") == false); /* it tells a wage */
    cr_expect(visible("site", "{\"code\": \"foundry\", \"labour_minor_per_hour\": null}"));
    cr_expect(visible("item", "{}") == false); /* it tells a price */
    cr_expect(visible("item", "{\"pack_minor\": null}"));
    unsigned n = 0;
    const struct kind *all = kinds(&n);
    for (unsigned i = 0; i < n; i++)
        if (all[i].group == KIND_SITE)
            cr_expect(visible(all[i].word, "{}") == false, "%s", all[i].word);
}

Test(kind, roles_have_words)
{
    enum role role = ROLE_BIT_READER;
    cr_assert(role_parse("driver", &role));
    cr_expect(eq(int, role, ROLE_BIT_DRIVER));
    cr_expect(eq(str, (char *)role_word(role), "driver"));
    cr_expect(role_parse("chef", &role) == false);
}
