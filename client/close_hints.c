/* close_hints.c - the daemon's hints, read once into plain members. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "client/close_sheet.h"
#include "proto/when.h"

static const char *
text_of(const json_t *object, const char *name)
{
    const char *text = json_string_value(json_object_get(object, name));
    return text != NULL ? text : "";
}

static void
copy(char *out, size_t size, const char *text)
{
    (void)snprintf(out, size, "%s", text);
}

/* Codes and names of a list; `key` and `value` pick some of them, NULL: all. */
static void
read_choices(const json_t *list, const char *key, const char *value, struct close_choices *out)
{
    out->n = 0;
    for (size_t i = 0; i < json_array_size(list) && out->n < CHOICES_MOST; i++) {
        const json_t *one = json_array_get(list, i);
        if (key != NULL && strcmp(text_of(one, key), value) != 0)
            continue;
        struct close_choice *choice = &out->list[out->n++];
        copy(choice->code, sizeof choice->code, text_of(one, "code"));
        copy(choice->name, sizeof choice->name, text_of(one, "name"));
        choice->is_read = json_integer_value(json_object_get(one, "readings_per_day")) > 0;
        copy(choice->max_c, sizeof choice->max_c, text_of(one, "max_c"));
        copy(choice->min_c, sizeof choice->min_c, text_of(one, "min_c"));
    }
}

/* The first stream of a material, "" when there is none. */
static const char *
stream_of(const json_t *streams, const char *material)
{
    for (size_t i = 0; i < json_array_size(streams); i++)
        if (strcmp(text_of(json_array_get(streams, i), "material"), material) == 0)
            return text_of(json_array_get(streams, i), "code");
    return text_of(json_array_get(streams, 0), "code");
}

static void
read_days(const json_t *days, struct close_hints *hints)
{
    for (size_t i = 0; i < json_array_size(days) && hints->n_open_days < HINT_DAYS; i++) {
        const char *text = json_string_value(json_array_get(days, i));
        if (text != NULL && day_parse(text, &hints->open_days[hints->n_open_days]))
            hints->n_open_days++;
    }
}

static int
minute_of(const char *hhmm)
{
    return strlen(hhmm) == 5 ? (int)(strtol(hhmm, NULL, 10) * 60 + strtol(hhmm + 3, NULL, 10)) : 0;
}

static void
read_warm(const json_t *warm, struct close_hints *hints)
{
    copy(hints->warm_value, sizeof hints->warm_value, text_of(warm, "value"));
    copy(hints->warm_comparator, sizeof hints->warm_comparator, text_of(warm, "comparator"));
    copy(hints->warm_source, sizeof hints->warm_source, text_of(warm, "source"));
    hints->warm_limit_min = strtoll(hints->warm_value, NULL, 10);
    if (strcmp(text_of(warm, "unit"), "h") == 0)
        hints->warm_limit_min *= 60;
}

static void
read_last(const json_t *answer, struct close_hints *hints)
{
    const json_t *tare = json_object_get(answer, "tare_g"),
                 *streams = json_object_get(answer, "streams");
    const char *stream = text_of(answer, "close_stream");
    copy(hints->label, sizeof hints->label, text_of(answer, "label"));
    copy(hints->coffee, sizeof hints->coffee, text_of(answer, "coffee"));
    copy(hints->place, sizeof hints->place, text_of(answer, "place"));
    copy(hints->by, sizeof hints->by, text_of(answer, "by"));
    hints->tare_g = json_is_integer(tare) ? json_integer_value(tare) : -1;
    copy(hints->bin_method, sizeof hints->bin_method, text_of(answer, "close_method"));
    copy(hints->bin_stream, sizeof hints->bin_stream,
         stream[0] != '\0' ? stream : stream_of(streams, "mixed"));
    copy(hints->waste_stream, sizeof hints->waste_stream, stream_of(streams, "food"));
}

enum err
close_hints_read(const json_t *answer, struct close_hints *out_hints, struct err_text *why)
{
    struct close_hints *hints = out_hints;
    const char *zone = text_of(answer, "zone");
    *hints = (struct close_hints){.tare_g = -1};
    if (!when_parse(text_of(answer, "now"), &hints->now_ms, NULL) ||
        !day_parse(text_of(answer, "today"), &hints->today))
        return err_set(ERR_PEER, why, "the daemon does not say what day it is");
    enum err e = zone_find(zone[0] != '\0' ? zone : "UTC", &hints->zone, why);
    if (e != ERR_OK)
        return e;
    copy(hints->site, sizeof hints->site, text_of(answer, "site"));
    copy(hints->name, sizeof hints->name,
         text_of(answer, "name")[0] != '\0' ? text_of(answer, "name") : hints->site);
    hints->start_min = minute_of(text_of(answer, "day_start"));
    hints->closed_today = json_is_true(json_object_get(answer, "closed_today"));
    hints->tubs_today = json_is_true(json_object_get(answer, "tubs_today"));
    read_days(json_object_get(answer, "open_days"), hints);
    read_choices(json_object_get(answer, "coffees"), NULL, NULL, &hints->coffees);
    read_choices(json_object_get(answer, "places"), "class", "freezer", &hints->freezers);
    read_choices(json_object_get(answer, "streams"), NULL, NULL, &hints->streams);
    read_warm(json_object_get(answer, "warm"), hints);
    read_last(answer, hints);
    return ERR_OK;
}
