/* What stands beside a plan's days: stations, rides, zone. Numbers are hand-worked out of
 * tests/serve/spring.h. */
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

Test(plan_detail, a_batch_that_strains_keeps_its_station_and_its_code)
{
    struct room *room = spring_room();
    cr_assert(room_ask(room, "plan", "do=make", NULL) == ERR_OK, "%s", room_why(room));
    const json_t *strain = json_object_get(room_answer(room), "strain");
    const json_t *first = json_array_get(strain, 0);
    cr_assert(json_array_size(strain) > 1, "%s", room_text(room));
    cr_expect(eq(str, (char *)text(first, "batch"), "B-39"));
    cr_expect(eq(str, (char *)text(first, "station"), "F2"));
    cr_expect(eq(str, (char *)text(first, "from"), "2026-03-26"));
    cr_expect(eq(str, (char *)text(first, "ready"), "2026-03-28"));
    cr_expect(eq(i64, json_integer_value(json_object_get(first, "ml")), 3900));
    const json_t *stations = json_object_get(room_answer(room), "stations");
    cr_expect(eq(sz, json_array_size(stations), 2));
    room_free(room);
}

Test(plan_detail, no_station_holds_two_batches_at_once)
{
    struct room *room = spring_room();
    for (int i = 4; i < 16; i++) {
        char tub[16];
        snprintf(tub, sizeof tub, "K-%d", i);
        spring_tub(room, tub, true);
    }
    cr_assert(room_ask(room, "plan", "do=make", NULL) == ERR_OK, "%s", room_why(room));
    const json_t *strain = json_object_get(room_answer(room), "strain");
    size_t n = json_array_size(strain);
    cr_assert(n > 3, "%s", room_text(room));
    for (size_t i = 0; i < n; i++)
        for (size_t k = i + 1; k < n; k++) {
            const json_t *a = json_array_get(strain, i), *b = json_array_get(strain, k);
            cr_assert(text(a, "station")[0] != '\0');
            if (strcmp(text(a, "station"), text(b, "station")) == 0)
                cr_assert(strcmp(text(a, "ready"), text(b, "from")) <= 0, "%s",
                          room_text(room)); /* by day, so a is the earlier one */
        }
    room_free(room);
}

Test(plan_detail, a_ride_names_its_cafes_and_departs_by_the_kitchens_clock)
{
    struct room *room = spring_room();
    cr_assert(room_ask(room, "plan", "do=make", NULL) == ERR_OK, "%s", room_why(room));
    const json_t *answer = room_answer(room);
    const json_t *monday = json_array_get(json_object_get(answer, "days"), 3);
    const json_t *ride = json_array_get(json_object_get(monday, "van"), 0);
    cr_assert(eq(str, (char *)text(ride, "run"), "R-30"), "%s", room_text(room));
    cr_expect(eq(str, (char *)text(ride, "departs"), "2026-03-30T09:15:00+01:00"));
    const json_t *cafe = json_array_get(json_object_get(ride, "cafes"), 0);
    cr_expect(eq(str, (char *)text(cafe, "site"), "quayside"));
    /* three that are there and some to expect, 3 kg each */
    size_t tubs = json_array_size(json_object_get(cafe, "tubs"));
    cr_expect(tubs > 3, "%zu tubs", tubs);
    cr_expect(
        eq(i64, json_integer_value(json_object_get(cafe, "grounds_g")), 3000 * (int64_t)tubs));
    cr_expect(eq(str, (char *)text(answer, "zone"), "Europe/London"));
    cr_expect(eq(str, (char *)text(answer, "site"), "kitchen"));
    cr_expect(eq(str, (char *)text(answer, "made"), "2026-03-27T06:30:00+00:00"));
    room_free(room);
}
