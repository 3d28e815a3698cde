/* `write` in process, with a real store and ledger. Rules: report rules F1 to F5, T2, R3, and the
 * contract's part on records; names and numbers are invented. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdio.h>
#include <string.h>
#include "daemon/record/kind.h"
#include "tests/serve/room.h"

#define TUB(label)                                                                                 \
    "{'kind':'tub','tub':'" label "','coffee':'house-dark','origin':'espresso','gross_g':3620,"    \
    "'tare_g':180,'method':'weighed','first_knock':'2026-03-03T18:10:00+00:00',"                   \
    "'frozen':'2026-03-03T21:40:00+00:00','place':'quayside-f1','at':'2026-03-03T21:40:00+00:00'," \
    "'by':'RK','site':'quayside'}"

static struct room *
hub_with_catalogue(void)
{
    struct room *room = room_new("kitchen", true);
    cr_assert(room_ask(room, "write", "mode=import", saltmere_catalogue) == ERR_OK, "%s",
              room_why(room));
    return room;
}

Test(write, a_record_gets_its_number_and_hash)
{
    struct room *room = room_new("quayside", false);
    cr_assert(room_ask(room, "write", "mode=log", "{'kind':'note','text':'new roll'}") == ERR_OK,
              "%s", room_why(room));
    const json_t *record = json_array_get(json_object_get(room_answer(room), "records"), 0);
    cr_assert(eq(str, (char *)json_string_value(json_object_get(record, "site")), "quayside"));
    cr_assert(eq(i64, json_integer_value(json_object_get(record, "seq")), 1));
    cr_assert(eq(sz, strlen(json_string_value(json_object_get(record, "hash"))), 64));
    cr_assert(eq(sz, strlen(json_string_value(json_object_get(record, "id"))), 36));
    cr_assert(eq(sz, room_wrote(room), 1));
    room_free(room);
}

Test(write, a_brief_answer_has_the_numbers_and_no_list)
{
    struct room *room = room_new("quayside", false);
    cr_assert(room_ask(room, "write", "mode=log brief=1", "{'kind':'note','text':'new roll'}") ==
                  ERR_OK,
              "%s", room_why(room));
    const json_t *range = json_array_get(json_object_get(room_answer(room), "numbers"), 0);
    cr_assert(eq(i64, json_integer_value(json_object_get(range, "last")), 1));
    cr_assert(eq(sz, json_array_size(json_object_get(room_answer(room), "records")), 0));
    room_free(room);
}

Test(write, the_daemon_says_when_where_and_through_whom)
{
    struct room *room = room_new("quayside", false);
    cr_assert(room_ask(room, "write", "mode=log", "{'kind':'note','text':'x'}") == ERR_OK);
    cr_assert(room_ask(room, "export", "", NULL) == ERR_OK, "%s", room_why(room));
    const json_t *line = room_answer(room);
    cr_assert(eq(str, (char *)json_string_value(json_object_get(line, "at")),
                 "2026-03-03T21:52:00+00:00"));
    cr_assert(eq(str, (char *)json_string_value(json_object_get(line, "by")), "mara"));
    cr_assert(eq(str, (char *)json_string_value(json_object_get(line, "via")), "uid 1000 (mara)"));
    cr_assert(eq(str, (char *)json_string_value(json_object_get(line, "clock")), "synchronised"));
    room_free(room);
}

Test(write, all_or_nothing_and_every_bad_line_is_told)
{
    struct room *room = hub_with_catalogue();
    cr_assert(room_ask(room, "write", "mode=import",
                       TUB("Q-1") "\n{'kind':'tub','tub':'Q-2'}\n{'kind':'tubb'}\nno json\n" TUB(
                           "Q-3")) == ERR_INPUT);
    cr_assert(strncmp(room_why(room), "line 2: ", 8) == 0, "%s", room_why(room));
    cr_assert(eq(sz, json_array_size(json_object_get(room_answer(room), "refused")), 3));
    cr_assert(eq(i64, room_number(room, "written"), 0));
    cr_assert(room_ask(room, "export", "site=quayside", NULL) == ERR_OK);
    cr_assert(eq(str, (char *)room_text(room), ""));
    room_free(room);
}

Test(write, keep_good_writes_the_good_lines)
{
    struct room *room = hub_with_catalogue();
    cr_assert(room_ask(room, "write", "mode=import keep_good=1",
                       TUB("Q-1") "\n\n{'kind':'tub','tub':'Q-2'}\n" TUB("Q-3")) == ERR_OK,
              "%s", room_why(room));
    cr_assert(eq(i64, room_number(room, "written"), 2));
    const json_t *bad = json_array_get(json_object_get(room_answer(room), "refused"), 0);
    cr_assert(eq(i64, json_integer_value(json_object_get(bad, "line")), 3));
    room_free(room);
}

Test(write, lines_in_several_requests_are_one_transaction)
{
    struct room *room = hub_with_catalogue();
    cr_assert(room_ask_in_pieces(room, "write", "mode=import",
                                 TUB("Q-1") "\n" TUB("Q-2") "\n{'kind':'tub'}\n" TUB("Q-3"),
                                 1) == ERR_INPUT);
    cr_assert(eq(i64, room_number(room, "written"), 0));
    cr_assert(room_ask_in_pieces(room, "write", "mode=import",
                                 TUB("Q-1") "\n" TUB("Q-2") "\n" TUB("Q-3"), 1) == ERR_OK);
    cr_assert(eq(i64, room_number(room, "written"), 3));
    room_free(room);
}

Test(write, F1_names_of_the_envelope_are_no_fields_of_a_body)
{
    static const char *const names[] = {"site",  "epoch",  "seq",  "id",   "kind",
                                        "at",    "logged", "held", "boot", "mono_ms",
                                        "clock", "by",     "via",  "hash"};
    unsigned kinds = 0;
    for (unsigned i = 0; i < knockbox__record__descriptor.n_fields; i++) {
        const struct kind *kind = kind_by_number(knockbox__record__descriptor.fields[i].id);
        if (kind == NULL)
            continue; /* of the envelope */
        const ProtobufCMessageDescriptor *body = knockbox__record__descriptor.fields[i].descriptor;
        kinds++;
        for (size_t n = 0; n < sizeof names / sizeof names[0]; n++)
            cr_expect(protobuf_c_message_descriptor_get_field_by_name(body, names[n]) == NULL,
                      "%s.%s", body->short_name, names[n]);
    }
    cr_assert(ge(u32, kinds, 40));
}

Test(write, F2_a_line_without_a_site_goes_into_the_hubs_own_log)
{
    struct room *room = hub_with_catalogue();
    cr_assert(room_ask(room, "write", "mode=import",
                       "{'kind':'coffee','code':'single-light','name':'Single'}") == ERR_OK);
    const json_t *record = json_array_get(json_object_get(room_answer(room), "records"), 0);
    cr_assert(eq(str, (char *)json_string_value(json_object_get(record, "site")), "kitchen"));
    room_free(room);
}

Test(write, F3_site_lines_count_wherever_they_stand_in_the_file)
{
    struct room *room = room_new("kitchen", true);
    cr_assert(room_ask(room, "write", "mode=import",
                       TUB("Q-1") "\n{'kind':'site','code':'quayside','role':'cafe',"
                                  "'zone':'Europe/London','currency':'GBP'}") == ERR_OK,
              "%s", room_why(room));
    cr_assert(room_ask(room, "write", "mode=import",
                       "{'kind':'note','text':'x','site':'nowhere'}") == ERR_INPUT);
    cr_assert(eq(str, (char *)room_field(room), "site"));
    room_free(room);
}

Test(write, T2_the_offset_is_that_of_the_site_s_zone_at_that_instant)
{
    struct room *room = room_new("kitchen", true);
    cr_assert(
        room_ask(room, "write", "mode=import",
                 "{'kind':'site','code':'kitchen','role':'kitchen','zone':'Europe/Dublin',"
                 "'currency':'EUR'}\n{'kind':'note','text':'x','at':'2025-07-01T10:00:00Z'}") ==
        ERR_OK);
    cr_assert(room_ask(room, "export", "kind=note", NULL) == ERR_OK);
    cr_assert(eq(str, (char *)json_string_value(json_object_get(room_answer(room), "at")),
                 "2025-07-01T11:00:00+01:00"));
    room_free(room);
}

#define ID "'id':'019c87cb-b400-735a-8b0c-314d939736f8',"

Test(write, F5_the_same_id_with_the_same_content_is_there_already)
{
    struct room *room = hub_with_catalogue();
    const char *line = "{" ID "'kind':'note','text':'x','at':'2026-03-01T10:00:00Z'}";
    cr_assert(room_ask(room, "write", "mode=import", line) == ERR_OK);
    cr_assert(room_ask(room, "write", "mode=import", line) == ERR_OK, "%s", room_why(room));
    cr_assert(eq(i64, room_number(room, "written"), 0));
    cr_assert(eq(i64, room_number(room, "already"), 1));
    cr_assert(room_ask(room, "write", "mode=import",
                       "{" ID
                       "'kind':'note','text':'y','at':'2026-03-01T10:00:00Z'}") == ERR_INPUT);
    cr_assert(eq(str, (char *)room_field(room), "id"));
    room_free(room);
}

Test(write, the_same_id_twice_in_one_file_is_one_record)
{
    struct room *room = hub_with_catalogue();
    cr_assert(room_ask(room, "write", "mode=import",
                       "{" ID "'kind':'note','text':'x','at':'2026-03-01T10:00:00Z'}\n"
                       "{" ID "'kind':'note','text':'x','at':'2026-03-01T10:00:00Z'}") == ERR_OK);
    cr_assert(eq(i64, room_number(room, "written"), 1));
    cr_assert(eq(i64, room_number(room, "already"), 1));
    room_free(room);
}

Test(write, nothing_goes_into_the_log_of_an_enrolled_box)
{
    struct room *room = hub_with_catalogue();
    room_enrol(room, "quayside");
    cr_assert(room_ask(room, "write", "mode=import", TUB("Q-1")) == ERR_INPUT);
    cr_assert(strstr(room_why(room), "without a box of its own") != NULL, "%s", room_why(room));
    room_free(room);
}

Test(write, a_cafe_writes_its_own_log_only)
{
    struct room *room = room_new("quayside", false);
    cr_assert(room_ask(room, "write", "mode=import",
                       "{'kind':'note','text':'x','site':'foundry'}") == ERR_INPUT);
    cr_assert(eq(str, (char *)room_field(room), "site"));
    cr_assert(room_ask(room, "write", "mode=import", "{'kind':'coffee','code':'house-dark'}") ==
              ERR_INPUT);
    cr_assert(strstr(room_why(room), "write it at the hub") != NULL, "%s", room_why(room));
    room_free(room);
}

Test(write, roles_decide_who_writes_what)
{
    struct room *room = room_new("quayside", false);
    room_roles(room, ROLE_BIT_READER);
    cr_assert(room_ask(room, "write", "mode=log", "{'kind':'note','text':'x'}") == ERR_DENIED);
    room_roles(room, ROLE_BIT_DRIVER);
    cr_assert(room_ask(room, "write", "mode=log", "{'kind':'close','day':'2026-03-03'}") ==
              ERR_DENIED);
    room_free(room);
}

static const struct {
    const char *name, *line, *field;
} asked_again[] = {
    {"in the future", "{'kind':'note','text':'x','at':'2026-03-03T21:58:00Z'}", "at"},
    {"a day that does not exist", "{'kind':'close','day':'2026-02-30'}", "day"},
    {"a number with a unit",
     "{'kind':'close','day':'2026-03-03','uncaptured_g':'1.9 kg',"
     "'uncaptured_method':'weighed'}",
     "uncaptured_g"},
    {"a number with a comma",
     "{'kind':'close','day':'2026-03-03','uncaptured_g':'1,900',"
     "'uncaptured_method':'weighed'}",
     "uncaptured_g"},
    {"absurd mass", "{'kind':'close','day':'2026-03-03','uncaptured_g':-5}", "uncaptured_g"},
    {"frozen before knocked out",
     "{'kind':'tub','tub':'Q-9','coffee':'house-dark','origin':'espresso','gross_g':3620,"
     "'tare_g':180,'method':'weighed','first_knock':'18:10','frozen':'17:10',"
     "'place':'quayside-f1'}",
     "frozen"},
    {"an unknown coffee",
     "{'kind':'tub','tub':'Q-9','coffee':'hose-dark','origin':'espresso','gross_g':3620,"
     "'tare_g':180,'method':'weighed','first_knock':'18:10','frozen':'now',"
     "'place':'quayside-f1'}",
     "coffee"},
};

Test(write, what_a_person_logs_is_asked_again)
{
    struct room *room = hub_with_catalogue();
    for (size_t i = 0; i < sizeof asked_again / sizeof asked_again[0]; i++) {
        cr_assert(room_ask(room, "write", "mode=log loose=1", asked_again[i].line) == ERR_INPUT,
                  "%s", asked_again[i].name);
        cr_assert(eq(str, (char *)room_field(room), (char *)asked_again[i].field), "%s: %s",
                  asked_again[i].name, room_why(room));
    }
    cr_assert(strstr(room_why(room), "did you mean house-dark?") != NULL, "%s", room_why(room));
    room_free(room);
}

Test(write, force_writes_what_a_check_refuses)
{
    struct room *room = hub_with_catalogue();
    cr_assert(room_ask(room, "write", "mode=log loose=1 force=1", asked_again[6].line) == ERR_OK,
              "%s", room_why(room));
    room_free(room);
}

Test(write, a_label_is_one_lot_for_ever)
{
    struct room *room = hub_with_catalogue();
    cr_assert(room_ask(room, "write", "mode=log", TUB("Q-1")) == ERR_OK, "%s", room_why(room));
    cr_assert(room_ask(room, "write", "mode=log", TUB("Q-1")) == ERR_INPUT);
    cr_assert(strstr(room_why(room), "filled at quayside, 2026-03-03") != NULL, "%s",
              room_why(room));
    cr_assert(room_ask(room, "write", "mode=check", TUB("Q-1")) == ERR_INPUT);
    cr_assert(room_ask(room, "write", "mode=log", TUB("Q-2") "\n" TUB("Q-2")) == ERR_INPUT);
    cr_assert(room_ask(room, "write", "mode=import", TUB("Q-1")) == ERR_OK); /* the books flag it */
    room_free(room);
}

Test(write, checking_stores_nothing)
{
    struct room *room = hub_with_catalogue();
    cr_assert(room_ask(room, "write", "mode=check", TUB("Q-1")) == ERR_OK);
    cr_assert(room_ask(room, "write", "mode=log", TUB("Q-1")) == ERR_OK, "%s", room_why(room));
    room_free(room);
}

static const struct {
    const char *typed, *is; /* "" : refused */
} typed_times[] = {
    {"now", "2026-03-03T21:52:00+00:00"},
    {"17:40", "2026-03-03T17:40:00+00:00"},
    {"23:10", "2026-03-02T23:10:00+00:00"}, /* has not been today */
    {"2026-03-02 17:40", "2026-03-02T17:40:00+00:00"},
    {"2025-03-30 01:30", ""}, /* left out by the clocks */
    {"soon", ""},
};

Test(write, times_are_taken_as_people_type_them)
{
    struct room *room = hub_with_catalogue();
    for (size_t i = 0; i < sizeof typed_times / sizeof typed_times[0]; i++) {
        char line[256];
        snprintf(line, sizeof line, "{'kind':'note','text':'%zu','at':'%s'}", i,
                 typed_times[i].typed);
        enum err e = room_ask(room, "write", "mode=log loose=1", line);
        cr_assert(eq(int, e == ERR_OK, typed_times[i].is[0] != '\0'), "%s: %s",
                  typed_times[i].typed, room_why(room));
    }
    cr_assert(room_ask(room, "export", "kind=note", NULL) == ERR_OK);
    for (size_t i = 0; i < sizeof typed_times / sizeof typed_times[0]; i++)
        cr_assert(strstr(room_text(room), typed_times[i].is) != NULL, "%s", typed_times[i].is);
    room_free(room);
}

Test(write, F4_held_is_kept_when_it_has_been)
{
    struct room *room = hub_with_catalogue();
    cr_assert(room_ask(room, "write", "mode=import",
                       "{'kind':'note','text':'a','at':'2026-02-01T10:00:00Z',"
                       "'held':'2026-02-14T10:00:00Z'}") == ERR_OK);
    cr_assert(room_ask(room, "export", "kind=note", NULL) == ERR_OK);
    cr_assert(strstr(room_text(room), "\"held\":\"2026-02-14T10:00:00") != NULL, "%s",
              room_text(room));
    room_free(room);
}

Test(write, a_day_is_closed_once_and_not_before_it_comes)
{
    struct room *room = room_new("quayside", false);
    cr_assert(room_ask(room, "write", "mode=log", "{'kind':'close','day':'2026-03-03'}") == ERR_OK,
              "%s", room_why(room));
    cr_assert(room_ask(room, "write", "mode=log", "{'kind':'close','day':'2026-03-03'}") ==
              ERR_INPUT);
    cr_assert(strstr(room_why(room), "not closed yet") != NULL, "%s", room_why(room));
    cr_assert(room_ask(room, "write", "mode=log", "{'kind':'close','day':'2026-03-04'}") ==
              ERR_INPUT);
    cr_assert(room_ask(room, "write", "mode=log force=1", "{'kind':'close','day':'2026-03-03'}") ==
              ERR_OK);
    room_free(room);
}

Test(write, history_whose_clock_was_ahead_is_taken_when_it_says_when_it_was_held)
{
    struct room *room = hub_with_catalogue();
    cr_assert(room_ask(room, "write", "mode=import",
                       "{'kind':'note','text':'x','at':'2026-03-09T10:00:00Z'}") == ERR_INPUT);
    cr_assert(room_ask(room, "write", "mode=import",
                       "{'kind':'note','text':'x','at':'2026-03-09T10:00:00Z',"
                       "'held':'2026-03-02T10:00:00Z'}") == ERR_OK,
              "%s", room_why(room));
    room_free(room);
}

Test(write, the_catalogue_is_known_after_a_restart)
{
    struct room *room = hub_with_catalogue();
    cr_assert(room_ask(room, "status", "", NULL) == ERR_OK);
    room_restart(room);
    cr_assert(room_ask(room, "write", "mode=import", TUB("Q-1")) == ERR_OK, "%s", room_why(room));
    room_restart(room);
    cr_assert(room_ask(room, "write", "mode=log", TUB("Q-1")) == ERR_INPUT);
    cr_assert(room_ask(room, "write", "mode=log", TUB("Q-2")) == ERR_OK, "%s", room_why(room));
    room_free(room);
}

Test(write, blank_lines_alone_are_no_records_and_no_harm)
{
    struct room *room = room_new("quayside", false);
    cr_assert(room_ask(room, "write", "mode=import", "\n\n  \n") == ERR_OK, "%s", room_why(room));
    cr_assert(eq(i64, room_number(room, "written"), 0));
    cr_assert(room_ask_in_pieces(room, "write", "mode=import", "\n\n\n", 1) == ERR_OK);
    room_free(room);
}
