/* calendar.c - see calendar.h. */
#include "client/calendar/calendar.h"

#include <libical/ical.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "client/plan/view_events.h"
#include "client/show.h"
#include "proto/when.h"

enum {
    TEXT = 256,
    LONG_TEXT = 8192
};

/* ---- times */

static struct icaltimetype
whole_day(int32_t day)
{
    struct icaltimetype time = icaltime_null_date();
    day_split(day, &time.year, &time.month, &time.day);
    return time;
}

static struct icaltimetype
instant(int64_t ms)
{
    return icaltime_from_timet_with_zone((time_t)(ms / 1000), 0, icaltimezone_get_utc_timezone());
}

static void
add(icalcomponent *to, icalproperty *taken)
{
    icalcomponent_add_property(to, taken);
}

/* The day of the event, or the instant of a run; to the day of bottling when it strains. */
static void
add_times(icalcomponent *to, const json_t *event, int32_t last)
{
    const char *departs = view_text(event, "departs");
    int32_t from = last, until;
    int64_t ms;
    int offset;
    if (departs[0] != '\0' && when_parse(departs, &ms, &offset)) {
        add(to, icalproperty_new_dtstart(instant(ms)));
        return;
    }
    (void)day_parse(view_text(event, "day"), &from);
    add(to, icalproperty_new_dtstart(whole_day(from)));
    if (strcmp(view_text(event, "what"), "strain") != 0)
        return;
    if (!day_parse(view_text(event, "until"), &until))
        until = last + 1;
    if (until > from)
        add(to, icalproperty_new_dtend(whole_day(until)));
}

/* ---- words */

static void
summary(const json_t *event, char out[TEXT])
{
    const char *what = view_text(event, "what"), *recipe = view_text(event, "recipe"),
               *batch = view_text(event, "batch");
    const char *name = batch[0] != '\0' ? batch : recipe;
    size_t tubs = json_array_size(json_object_get(event, "tubs"));
    char amount[32];
    if (strcmp(what, "thaw") == 0)
        (void)snprintf(out, TEXT, "Thaw %zu %s for %.64s", tubs, tubs == 1 ? "tub" : "tubs", name);
    else if (strcmp(what, "mix") == 0)
        (void)snprintf(out, TEXT, "Mix %.64s, %s of grounds", name,
                       show_mass(view_number(event, "grounds_g"), amount));
    else if (strcmp(what, "strain") == 0)
        (void)snprintf(out, TEXT, "Strain %.64s on %.64s", name, view_text(event, "station"));
    else if (strcmp(what, "bottle") == 0)
        (void)snprintf(out, TEXT, "Bottle %.64s, %s", name,
                       show_volume(view_number(event, "ml"), amount));
    else
        (void)snprintf(out, TEXT, "Van %.64s, %zu %s", view_text(event, "route"), tubs,
                       tubs == 1 ? "tub" : "tubs");
}

static void
append(char out[LONG_TEXT], const char *before, const char *text)
{
    char safe[SHOW_TEXT];
    size_t used = strlen(out);
    (void)snprintf(out + used, LONG_TEXT - used, "%s%s", before,
                   show_safe(text, safe, sizeof safe));
}

static void
append_tubs(char out[LONG_TEXT], const json_t *tubs)
{
    for (size_t i = 0; i < json_array_size(tubs); i++)
        append(out, i > 0 ? ", " : "", json_string_value(json_array_get(tubs, i)));
}

/* The tubs, of a run by café, and what is made on spirit. */
static void
describe(const json_t *event, char out[LONG_TEXT])
{
    const json_t *cafes = json_object_get(event, "cafes");
    out[0] = '\0';
    if (json_is_true(json_object_get(event, "alcoholic")))
        append(out, "", "Alcoholic, made on spirit.");
    for (size_t i = 0; i < json_array_size(cafes); i++) {
        append(out, out[0] != '\0' ? "\n" : "", view_text(json_array_get(cafes, i), "site"));
        append(out, "", ": ");
        append_tubs(out, json_object_get(json_array_get(cafes, i), "tubs"));
    }
    const json_t *tubs = json_object_get(event, "tubs");
    if (json_array_size(cafes) == 0 && json_array_size(tubs) > 0) {
        append(out, out[0] != '\0' ? "\n" : "", "");
        append_tubs(out, tubs);
    }
}

/* ---- events */

static icalcomponent *
event_of(const json_t *view, const json_t *event, int64_t made_ms, int32_t last)
{
    char text[TEXT], uid[TEXT * 2], safe[TEXT], more[LONG_TEXT];
    icalcomponent *one = icalcomponent_new(ICAL_VEVENT_COMPONENT);
    (void)snprintf(uid, sizeof uid, "%s@%s.knockbox", view_text(event, "key"),
                   view_text(view, "site"));
    add(one, icalproperty_new_uid(uid));
    add(one, icalproperty_new_dtstamp(instant(made_ms)));
    add(one, icalproperty_new_sequence((int)view_number(view, "number")));
    add_times(one, event, last);
    summary(event, text);
    add(one, icalproperty_new_summary(show_safe(text, safe, sizeof safe)));
    describe(event, more);
    if (more[0] != '\0')
        add(one, icalproperty_new_description(more));
    add(one, icalproperty_new_location(view_text(view, "site")));
    add(one, icalproperty_new_categories(view_text(event, "what")));
    add(one, icalproperty_new_transp(ICAL_TRANSP_TRANSPARENT));
    return one;
}

static void
add_events(icalcomponent *calendar, const json_t *view, const json_t *events, int32_t first,
           int32_t last)
{
    int64_t made_ms = (int64_t)first * 86400000;
    int offset;
    (void)when_parse(view_text(view, "made"), &made_ms, &offset);
    for (size_t i = 0; i < json_array_size(events); i++)
        icalcomponent_add_component(calendar,
                                    event_of(view, json_array_get(events, i), made_ms, last));
}

enum err
calendar_print(const json_t *view, char **out_text, struct err_text *why)
{
    int32_t first, last;
    if (!view_days(view, &first, &last))
        return err_set(ERR_INPUT, why, "this is no plan: it has no days");
    json_t *events = view_events(view);
    icalcomponent *calendar = icalcomponent_new(ICAL_VCALENDAR_COMPONENT);
    char title[TEXT];
    add(calendar, icalproperty_new_version("2.0"));
    add(calendar, icalproperty_new_prodid("-//Knockbox//Knockbox plan//EN"));
    icalproperty *name = icalproperty_new_x(view_title(view, title, sizeof title));
    icalproperty_set_x_name(name, "X-WR-CALNAME");
    add(calendar, name);
    add_events(calendar, view, events, first, last);
    char *text = icalcomponent_as_ical_string_r(calendar);
    icalcomponent_free(calendar);
    json_decref(events);
    if (text == NULL)
        return err_set(ERR_MEM, why, "no memory for the calendar");
    *out_text = text;
    return ERR_OK;
}
