/* Trace by rule C1; numbers worked by hand. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/report/trace.h"
#include "tests/report/town.h"

static json_t *
trace(struct play *play, const char *code)
{
    struct err_text why = {.s = ""};
    json_t *got = NULL;
    play_put(play, 0);
    cr_assert(eq(int, trace_code(play_ledger(play), code, &got, &why), ERR_OK), "%s", why.s);
    return got;
}

/* 10 bottles of L1: 6 sent, 5 of them arrived with 1 broken, 2 sold; 4 bottles of L1 went back
 * into batch B2 as 2160 g, thrown out of stock by count; B2 gave 3 bottles of L2. */
static struct play *
rework(void)
{
    struct play *play = town_new();
    town_batch(play, "B1", 4, "2026-03-02");
    town_bottle(play, "B1", "L1", 10, "release", "2026-03-03T10:00:00Z");
    play_say(play, "{'kind': 'dispatch', 'at': '2026-03-04T11:00:00Z', 'lot': 'L1', 'to_site': "
                   "'quayside', 'count': 6}");
    play_say(play, "{'kind': 'accept', 'at': '2026-03-04T15:00:00Z', 'site': 'quayside', 'lot': "
                   "'L1', 'count': 5, 'broken': 1}");
    play_say(play, "{'kind': 'sale', 'at': '2026-03-05T15:00:00Z', 'site': 'quayside', 'lot': "
                   "'L1', 'count': 2, 'unit_minor': 1800, 'currency': 'GBP'}");
    town_tub(play, "quayside", "T2", 500, "2026-03-05T16:00:00Z");
    town_move(play, "quayside", "T2", "2026-03-05T17:00:00Z");
    play_say(play, "{'kind': 'mix', 'at': '2026-03-06T09:00:00Z', 'batch': 'B2', 'recipe': 'l1', "
                   "'inputs': [{'tub': 'T2', 'mass_g': 500}, {'lot': 'L1', 'mass_g': 2160}], "
                   "'vessel': 'V1', 'started': '2026-03-06T09:00:00Z'}");
    play_say(play, "{'kind': 'discard', 'what': 'lot', 'code': 'L1', 'count': 4, 'reason': "
                   "'rework', 'stream': 'bin'}");
    town_strain(play, "B2", 2000, 1900, 600, 60, "2026-03-07T10:00:00Z");
    town_bottle(play, "B2", "L2", 3, "release", "2026-03-08T10:00:00Z");
    return play;
}

Test(trace, C1_forward_tells_each_lot_site_and_state)
{
    struct play *play = rework();
    json_t *t = trace(play, "L1");
    /* L1: kitchen lost 4 (reworked), quayside on hand 2, lost 1, sold 2: one is nowhere;
     * L2 was made from it: 3 at the kitchen */
    cr_expect(eq(str, (char *)month_word(t, "made"), "13"));
    cr_expect(eq(str, (char *)month_word(t, "located"), "12"));
    cr_expect(eq(str, (char *)month_word(t, "accounted_pct"), "92.3076")); /* cut, not rounded */
    cr_expect(eq(str, (char *)month_word(t, "unlocated.L1.count"), "1"));
    cr_expect(eq(sz, json_array_size(json_object_get(t, "forward")), 5));
    cr_expect(eq(str, (char *)month_word(t, "forward.0.state"), "lost"));
    cr_expect(eq(str, (char *)month_word(t, "forward.0.count"), "4"));
    cr_expect(eq(str, (char *)month_word(t, "forward.1.lot"), "L2"));
    cr_expect(eq(str, (char *)month_word(t, "forward.2.state"), "lost"));
    cr_expect(eq(str, (char *)month_word(t, "forward.3.state"), "on-hand"));
    cr_expect(eq(str, (char *)month_word(t, "forward.3.count"), "2"));
    cr_expect(eq(str, (char *)month_word(t, "forward.4.state"), "sold"));
    json_decref(t);
    play_free(play);
}

Test(trace, C1_back_goes_through_bottles_taken_back)
{
    struct play *play = rework();
    json_t *t = trace(play, "L2");
    cr_expect(eq(sz, json_array_size(json_object_get(t, "back")), 4));
    cr_expect(eq(str, (char *)month_word(t, "back.0.code"), "SPIRIT"));
    cr_expect(eq(str, (char *)month_word(t, "back.0.mass_g"), "8000"));
    cr_expect(eq(str, (char *)month_word(t, "back.0.supplier_lot"), "N1"));
    cr_expect(eq(str, (char *)month_word(t, "back.1.code"), "SUGAR"));
    cr_expect(eq(str, (char *)month_word(t, "back.2.code"), "T-B1"));
    cr_expect(eq(str, (char *)month_word(t, "back.2.site"), "quayside"));
    cr_expect(eq(str, (char *)month_word(t, "back.3.code"), "T2"));
    json_decref(t);
    play_free(play);
}

Test(trace, C1_a_tub_or_a_supply_leads_to_everything_made_from_it)
{
    struct play *play = rework();
    static const char *const codes[] = {"T-B1", "SPIRIT", "B1"};
    for (size_t i = 0; i < 3; i++) {
        json_t *t = trace(play, codes[i]);
        cr_expect(eq(str, (char *)month_word(t, "made"), "13"), "%s", codes[i]);
        cr_expect(eq(sz, json_array_size(json_object_get(t, "back")), i == 2 ? 3 : 0));
        json_decref(t);
    }
    json_t *t = trace(play, "T2");
    cr_expect(eq(str, (char *)month_word(t, "made"), "3"));
    json_decref(t);
    play_free(play);
}

Test(trace, C1_in_transit_counts_at_the_site_it_goes_to)
{
    struct play *play = town_new();
    town_batch(play, "B1", 4, "2026-03-02");
    town_bottle(play, "B1", "L1", 10, "release", "2026-03-03T10:00:00Z");
    play_say(play, "{'kind': 'dispatch', 'at': '2026-03-04T11:00:00Z', 'lot': 'L1', 'to_site': "
                   "'foundry', 'count': 6}");
    json_t *t = trace(play, "B1");
    cr_expect(eq(str, (char *)month_word(t, "forward.foundry.state"), "in-transit"));
    cr_expect(eq(str, (char *)month_word(t, "forward.foundry.count"), "6"));
    cr_expect(eq(str, (char *)month_word(t, "accounted_pct"), "100.0000"));
    json_decref(t);
    play_free(play);
}

Test(trace, C1_a_count_sets_what_is_on_hand)
{
    struct play *play = town_new();
    town_batch(play, "B1", 4, "2026-03-02");
    town_bottle(play, "B1", "L1", 10, "release", "2026-03-03T10:00:00Z");
    town_bottle(play, "B1", "L2", 5, "release", "2026-03-03T11:00:00Z");
    play_say(play, "{'kind': 'stocktake', 'at': '2026-03-04T11:00:00Z', 'place': 'kf', "
                   "'bottles': [{'lot': 'L1', 'count': 9}]}");
    json_t *t = trace(play, "B1");
    cr_expect(eq(str, (char *)month_word(t, "located"), "9"));
    cr_expect(eq(str, (char *)month_word(t, "unlocated.L1.count"), "1"));
    cr_expect(eq(str, (char *)month_word(t, "unlocated.L2.count"), "5")); /* not listed: 0 */
    cr_expect(eq(str, (char *)month_word(t, "accounted_pct"), "60.0000"));
    json_decref(t);
    play_free(play);
}

Test(trace, the_tree_for_people_names_every_step)
{
    struct play *play = rework();
    struct err_text why = {.s = ""};
    json_t *t = trace(play, "L2");
    char *text = NULL;
    cr_assert(eq(int, trace_text(t, &text, &why), ERR_OK));
    cr_expect(ne(ptr, strstr(text, "L2: 3 of 3 bottles"), NULL));
    cr_expect(ne(ptr, strstr(text, "filled at quayside"), NULL));
    cr_expect(ne(ptr, strstr(text, "Still House"), NULL));
    free(text);
    json_decref(t);
    play_free(play);
}
