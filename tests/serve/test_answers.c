/* Answers in process: export and the round trip (F6), freezer, status, hints, words and roles. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "tests/serve/room.h"

static const char day_one[] =
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
    cr_assert(room_ask(room, "write", "mode=import", day_one) == ERR_OK, "%s", room_why(room));
    return room;
}

Test(answers, export_goes_by_site_epoch_and_number_and_filters)
{
    struct room *room = hub_with_a_day();
    cr_assert(room_ask(room, "export", "site=quayside", NULL) == ERR_OK);
    const char *tub = strstr(room_text(room), "\"kind\":\"tub\""),
               *close = strstr(room_text(room), "\"kind\":\"close\"");
    cr_assert(tub != NULL && close != NULL && tub < close);
    cr_assert(room_ask(room, "export", "kind=tub from=2026-03-03", NULL) == ERR_OK);
    cr_assert(eq(str, (char *)room_text(room), ""));
    cr_assert(room_ask(room, "export", "kind=tub from=2026-03-02 to=2026-03-02", NULL) == ERR_OK);
    cr_assert(ne(str, (char *)room_text(room), ""));
    cr_assert(room_ask(room, "export", "kind=tubb", NULL) == ERR_INPUT);
    cr_assert(room_ask(room, "export", "from=2026-02-30", NULL) == ERR_INPUT);
    room_free(room);
}

Test(answers, F6_what_was_exported_goes_into_an_empty_hub_and_gives_the_same_books)
{
    struct room *room = hub_with_a_day(), *other = room_new("kitchen", true);
    uint8_t a[32], b[32];
    struct err_text why;
    cr_assert(room_ask(room, "export", "", NULL) == ERR_OK);
    char *lines = strdup(room_text(room));
    cr_assert(room_ask(other, "write", "mode=import", lines) == ERR_OK, "%s", room_why(other));
    free(lines);
    cr_assert(ledger_catch_up(room_ledger(other), &why) == ERR_OK);
    cr_assert(ledger_digest(room_ledger(room), a, &why) == ERR_OK);
    cr_assert(ledger_digest(room_ledger(other), b, &why) == ERR_OK);
    cr_assert(memcmp(a, b, sizeof a) == 0);
    room_free(room);
    room_free(other);
}

Test(answers, the_freezer_lists_what_is_there)
{
    struct room *room = hub_with_a_day();
    cr_assert(room_ask(room, "freezer", "", NULL) == ERR_OK, "%s", room_why(room));
    const json_t *tub = json_array_get(json_object_get(room_answer(room), "tubs"), 0);
    cr_assert(eq(i64, json_integer_value(json_object_get(tub, "net_g")), 3440));
    cr_assert(eq(i64, json_integer_value(json_object_get(tub, "warm_min")), 210));
    cr_assert(eq(i64, json_integer_value(json_object_get(tub, "age_d")), 1));
    cr_assert(eq(str, (char *)json_string_value(json_object_get(tub, "state")), "frozen"));
    cr_assert(room_ask(room, "freezer", "site=kitchen", NULL) == ERR_OK);
    cr_assert(eq(sz, json_array_size(json_object_get(room_answer(room), "tubs")), 0));
    room_free(room);
}

Test(answers, status_counts_days_without_a_close)
{
    struct room *room = hub_with_a_day();
    cr_assert(room_ask(room, "status", "", NULL) == ERR_OK, "%s", room_why(room));
    const json_t *sites = json_object_get(room_answer(room), "sites"), *quayside = NULL;
    for (size_t i = 0; i < json_array_size(sites); i++)
        if (strcmp(json_string_value(json_object_get(json_array_get(sites, i), "site")),
                   "quayside") == 0)
            quayside = json_array_get(sites, i);
    cr_assert_not_null(quayside);
    cr_assert(eq(i64, json_integer_value(json_object_get(quayside, "seq_held")), 2));
    /* joined on 25 February: 25 to 28 and 1 March; 2 March is closed, today is not over */
    cr_assert(eq(i64, json_integer_value(json_object_get(quayside, "missing_days")), 5));
    room_free(room);
}

Test(answers, hints_offer_what_was_done_last)
{
    struct room *room = hub_with_a_day();
    cr_assert(room_ask(room, "hints", "site=quayside", NULL) == ERR_OK, "%s", room_why(room));
    const json_t *hints = room_answer(room);
    static const struct {
        const char *name, *is;
    } texts[] = {
        {"coffee", "house-dark"},    {"place", "quayside-f1"},      {"label", "Q-0303-1"},
        {"close_stream", "general"}, {"close_method", "estimated"}, {"by", "RK"},
        {"today", "2026-03-03"},     {"zone", "Europe/London"},     {"name", "Quayside"},
    };
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++)
        cr_assert(eq(str, (char *)json_string_value(json_object_get(hints, texts[i].name)),
                     (char *)texts[i].is),
                  "%s", texts[i].name);
    cr_assert(eq(i64, json_integer_value(json_object_get(hints, "tare_g")), 180));
    cr_assert(eq(sz, json_array_size(json_object_get(hints, "open_days")), 6));
    cr_assert(eq(sz, json_array_size(json_object_get(hints, "places")), 1));
    room_free(room);
}

Test(answers, verify_counts_records_and_chains)
{
    struct room *room = hub_with_a_day();
    cr_assert(room_ask(room, "verify", "", NULL) == ERR_OK, "%s", room_why(room));
    cr_assert(eq(i64, room_number(room, "records"), 10));
    cr_assert(eq(i64, room_number(room, "chains"), 2));
    room_free(room);
}

Test(answers, words_have_roles_and_arguments)
{
    struct room *room = room_new("quayside", false);
    cr_assert(room_ask(room, "frobnicate", "", NULL) == ERR_USAGE);
    cr_assert(room_ask(room, "status", "colour=red", NULL) == ERR_USAGE);
    cr_assert(room_ask(room, "status", "", "{}") == ERR_USAGE);
    room_roles(room, ROLE_BIT_BARISTA);
    cr_assert(room_ask(room, "export", "", NULL) == ERR_DENIED);
    cr_assert(room_ask(room, "who", "", NULL) == ERR_OK);
    room_free(room);
}

Test(answers, a_cafe_says_that_the_hub_has_another_store)
{
    struct room *room = room_new("quayside", false);
    cr_assert(room_ask(room, "status", "", NULL) == ERR_OK, "%s", room_why(room));
    cr_expect_null(strstr(room_text(room), "another store"));
    room_other_hub(room);
    cr_assert(room_ask(room, "status", "", NULL) == ERR_OK, "%s", room_why(room));
    cr_expect_not_null(strstr(room_text(room), "the hub has another store than before"), "%s",
                       room_text(room));
    room_free(room);
}
