/* write_loose.c - values as people type them on a command line, made what a record wants.
 *
 * "now", "17:40" and "2026-03-03 17:40" are times at the site; "yes" and "no" are answers. What is
 * not understood stays as it is, so that the record's own check says what was expected.
 */
#include <stdio.h>
#include <string.h>
#include "daemon/base/zone.h"
#include "daemon/serve/write.h"
#include "proto/fields.h"
#include "proto/when.h"

enum {
    DAY_MS = 86400000
};

static bool
two_digits(const char *text, int most, int *out)
{
    if (text[0] < '0' || text[0] > '9' || text[1] < '0' || text[1] > '9')
        return false;
    *out = (text[0] - '0') * 10 + text[1] - '0';
    return *out <= most;
}

/* HH:MM at the end of the text. */
static bool
clock_time(const char *text, int *out_minute)
{
    int hours, minutes;
    if (strlen(text) != 5 || text[2] != ':' || !two_digits(text, 23, &hours) ||
        !two_digits(text + 3, 59, &minutes))
        return false;
    *out_minute = hours * 60 + minutes;
    return true;
}

/* "2026-03-03 17:40", also with T between. */
static bool
day_and_time(const char *text, int32_t *out_day, int *out_minute)
{
    char day[11];
    if (strlen(text) != 16 || (text[10] != ' ' && text[10] != 'T'))
        return false;
    (void)snprintf(day, sizeof day, "%.10s", text);
    return day_parse(day, out_day) && clock_time(text + 11, out_minute);
}

static enum err
site_zone(const struct writing *writing, const char *site, const struct zone **out_zone,
          struct err_text *why)
{
    const char *name = writing_zone(writing, site, (int32_t)(writing->now_ms / DAY_MS));
    return zone_find(name[0] != '\0' ? name : "UTC", out_zone, why);
}

static int32_t
local_day(const struct zone *zone, int64_t at_ms)
{
    int64_t local = at_ms + (int64_t)zone_offset_min(zone, at_ms) * 60000;
    return (int32_t)(local / DAY_MS);
}

/* A clock time alone is the last time the clock showed it. */
static enum err
last_time(const struct writing *writing, const struct zone *zone, int minute, int64_t *out_ms,
          struct err_text *why)
{
    int32_t today = local_day(zone, writing->now_ms);
    enum err e = zone_instant(zone, today, minute, out_ms, NULL, why);
    if (e == ERR_OK && *out_ms > writing->now_ms + AHEAD_MOST_MS)
        e = zone_instant(zone, today - 1, minute, out_ms, NULL, why);
    return e;
}

static enum err
loose_instant(const struct writing *writing, const char *site, const char *name, json_t *value,
              struct err_text *why)
{
    const char *text = json_string_value(value);
    const struct zone *zone = NULL;
    char printed[WHEN_TEXT];
    int32_t day = 0;
    int minute = 0;
    int64_t ms = writing->now_ms;
    bool whole = day_and_time(text, &day, &minute), clock = !whole && clock_time(text, &minute);
    if (!whole && !clock && strcmp(text, "now") != 0)
        return ERR_OK;
    enum err e = site_zone(writing, site, &zone, why);
    if (e == ERR_OK && whole)
        e = zone_instant(zone, day, minute, &ms, NULL, why);
    else if (e == ERR_OK && clock)
        e = last_time(writing, zone, minute, &ms, why);
    if (e != ERR_OK) {
        err_prefix(why, "%s: ", name);
        return e;
    }
    when_print(ms, zone_offset_min(zone, ms), printed);
    return json_string_set(value, printed) == 0 ? ERR_OK : err_set(ERR_MEM, why, "no memory");
}

/* true, false or NULL for "leave it". */
static json_t *
loose_bool(const char *text)
{
    static const char *const yes[] = {"yes", "true", "1", "y"}, *const no[] = {"no", "false", "0",
                                                                               "n"};
    for (size_t i = 0; i < sizeof yes / sizeof yes[0]; i++) {
        if (strcmp(text, yes[i]) == 0)
            return json_true();
        if (strcmp(text, no[i]) == 0)
            return json_false();
    }
    return NULL;
}

/* A list or an object typed as JSON. */
static json_t *
loose_json(const char *text)
{
    return text[0] == '[' || text[0] == '{' ? json_loads(text, JSON_REJECT_DUPLICATES, NULL) : NULL;
}

static enum err
loose_value(const struct writing *writing, json_t *line, const char *site, const char *name,
            const struct field_rule *rule, const ProtobufCFieldDescriptor *field,
            struct err_text *why)
{
    json_t *value = json_object_get(line, name), *better = NULL;
    if (!json_is_string(value))
        return ERR_OK;
    if (rule->type == FIELD_INSTANT)
        return loose_instant(writing, site, name, value, why);
    if (field->type == PROTOBUF_C_TYPE_BOOL)
        better = loose_bool(json_string_value(value));
    else if (field->type == PROTOBUF_C_TYPE_MESSAGE || field->label == PROTOBUF_C_LABEL_REPEATED ||
             rule->type == FIELD_JSON)
        better = loose_json(json_string_value(value));
    if (better != NULL && json_object_set_new(line, name, better) != 0)
        return err_set(ERR_MEM, why, "no memory for this record");
    return ERR_OK;
}

enum err
loose_values(const struct writing *writing, json_t *line, struct err_text *why)
{
    const char *word = json_string_value(json_object_get(line, "kind"));
    const struct kind *kind = word != NULL ? kind_by_word(word) : NULL;
    const char *site = json_string_value(json_object_get(line, "site"));
    if (kind == NULL)
        return ERR_OK; /* the record's own check says so */
    if (site == NULL)
        site = writing->call->serve->options.site;
    json_t *at = json_object_get(line, "at");
    enum err e = json_is_string(at) ? loose_instant(writing, site, "at", at, why) : ERR_OK;
    const struct message_rule *rules = message_rule(kind->descriptor);
    for (unsigned i = 0; i < kind->descriptor->n_fields && e == ERR_OK; i++)
        e = loose_value(writing, line, site, rules->fields[i].json, &rules->fields[i],
                        &kind->descriptor->fields[i], why);
    return e;
}
