/* A plan as iCalendar: read back by libical, and by RFC 5545's own words (3.1 lines and folding,
 * 3.3.11 text, 3.6.1 events). */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <libical/ical.h>
#include <stdlib.h>
#include <string.h>
#include "client/calendar/calendar.h"
#include "tests/client/plan_view.h"

static char *
calendar_of(json_t *view)
{
    char *text = NULL;
    struct err_text why = {.s = ""};
    cr_assert(calendar_print(view, &text, &why) == ERR_OK, "%s", why.s);
    return text;
}

static char *
usual(void)
{
    json_t *view = plan_view_json();
    char *text = calendar_of(view);
    json_decref(view);
    return text;
}

/* The event of a parsed calendar whose UID begins so; fails when there is none. */
static icalcomponent *
event(icalcomponent *calendar, const char *uid)
{
    icalcomponent *one = icalcomponent_get_first_component(calendar, ICAL_VEVENT_COMPONENT);
    while (one != NULL && strncmp(icalcomponent_get_uid(one), uid, strlen(uid)) != 0)
        one = icalcomponent_get_next_component(calendar, ICAL_VEVENT_COMPONENT);
    cr_assert(one != NULL, "%s", uid);
    return one;
}

static const char *
day_of(struct icaltimetype time)
{
    return icaltime_as_ical_string(time); /* lent from a ring of libical's */
}

Test(calendar, reads_back_whole_days_and_instants)
{
    char *text = usual();
    icalcomponent *calendar = icalparser_parse_string(text);
    cr_assert_not_null(calendar);
    cr_assert(icalrestriction_check(calendar) == 1);
    cr_expect(eq(int, icalcomponent_count_errors(calendar), 0));
    cr_expect(eq(int, icalcomponent_count_components(calendar, ICAL_VEVENT_COMPONENT), 10));
    icalcomponent *thaw = event(calendar, "thaw-2026-03-27-=liqueur,1-1@kitchen.knockbox");
    cr_expect(eq(str, (char *)day_of(icalcomponent_get_dtstart(thaw)), "20260327"));
    icalcomponent *strain = event(calendar, "strain-B-39@");
    cr_expect(eq(str, (char *)day_of(icalcomponent_get_dtstart(strain)), "20260325"));
    cr_expect(eq(str, (char *)day_of(icalcomponent_get_dtend(strain)), "20260328"));
    /* beyond the plan: to the end of its last day */
    strain = event(calendar, "strain-2026-03-28-=liqueur,1-1@");
    cr_expect(eq(str, (char *)day_of(icalcomponent_get_dtend(strain)), "20260401"));
    /* 09:15 the morning after the clocks went forward is 08:15 UTC */
    icalcomponent *van = event(calendar, "van-harbour-2026-03-30@");
    cr_expect(eq(str, (char *)day_of(icalcomponent_get_dtstart(van)), "20260330T081500Z"));
    icalcomponent_free(calendar);
    free(text);
}

Test(calendar, carries_texts_unharmed_and_says_what_is_alcoholic)
{
    char *text = usual();
    icalcomponent *calendar = icalparser_parse_string(text);
    icalcomponent *thaw = event(calendar, "thaw-2026-03-27-=liqueur,1-2@");
    cr_expect(eq(str, (char *)icalcomponent_get_summary(thaw), "Thaw 2 tubs for =liqueur,1"));
    cr_expect(eq(str, (char *)icalcomponent_get_description(thaw),
                 "Alcoholic, made on spirit.\nQ-0303-1, Caf\xc3\xa9-<b>1</b>"));
    icalcomponent *van = event(calendar, "van-");
    cr_expect(eq(str, (char *)icalcomponent_get_description(van),
                 "gullnest: G-9\nquayside: Q-0329-1, Q-0329-2"));
    icalcomponent_free(calendar);
    free(text);
}

Test(calendar, has_no_line_of_more_than_75_octets)
{
    json_t *view = plan_view_json();
    json_t *tubs = json_object_get(
        json_array_get(json_object_get(json_array_get(json_object_get(view, "days"), 0), "thaw"),
                       0),
        "tubs");
    for (int i = 0; i < 200; i++) {
        char name[40];
        snprintf(name, sizeof name, "Caf\xc3\xa9-\xe2\x98\x95\xe2\x98\x95-%d", i);
        json_array_append_new(tubs, json_string(name));
    }
    char *text = calendar_of(view);
    for (char *line = text, *end; (end = strstr(line, "\r\n")) != NULL; line = end + 2) {
        cr_assert(end - line <= 75, "%.*s", (int)(end - line), line);
        cr_assert(memchr(line, '\n', (size_t)(end - line)) == NULL);
        bool is_cut = ((unsigned char)line[1] & 0xC0) == 0x80;
        cr_assert(not(is_cut), "a letter is cut in two");
    }
    icalcomponent *calendar = icalparser_parse_string(text);
    const char *said =
        icalcomponent_get_description(event(calendar, "thaw-2026-03-27-=liqueur,1-1"));
    cr_assert(strstr(said, "Caf\xc3\xa9-\xe2\x98\x95\xe2\x98\x95-199") != NULL, "%s", said);
    icalcomponent_free(calendar);
    json_decref(view);
    free(text);
}

Test(calendar, is_the_same_for_the_same_plan)
{
    char *one = usual(), *two = usual();
    cr_expect(eq(str, one, two));
    free(one);
    free(two);
}

Test(calendar, of_a_newer_plan_keeps_what_stays_and_counts_up)
{
    json_t *view = plan_view_json();
    json_t *days = json_object_get(view, "days");
    (void)json_object_set_new(view, "number", json_integer(13));
    (void)json_array_clear(json_object_get(json_array_get(days, 3), "van")); /* the run is off */
    char *text = calendar_of(view);
    icalcomponent *calendar = icalparser_parse_string(text);
    cr_expect(eq(int, icalcomponent_count_components(calendar, ICAL_VEVENT_COMPONENT), 9));
    icalcomponent *mix = event(calendar, "mix-2026-03-28-=liqueur,1-1@kitchen.knockbox");
    cr_expect(eq(int, icalcomponent_get_sequence(mix), 13));
    icalcomponent_free(calendar);
    json_decref(view);
    free(text);
}

Test(calendar, is_made_of_plans_only)
{
    struct err_text why = {.s = ""};
    char *text = NULL;
    json_t *view = json_object();
    cr_expect(calendar_print(view, &text, &why) == ERR_INPUT);
    json_decref(view);
}
