/* sample.c - values by rule, then what the kinds' own checks ask for. */
#include "tests/record/sample.h"

#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include "proto/fields.h"
#include "proto/when.h"

/* Fields that go together; null takes one out. */
static const char sets[] =
    "{"
    "\"tub\": {\"gross_g\": 3240, \"tare_g\": 180, \"method\": \"counted\","
    "  \"frozen\": \"2026-03-03T21:40:00+00:00\"},"
    "\"shift\": {\"to\": \"2026-03-03T22:00:00+00:00\"},"
    "\"discard\": {\"count\": null},"
    "\"stocktake\": {\"tubs\": []},"
    "\"thaw\": {\"ended\": \"2026-03-03T22:00:00+00:00\"},"
    "\"mix\": {\"inputs\": [{\"tub\": \"T-1\", \"mass_g\": 1380, \"empty\": true},"
    "                       {\"lot\": \"S-1\", \"mass_g\": 9650}]},"
    "\"measure\": {\"batch\": null, \"value\": \"21.50\", \"unit\": \"%\"},"
    "\"accept\": {\"count\": 24, \"broken\": 1},"
    "\"sale\": {\"lot\": null},"
    "\"order\": {\"ml\": null},"
    "\"purchase\": {\"volume_ml\": null},"
    "\"correct\": {\"body\": {\"at\": \"2026-03-03T21:40:00+00:00\", \"text\": \"x\"},"
    "  \"void\": null},"
    "\"site\": {\"zone\": \"Europe/London\"},"
    "\"recipe\": {\"grounds_min_g\": 1000, \"grounds_max_g\": 60000},"
    "\"place\": {\"max_c\": \"-15\", \"min_c\": \"-30\"},"
    "\"staff\": {\"roles\": [\"barista\", \"driver\"]},"
    "\"plan\": {\"part\": 1, \"parts\": 2},"
    "\"enrol\": {\"role\": \"site\"},"
    "\"basis\": {\"avoided\": {\"family\": \"a\", \"gwp_basis\": \"AR6\", \"baseline\": "
    "\"landfill\","
    "  \"reason\": \"chosen\", \"kg_co2e_per_t\": {\"animal_feed\": \"1.5\"}}}"
    "}";

static json_t *sample_message(const ProtobufCMessageDescriptor *descriptor);

static json_t *
sample_text(const struct field_rule *rule)
{
    char text[80];
    switch (rule->type) {
    case FIELD_DECIMAL:
        return json_string(rule->least_text[0] == '-' ? "-17.40" : "12.50");
    case FIELD_MONTH:
        return json_string("2026-03");
    case FIELD_HHMM:
        return json_string("04:30");
    case FIELD_CURRENCY:
        return json_string("GBP");
    case FIELD_CODE:
        snprintf(text, sizeof text, "%.40s-1", rule->json);
        return json_string(text);
    default:
        snprintf(text, sizeof text, "%.*s", (int)(rule->most < 60 ? rule->most : 60),
                 "caf\xC3\xA9 words, long enough to fill what there is room for");
        return json_string(text);
    }
}

static json_t *
sample_bytes(const struct field_rule *rule)
{
    char text[80] = "";
    if (rule->type == FIELD_UUID)
        return json_string("019cb9ed-90c0-7e93-abeb-6f152c2ece1a");
    for (int64_t i = 0; i < rule->most && i < 32; i++)
        snprintf(text + 2 * i, sizeof text - 2 * (size_t)i, "%02x", (unsigned)(i * 7 + 1));
    return json_string(text);
}

static json_t *
sample_number(const struct field_rule *rule)
{
    if (rule->type == FIELD_INSTANT)
        return json_string("2026-03-03T21:00:00+00:00");
    if (rule->type == FIELD_DAY)
        return json_string("2026-03-03");
    return json_integer(rule->ranged ? rule->most : 1234);
}

static json_t *
sample_value(const ProtobufCFieldDescriptor *field, const struct field_rule *rule)
{
    switch (field->type) {
    case PROTOBUF_C_TYPE_STRING:
        return sample_text(rule);
    case PROTOBUF_C_TYPE_BYTES:
        return sample_bytes(rule);
    case PROTOBUF_C_TYPE_BOOL:
        return json_true();
    case PROTOBUF_C_TYPE_ENUM: {
        const ProtobufCEnumDescriptor *words = field->descriptor;
        return json_string(enum_word(words, words->values[words->n_values - 1].value));
    }
    case PROTOBUF_C_TYPE_MESSAGE:
        return sample_message(field->descriptor);
    default:
        return sample_number(rule);
    }
}

static json_t *
sample_field(const ProtobufCFieldDescriptor *field, const struct field_rule *rule)
{
    json_t *value = sample_value(field, rule);
    if (field->label != PROTOBUF_C_LABEL_REPEATED)
        return value;
    json_t *list = json_array();
    json_array_append(list, value);
    json_array_append_new(list, value);
    return list;
}

static json_t *
sample_message(const ProtobufCMessageDescriptor *descriptor)
{
    const struct message_rule *rules = message_rule(descriptor);
    if (rules->list)
        return sample_field(&descriptor->fields[0], &rules->fields[0]);
    json_t *object = json_object();
    for (unsigned i = 0; i < descriptor->n_fields; i++)
        json_object_set_new(object, rules->fields[i].json,
                            sample_field(&descriptor->fields[i], &rules->fields[i]));
    return object;
}

/* Puts the kind's own set over what the rules gave. */
static void
apply_set(json_t *body, const char *word)
{
    json_t *all = json_loads(sets, 0, NULL);
    json_t *set = json_object_get(all, word);
    const char *name = NULL;
    json_t *value = NULL;
    json_object_foreach(set, name, value)
    {
        if (json_is_null(value))
            json_object_del(body, name);
        else
            json_object_set(body, name, value);
    }
    json_decref(all);
}

json_t *
sample_line(const struct kind *kind)
{
    json_t *line = json_pack("{s:s, s:s, s:s, s:s, s:s}", "site", "quayside", "id",
                             "019cb9ed-90c0-7e93-abeb-6f152c2ece1b", "kind", kind->word, "at",
                             "2026-03-03T21:45:00+00:00", "by",
                             "\xC3\x89"
                             "B");
    json_t *body = sample_message(kind->descriptor);
    apply_set(body, kind->word);
    json_object_update(line, body);
    json_decref(body);
    return line;
}
