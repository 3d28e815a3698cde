/* The day sheet. Numbers are hand-worked out of tests/serve/spring.h. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdlib.h>
#include <string.h>
#include "tests/serve/spring.h"

static const char *
text(const json_t *object, const char *name)
{
    const char *value = json_string_value(json_object_get(object, name));
    return value != NULL ? value : "";
}

static int64_t
number(const json_t *object, const char *name)
{
    return json_integer_value(json_object_get(object, name));
}

/* Member `i` of a list of the answer. */
static const json_t *
line(struct room *room, const char *list, size_t i)
{
    return json_array_get(json_object_get(room_answer(room), list), i);
}

/* Publishes a plan that a person found. */
static void
publish(struct room *room, const char *plan)
{
    cr_assert(room_ask(room, "plan", "do=put", plan) == ERR_OK, "%s", room_why(room));
    if (strstr(room_text(room), "\"state\":\"draft\"") != NULL) /* else it stands already */
        cr_assert(room_ask(room, "plan", "do=publish", NULL) == ERR_OK, "%s", room_why(room));
}

/* K-1 and K-2 tonight into syrup tomorrow, and the café's tubs by Monday's run. */
static const char weekend[] = "{'collect':[{'run':'R-30','tubs':['Q-1','Q-2']}],"
                              "'batches':[{'recipe':'syrup-1','day':1,'tubs':['K-1','K-2']}]}";

static void
ask(struct room *room, const char *args)
{
    cr_assert(room_ask(room, "today", args, NULL) == ERR_OK, "%s", room_why(room));
}

Test(today, without_a_plan_the_books_still_say_what_strains)
{
    struct room *room = spring_room();
    ask(room, "");
    cr_assert_not_null(strstr(room_text(room), "\"plan\":null"));
    const json_t *batch = line(room, "strain", 0);
    cr_expect(eq(str, (char *)text(batch, "batch"), "B-39"));
    cr_expect(eq(str, (char *)text(batch, "station"), "F2"));
    cr_expect(eq(str, (char *)text(batch, "state"), "straining"));
    cr_expect(eq(str, (char *)text(batch, "ready"), "2026-03-28")); /* mixed on the 26th, 2 days */
    cr_expect(eq(sz, json_array_size(json_object_get(room_answer(room), "thaw")), 0));
    room_free(room);
}

Test(today, names_the_tubs_to_take_out_tonight_and_their_freezer)
{
    struct room *room = spring_room();
    publish(room, weekend);
    ask(room, "");
    const json_t *thaw = line(room, "thaw", 0);
    cr_expect(eq(str, (char *)text(thaw, "recipe"), "syrup-1"));
    const json_t *tub = json_array_get(json_object_get(thaw, "tubs"), 0);
    cr_expect(eq(str, (char *)text(tub, "tub"), "K-1"));
    cr_expect(eq(str, (char *)text(tub, "place"), "kitchen-f1"));
    cr_expect(eq(str, (char *)text(tub, "state"), "received"));
    cr_expect(eq(i64, number(tub, "net_g"), 3000));
    cr_expect(eq(i64, number(room_answer(room), "plan"), 1));
    spring_write(room, "{'kind':'thaw','tubs':['K-1'],'method':'refrigerator',"
                       "'started':'2026-03-27T06:00:00+00:00','at':'2026-03-27T06:00:00+00:00'}");
    ask(room, "");
    tub = json_array_get(json_object_get(line(room, "thaw", 0), "tubs"), 0);
    cr_expect(eq(str, (char *)text(tub, "state"), "thawed"));
    room_free(room);
}

Test(today, says_what_to_weigh_from_which_lot_into_which_vessel)
{
    struct room *room = spring_room();
    publish(room, weekend);
    room_now(room, "2026-03-28T07:00:00Z");
    ask(room, "");
    const json_t *mix = line(room, "mix", 0);
    const json_t *parts = json_object_get(mix, "parts");
    cr_assert(eq(sz, json_array_size(parts), 2), "%s", room_text(room));
    cr_expect(eq(i64, number(json_array_get(parts, 0), "mass_g"), 6000));
    const json_t *sugar = json_array_get(parts, 1);
    cr_expect(eq(str, (char *)text(sugar, "input"), "sugar"));
    cr_expect(eq(i64, number(sugar, "mass_g"), 6000));
    const json_t *lots = json_object_get(sugar, "lots"); /* 1 kg is left of S-1 */
    cr_expect(eq(str, (char *)text(json_array_get(lots, 0), "lot"), "S-1"));
    cr_expect(eq(i64, number(json_array_get(lots, 0), "take_g"), 1000));
    cr_expect(eq(i64, number(json_array_get(lots, 1), "take_g"), 5000));
    cr_expect(eq(str, (char *)text(mix, "vessel"), "V2")); /* 12 kg: the smaller one holds it */
    cr_expect(json_object_get(sugar, "cost_minor") == NULL);
    const json_t *bottle = line(room, "bottle", 0);
    cr_expect(eq(str, (char *)text(bottle, "batch"), "B-39"));
    cr_expect(eq(i64, number(bottle, "ml"), 3900));
    room_free(room);
}

Test(today, gives_a_lot_out_once)
{
    struct room *room = spring_room();
    publish(room, "{'batches':[{'recipe':'syrup-1','day':1,'tubs':['K-1']},"
                  "{'recipe':'syrup-1','day':1,'tubs':['K-2']}]}");
    ask(room, "day=2026-03-28");
    const json_t *first = json_array_get(json_object_get(line(room, "mix", 0), "parts"), 1);
    const json_t *second = json_array_get(json_object_get(line(room, "mix", 1), "parts"), 1);
    cr_expect(
        eq(str, (char *)text(json_array_get(json_object_get(first, "lots"), 0), "lot"), "S-1"));
    cr_expect(eq(i64, number(json_array_get(json_object_get(first, "lots"), 0), "take_g"), 1000));
    cr_expect(
        eq(str, (char *)text(json_array_get(json_object_get(second, "lots"), 0), "lot"), "S-2"));
    cr_expect(eq(str, (char *)text(line(room, "mix", 0), "vessel"), "V2"));
    cr_expect(eq(str, (char *)text(line(room, "mix", 1), "vessel"), "V1"));
    room_free(room);
}

Test(today, knows_what_is_mixed_already)
{
    struct room *room = spring_room();
    publish(room, weekend);
    room_now(room, "2026-03-28T12:00:00Z");
    spring_write(room, "{'kind':'mix','batch':'B-40','recipe':'syrup-1','inputs':[{'tub':'K-1',"
                       "'mass_g':3000,'empty':true},{'tub':'K-2','mass_g':3000,'empty':true},"
                       "{'lot':'S-2','mass_g':6000}],'vessel':'V2',"
                       "'started':'2026-03-28T08:00:00+00:00','at':'2026-03-28T08:00:00+00:00'}");
    ask(room, "");
    const json_t *mix = line(room, "mix", 0);
    cr_expect(eq(str, (char *)text(mix, "batch"), "B-40"));
    cr_expect(json_object_get(mix, "parts") == NULL);
    const json_t *strain = line(room, "strain", 0);
    cr_expect(eq(str, (char *)text(strain, "batch"), "B-40"));
    cr_expect(eq(str, (char *)text(strain, "ready"), "2026-03-30")); /* as the plan has it */
    cr_expect(eq(str, (char *)text(strain, "state"), "steeping"));
    room_free(room);
}

Test(today, the_vans_list_is_by_cafe)
{
    struct room *room = spring_room();
    publish(room, weekend);
    ask(room, "day=2026-03-30");
    const json_t *ride = line(room, "van", 0);
    cr_expect(eq(str, (char *)text(ride, "run"), "R-30"));
    cr_expect(eq(str, (char *)text(ride, "departs"), "2026-03-30T09:15:00+01:00"));
    const json_t *cafe = json_array_get(json_object_get(ride, "cafes"), 0);
    cr_expect(eq(str, (char *)text(cafe, "name"), "Quayside"));
    cr_expect(eq(sz, json_array_size(json_object_get(cafe, "tubs")), 2));
    cr_expect(eq(str, (char *)text(json_array_get(json_object_get(cafe, "tubs"), 0), "place"),
                 "quayside-f1"));
    room_free(room);
}

/* The café's own machine, two tubs in its freezer. */
static struct room *
cafe_room(void)
{
    struct room *room = room_new("quayside", false);
    room_now(room, "2026-03-27T06:30:00Z");
    spring_tub(room, "Q-1", false);
    spring_tub(room, "Q-2", false);
    return room;
}

Test(today, at_a_cafe_names_the_tubs_to_hand_over)
{
    struct room *hub = spring_room(), *room = cafe_room();
    publish(hub, weekend);
    room_follow(room, hub);
    ask(room, "");
    const json_t *ride = line(room, "van", 0);
    cr_expect(eq(str, (char *)text(ride, "run"), "R-30"));
    cr_expect(eq(str, (char *)text(ride, "route"), "harbour"));
    cr_expect(eq(str, (char *)text(ride, "day"), "2026-03-30"));
    cr_expect(eq(str, (char *)text(ride, "departs"), "2026-03-30T09:15:00+01:00"));
    const json_t *cafe = json_array_get(json_object_get(ride, "cafes"), 0);
    cr_expect(eq(sz, json_array_size(json_object_get(cafe, "tubs")), 2));
    cr_expect(eq(i64, number(cafe, "grounds_g"), 6000));
    spring_write(room, "{'kind':'handover','run':'R-30','tubs':['Q-1'],"
                       "'at':'2026-03-27T06:00:00+00:00'}");
    ask(room, ""); /* one has gone */
    cafe = json_array_get(json_object_get(line(room, "van", 0), "cafes"), 0);
    cr_expect(eq(sz, json_array_size(json_object_get(cafe, "tubs")), 1));
    room_now(hub, "2026-03-27T07:30:00Z");
    publish(hub, "{}"); /* and the other is not fetched any more */
    room_follow(room, hub);
    ask(room, "");
    cr_expect(eq(sz, json_array_size(json_object_get(room_answer(room), "van")), 0));
    room_free(room);
    room_free(hub);
}

Test(today, at_a_cafe_without_lists_is_empty_and_any_role_may_look)
{
    struct room *room = cafe_room();
    room_roles(room, ROLE_BIT_BARISTA);
    ask(room, "");
    cr_assert_not_null(strstr(room_text(room), "\"kitchen\":false"));
    cr_expect(eq(sz, json_array_size(json_object_get(room_answer(room), "van")), 0));
    cr_expect(room_ask(room, "today", "day=soon", NULL) == ERR_INPUT);
    room_free(room);
}

Test(today, a_plan_that_fetches_nothing_any_more_takes_the_lists_back)
{
    struct room *room = spring_room();
    publish(room, weekend);
    cr_assert(room_ask(room, "freezer", "site=quayside", NULL) == ERR_OK);
    cr_assert_not_null(strstr(room_text(room), "\"goes_with\":\"R-30\""), "%s", room_text(room));
    room_now(room, "2026-03-27T07:30:00Z");
    publish(room, "{}");
    cr_assert(room_ask(room, "freezer", "site=quayside", NULL) == ERR_OK);
    cr_assert_null(strstr(room_text(room), "goes_with"), "%s", room_text(room));
    cr_assert(room_ask(room, "export", "kind=pickup", NULL) == ERR_OK);
    cr_expect_not_null(strstr(room_text(room), "\"tubs\":[]"), "%s", room_text(room));
    room_now(room, "2026-03-27T08:30:00Z");
    publish(room, "{}"); /* and says so once */
    cr_assert(room_ask(room, "export", "kind=pickup", NULL) == ERR_OK);
    char *first = strstr(room_text(room), "\"tubs\":[]");
    cr_assert_not_null(first);
    cr_expect_null(strstr(first + 1, "\"tubs\":[]"));
    room_free(room);
}
