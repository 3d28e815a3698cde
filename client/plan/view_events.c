/* view_events.c - see view_events.h. */
#include "client/plan/view_events.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "client/plan/view_buy.h"
#include "client/show.h"
#include "proto/when.h"

enum {
    KEY = 200
};

const char *
view_text(const json_t *object, const char *name)
{
    const char *text = json_string_value(json_object_get(object, name));
    return text != NULL ? text : "";
}

int64_t
view_number(const json_t *object, const char *name)
{
    return json_integer_value(json_object_get(object, name));
}

bool
view_days(const json_t *view, int32_t *out_first, int32_t *out_last)
{
    const json_t *days = json_object_get(view, "days");
    size_t n = json_array_size(days);
    return n > 0 && day_parse(view_text(json_array_get(days, 0), "day"), out_first) &&
           day_parse(view_text(json_array_get(days, n - 1), "day"), out_last);
}

/* ---- events */

static json_t *
or_null(const json_t *object, const char *name)
{
    json_t *value = json_object_get(object, name);
    return value != NULL ? json_incref(value) : json_null();
}

static json_t *
event_of(const char *what, const char *day, const json_t *from)
{
    static const char *const names[] = {"recipe", "product", "alcoholic", "batch",     "station",
                                        "run",    "route",   "departs",   "grounds_g", "ml"};
    static const char *const lists[] = {"tubs", "cafes"};
    json_t *event = json_pack("{s:s, s:s, s:n}", "what", what, "day", day, "until");
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++)
        (void)json_object_set_new(event, names[i], or_null(from, names[i]));
    for (size_t i = 0; i < sizeof lists / sizeof lists[0]; i++) {
        json_t *list = json_object_get(from, lists[i]);
        (void)json_object_set_new(event, lists[i],
                                  json_is_array(list) ? json_incref(list) : json_array());
    }
    return event;
}

/* The batch, the run, or the recipe with how many of it came before on that day. */
static void
put_key(const json_t *events, json_t *event)
{
    const char *what = view_text(event, "what"), *day = view_text(event, "day");
    const char *batch = view_text(event, "batch"), *recipe = view_text(event, "recipe");
    char key[KEY];
    size_t n = 1;
    for (size_t i = 0; i < json_array_size(events); i++) {
        const json_t *other = json_array_get(events, i);
        n += strcmp(view_text(other, "what"), what) == 0 &&
             strcmp(view_text(other, "day"), day) == 0 && view_text(other, "batch")[0] == '\0' &&
             strcmp(view_text(other, "recipe"), recipe) == 0;
    }
    if (strcmp(what, "van") == 0)
        (void)snprintf(key, sizeof key, "%s-%s", what, view_text(event, "run"));
    else if (batch[0] != '\0')
        (void)snprintf(key, sizeof key, "%s-%s", what, batch);
    else
        (void)snprintf(key, sizeof key, "%s-%s-%s-%zu", what, day, recipe, n);
    (void)json_object_set_new(event, "key", json_string(key));
}

static void
add(json_t *events, json_t *taken)
{
    put_key(events, taken);
    (void)json_array_append_new(events, taken);
}

static void
add_list(json_t *events, const char *what, const json_t *day, const char *list)
{
    const json_t *all = json_object_get(day, list);
    for (size_t i = 0; i < json_array_size(all); i++)
        add(events, event_of(what, view_text(day, "day"), json_array_get(all, i)));
}

/* What straining begins on the day; what went on before it is told on the plan's first day. */
static void
add_strains(json_t *events, const json_t *view, const char *day, bool first)
{
    const json_t *all = json_object_get(view, "strain");
    for (size_t i = 0; i < json_array_size(all); i++) {
        const json_t *one = json_array_get(all, i);
        int order = strcmp(view_text(one, "from"), day);
        if (order != 0 && !(first && order < 0))
            continue;
        json_t *event = event_of("strain", view_text(one, "from"), one);
        (void)json_object_set_new(event, "until", or_null(one, "ready"));
        add(events, event);
    }
}

/* From the stations, which know batch and station; else as the day has it. */
static void
add_bottles(json_t *events, const json_t *view, const json_t *day)
{
    const json_t *all = json_object_get(view, "strain");
    if (!json_is_array(all)) {
        add_list(events, "bottle", day, "bottle");
        return;
    }
    for (size_t i = 0; i < json_array_size(all); i++)
        if (strcmp(view_text(json_array_get(all, i), "ready"), view_text(day, "day")) == 0)
            add(events, event_of("bottle", view_text(day, "day"), json_array_get(all, i)));
}

json_t *
view_events(const json_t *view)
{
    json_t *events = json_array();
    const json_t *days = json_object_get(view, "days");
    for (size_t i = 0; events != NULL && i < json_array_size(days); i++) {
        const json_t *day = json_array_get(days, i);
        add_list(events, "thaw", day, "thaw");
        add_list(events, "mix", day, "mix");
        add_strains(events, view, view_text(day, "day"), i == 0);
        add_bottles(events, view, day);
        add_list(events, "van", day, "van");
    }
    return events;
}

/* ---- words */

static void
split_date(int32_t day, char weekday[4], int *out_of_month, char month[32])
{
    char words[48];
    int year, month_number;
    day_split(day, &year, &month_number, out_of_month);
    (void)show_long_date(day, words);
    (void)snprintf(weekday, 4, "%.3s", words);
    const char *blank = strrchr(words, ' ');
    (void)snprintf(month, 32, "%s", blank != NULL ? blank + 1 : "");
}

char *
view_short_date(int32_t day, char out[32])
{
    char weekday[4], month[32];
    int of_month;
    split_date(day, weekday, &of_month, month);
    (void)snprintf(out, 32, "%s %d", weekday, of_month);
    return out;
}

char *
view_date(int32_t day, char out[32])
{
    char weekday[4], month[32];
    int of_month;
    split_date(day, weekday, &of_month, month);
    (void)snprintf(out, 32, "%s %d %.20s", weekday, of_month, month);
    return out;
}

char *
view_title(const json_t *view, char *out, size_t size)
{
    char from[32], to[32];
    int32_t first, last;
    long long number = (long long)view_number(view, "number");
    const char *draft = strcmp(view_text(view, "state"), "draft") == 0 ? " (draft)" : "";
    if (!view_days(view, &first, &last)) {
        (void)snprintf(out, size, "Kitchen plan %lld%s", number, draft);
        return out;
    }
    bool one_month = month_of_day(first) == month_of_day(last);
    (void)(one_month ? view_short_date(first, from) : view_date(first, from));
    (void)snprintf(out, size, "Kitchen plan %lld%s, %s to %s", number, draft, from,
                   view_date(last, to));
    return out;
}

/* ---- sentences */

__attribute__((format(printf, 3, 4))) static void
say_line(view_say *say, void *owner, const char *format, ...)
{
    char text[1024];
    va_list args;
    va_start(args, format);
    (void)vsnprintf(text, sizeof text, format, args);
    va_end(args);
    say(owner, text);
}

static bool
holds(const json_t *list, const char *text)
{
    for (size_t i = 0; i < json_array_size(list); i++)
        if (strcmp(json_string_value(json_array_get(list, i)), text) == 0)
            return true;
    return false;
}

/* Adds the recipes of a list of batches that are made on spirit, each once. */
static void
add_alcoholic(json_t *recipes, const json_t *batches)
{
    for (size_t i = 0; i < json_array_size(batches); i++) {
        const json_t *batch = json_array_get(batches, i);
        const char *recipe = view_text(batch, "recipe");
        if (json_is_true(json_object_get(batch, "alcoholic")) && !holds(recipes, recipe))
            (void)json_array_append_new(recipes, json_string(recipe));
    }
}

static void
say_alcoholic(const json_t *view, view_say *say, void *owner)
{
    const json_t *days = json_object_get(view, "days");
    json_t *recipes = json_array();
    char words[800] = "";
    size_t used = 0;
    for (size_t d = 0; d < json_array_size(days); d++) {
        add_alcoholic(recipes, json_object_get(json_array_get(days, d), "mix"));
        add_alcoholic(recipes, json_object_get(json_array_get(days, d), "bottle"));
    }
    for (size_t i = 0; i < json_array_size(recipes) && used < sizeof words; i++) {
        int n = snprintf(words + used, sizeof words - used, "%s%s", i > 0 ? ", " : "",
                         json_string_value(json_array_get(recipes, i)));
        used += n > 0 ? (size_t)n : 0;
    }
    if (json_array_size(recipes) > 0)
        say_line(say, owner, "Alcoholic, made on spirit: %s.", words);
    json_decref(recipes);
}

static void
say_lost(const json_t *view, view_say *say, void *owner)
{
    const json_t *lost = json_object_get(view, "lost");
    char mass[32];
    int64_t g = 0;
    for (size_t i = 0; i < json_array_size(lost); i++)
        g += view_number(json_array_get(lost, i), "mass_g");
    if (g == 0)
        say_line(say, owner, "Will be lost: nothing.");
    else
        say_line(say, owner, "Will be lost: %zu %s past their date, %s.", json_array_size(lost),
                 json_array_size(lost) == 1 ? "tub" : "tubs", show_mass(g, mass));
}

/* What to do next. */
static void
say_state(const json_t *view, view_say *say, void *owner)
{
    long long newer = (long long)view_number(view, "newer_draft");
    const json_t *news = json_object_get(view, "news");
    for (size_t i = 0; i < json_array_size(news); i++)
        say_line(say, owner, "It no longer fits: %.300s.",
                 json_string_value(json_array_get(news, i)));
    if (json_array_size(news) > 0 && newer == 0)
        say_line(say, owner, "Make a new one: knockbox plan make");
    if (strcmp(view_text(view, "state"), "draft") == 0)
        say_line(say, owner, "A draft: nobody works by it until knockbox plan publish.");
    else if (newer > 0)
        say_line(say, owner, "Draft %lld is newer: knockbox plan diff", newer);
}

void
view_sentences(const json_t *view, view_say *say, void *owner)
{
    const char *gap = view_text(view, "gap_pct");
    say_alcoholic(view, say, owner);
    view_say_buy(view, say, owner);
    view_say_yields(view, say, owner);
    say_lost(view, say, owner);
    if (gap[0] != '\0')
        say_line(say, owner, "At most %.1f %% from the best possible.", strtod(gap, NULL));
    say_state(view, say, owner);
}
