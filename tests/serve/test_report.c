/* `report` as it is asked: a month or a span, one site, a basis, the records behind a figure. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <string.h>
#include "tests/serve/room.h"

static const char days[] =
    "{'kind':'tub','tub':'Q-0302-9','coffee':'house-dark','origin':'espresso','gross_g':3620,"
    "'tare_g':180,'method':'weighed','first_knock':'2026-03-02T18:10:00+00:00',"
    "'frozen':'2026-03-02T21:40:00+00:00','place':'quayside-f1','at':'2026-03-02T21:40:00+00:00',"
    "'by':'RK','site':'quayside'}\n"
    "{'kind':'close','day':'2026-03-02','uncaptured_g':1900,'uncaptured_method':'estimated',"
    "'stream':'general','at':'2026-03-02T22:00:00+00:00','by':'RK','site':'quayside'}";

static struct room *
hub_with_a_day(void)
{
    struct room *room = room_new("kitchen", true);
    cr_assert(room_ask(room, "write", "mode=import", saltmere_catalogue) == ERR_OK, "%s",
              room_why(room));
    cr_assert(room_ask(room, "write", "mode=import", days) == ERR_OK, "%s", room_why(room));
    return room;
}

static const char *
word_at(struct room *room, const char *object, const char *key)
{
    const json_t *at = room_answer(room);
    if (object != NULL)
        at = json_object_get(at, object);
    const char *text = json_string_value(json_object_get(at, key));
    return text != NULL ? text : "-";
}

Test(report, a_month_a_span_and_one_site_of_it)
{
    struct room *room = hub_with_a_day();
    cr_assert(room_ask(room, "report", "month=2026-03 form=json", NULL) == ERR_OK);
    cr_expect(eq(str, (char *)word_at(room, "grounds", "generated_kg"), "5.340"));
    cr_expect(eq(str, (char *)word_at(room, NULL, "site"), "-"));
    cr_assert(room_ask(room, "report", "from=2026-03-02 to=2026-03-02 site=quayside", NULL) ==
              ERR_OK);
    cr_expect(eq(str, (char *)word_at(room, "grounds", "generated_kg"), "5.340"));
    cr_expect(eq(str, (char *)word_at(room, NULL, "site"), "quayside"));
    cr_assert(room_ask(room, "report", "from=2026-03-03 to=2026-03-09", NULL) == ERR_OK);
    cr_expect(eq(str, (char *)word_at(room, "grounds", "generated_kg"), "0.000"));
    cr_expect(eq(str, (char *)word_at(room, "stock", "opening_kg"), "3.440"));
    room_free(room);
}

Test(report, the_records_behind_a_figure_come_in_three_forms)
{
    struct room *room = hub_with_a_day();
    cr_assert(room_ask(room, "report", "month=2026-03 why=grounds.generated_kg", NULL) == ERR_OK);
    const json_t *why = json_object_get(room_answer(room), "why");
    cr_expect(eq(sz, json_array_size(json_object_get(why, "records")), 2));
    cr_expect(eq(str, (char *)word_at(room, "why", "sum"), "5.340"));
    cr_assert(room_ask(room, "report", "month=2026-03 form=text why=grounds.generated_kg", NULL) ==
              ERR_OK);
    cr_expect(ne(ptr, strstr(room_text(room), "the report says 5.340 kg: equal."), NULL));
    cr_assert(room_ask(room, "report", "month=2026-03 form=csv why=grounds.generated_kg", NULL) ==
              ERR_OK);
    cr_expect(ne(ptr, strstr(room_text(room), "sum,,,,,,5.340,,"), NULL));
    room_free(room);
}

Test(report, a_page_of_one_site_and_of_a_span_has_its_pictures)
{
    struct room *room = hub_with_a_day();
    cr_expect(room_ask(room, "report", "month=2026-03 site=quayside form=html", NULL) == ERR_OK);
    cr_expect(ne(ptr, strstr(room_text(room), "</svg>"), NULL));
    cr_expect(room_ask(room, "report", "from=2026-03-01 to=2026-03-09 form=html", NULL) == ERR_OK);
    cr_expect(ne(ptr, strstr(room_text(room), "</svg>"), NULL));
    cr_expect(room_ask(room, "report", "from=2026-03-01 to=2026-03-09 frame=GRI", NULL) == ERR_OK);
    room_free(room);
}

Test(report, what_does_not_go_together_is_refused_in_a_sentence)
{
    static const struct {
        const char *args;
        enum err e;
        const char *says;
    } rows[] = {
        {"", ERR_INPUT, "month"},
        {"month=2026-13", ERR_INPUT, "month"},
        {"month=2026-03 from=2026-03-01 to=2026-03-02", ERR_USAGE, "not both"},
        {"from=2026-03-01", ERR_INPUT, "last day"},
        {"to=2026-03-01", ERR_INPUT, "first day"},
        {"from=2026-02-30 to=2026-03-01", ERR_INPUT, "first day"},
        {"from=2026-03-02 to=2026-03-01", ERR_INPUT, "3660"},
        {"month=2026-03 site=nowhere", ERR_INPUT, "catalogue"},
        {"month=2026-03 basis=both", ERR_INPUT, "by-product or waste"},
        {"month=2026-03 why=a.b", ERR_INPUT, "a key of the report"},
        {"month=2026-03 why=grounds.captured_kg form=html", ERR_USAGE, "text, json or csv"},
        {"month=2026-03 why=grounds.captured_kg frame=GRI", ERR_USAGE, "--frame"},
        {"month=2026-03 site=quayside send=office", ERR_USAGE, "whole month"},
        {"from=2026-03-01 to=2026-03-02 send=office", ERR_USAGE, "whole month"},
    };
    struct room *room = hub_with_a_day();
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        cr_expect(eq(int, room_ask(room, "report", rows[i].args, NULL), rows[i].e), "%s: %s",
                  rows[i].args, room_why(room));
        cr_expect(ne(ptr, strstr(room_why(room), rows[i].says), NULL), "%s: %s", rows[i].args,
                  room_why(room));
    }
    room_free(room);
}

Test(report, period_show_tells_of_the_base_year_that_is_set)
{
    struct room *room = hub_with_a_day();
    cr_assert(room_ask(room, "period", "do=show", NULL) == ERR_OK);
    cr_expect(ne(ptr, strstr(room_text(room), "\"base_year\":null"), NULL), "%s", room_text(room));
    cr_assert(room_ask(room, "write", "mode=import",
                       "{'kind':'basis','basis':'by-product','stage':'food-service','from':"
                       "'2026-01-01','reason':'x','decided_by':'OF','by':'OF','at':"
                       "'2026-03-03T10:00:00+00:00','base_year':{'first':'2025-01','last':"
                       "'2025-12','threshold_pct':'5'}}") == ERR_OK,
              "%s", room_why(room));
    cr_assert(room_ask(room, "period", "do=show", NULL) == ERR_OK);
    const json_t *base = json_object_get(room_answer(room), "base_year");
    cr_expect(eq(str, (char *)json_string_value(json_object_get(base, "first")), "2025-01"));
    cr_expect(eq(i64, json_integer_value(json_object_get(base, "missing")), 12));
    cr_expect(eq(sz, json_array_size(json_object_get(base, "figures")), 4));
    cr_expect(room_ask(room, "write", "mode=import",
                       "{'kind':'basis','basis':'by-product','stage':'food-service','from':"
                       "'2026-02-01','reason':'x','decided_by':'OF','by':'OF','at':"
                       "'2026-03-03T11:00:00+00:00','base_year':{'first':'2025-01','last':"
                       "'2026-01','threshold_pct':'5'}}") == ERR_INPUT);
    room_free(room);
}
