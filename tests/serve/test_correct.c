/* Corrections: as large as what they correct. Sizes are this project's own (docs/records.md). */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "tests/serve/room.h"

enum {
    TUBS = 2000
};

/* Room for a line with all tubs but those from `without` on. */
static char *
line_of(const char *head, unsigned from, unsigned end, const char *tail)
{
    char *line = malloc(256 * 1024);
    size_t used = (size_t)sprintf(line, "%s", head);
    for (unsigned i = from; i < end; i++)
        used += (size_t)sprintf(line + used, "%s'Q-%04u-1'", i > from ? "," : "", i);
    (void)sprintf(line + used, "%s", tail);
    return line;
}

static void
write_line(struct room *room, char *taken)
{
    cr_assert(room_ask(room, "write", "mode=import", taken) == ERR_OK, "%s", room_why(room));
    free(taken);
}

static struct room *
counted_room(void)
{
    struct room *room = room_new("kitchen", true);
    cr_assert(room_ask(room, "write", "mode=import", saltmere_catalogue) == ERR_OK);
    write_line(room, line_of("{'kind':'stocktake','id':'019c87cb-b400-735a-8b0c-314d939736f8',"
                             "'at':'2026-03-02T20:00:00+00:00','site':'quayside',"
                             "'place':'quayside-f1','tubs':[",
                             0, TUBS, "]}"));
    return room;
}

static size_t
missing(struct room *room)
{
    size_t n = 0, i;
    json_t *tub;
    cr_assert(room_ask(room, "freezer", "all=1", NULL) == ERR_OK, "%s", room_why(room));
    json_array_foreach(json_object_get(room_answer(room), "tubs"), i, tub) n +=
        strcmp(json_string_value(json_object_get(tub, "state")), "missing") == 0;
    return n;
}

/* The freezer held one tub more than was counted; the count left it out by mistake. */
Test(correct, takes_a_stocktake_of_2000_tubs)
{
    struct room *room = counted_room();
    write_line(room, strdup("{'kind':'tub','tub':'Q-9999-1','coffee':'house-dark',"
                            "'origin':'espresso','gross_g':3180,'tare_g':180,'method':'weighed',"
                            "'first_knock':'2026-03-01T18:10:00+00:00',"
                            "'frozen':'2026-03-01T21:40:00+00:00','place':'quayside-f1',"
                            "'at':'2026-03-01T21:40:00+00:00','site':'quayside'}"));
    cr_assert(eq(sz, missing(room), 1));
    write_line(room, line_of("{'kind':'correct','record':'019c87cb-b400-735a-8b0c-314d939736f8',"
                             "'reason':'one was left out','at':'2026-03-03T09:00:00+00:00',"
                             "'site':'quayside','body':{'place':'quayside-f1','tubs':['Q-9999-1',",
                             0, TUBS, "]}}"));
    cr_assert(eq(sz, missing(room), 0));
    cr_assert(room_ask(room, "verify", "", NULL) == ERR_OK, "%s", room_why(room));
    char *before, *after;
    cr_assert(room_ask(room, "digest", "", NULL) == ERR_OK, "%s", room_why(room));
    before = strdup(json_string_value(json_object_get(room_answer(room), "digest")));
    cr_assert(room_ask(room, "digest", "rebuild=1", NULL) == ERR_OK, "%s", room_why(room));
    after = strdup(json_string_value(json_object_get(room_answer(room), "digest")));
    cr_expect(eq(str, before, after));
    free(before);
    free(after);
    room_free(room);
}

Test(correct, of_a_small_kind_stays_small)
{
    struct room *room = room_new("kitchen", true);
    cr_assert(room_ask(room, "write", "mode=import", saltmere_catalogue) == ERR_OK);
    write_line(room, strdup("{'kind':'handover','id':'019c87cb-b400-735a-8b0c-314d939736f9',"
                            "'run':'R-1','tubs':['Q-1'],'at':'2026-03-02T20:00:00+00:00',"
                            "'site':'quayside'}"));
    char *line = line_of("{'kind':'correct','record':'019c87cb-b400-735a-8b0c-314d939736f9',"
                         "'reason':'more','at':'2026-03-03T09:00:00+00:00','site':'quayside',"
                         "'body':{'run':'R-1','tubs':[",
                         0, 500, "]}}");
    cr_assert(room_ask(room, "write", "mode=import", line) == ERR_INPUT);
    cr_expect(strstr(room_why(room), "at most 4096, as for a handover") != NULL, "%s",
              room_why(room));
    free(line);
    room_free(room);
}

Test(correct, over_64_kib_is_refused)
{
    struct room *room = counted_room();
    char *line = line_of("{'kind':'correct','record':'019c87cb-b400-735a-8b0c-314d939736f8',"
                         "'reason':'more','at':'2026-03-03T09:00:00+00:00','site':'quayside',"
                         "'body':{'place':'quayside-f1','tubs':[",
                         0, 6000, "]}}");
    cr_assert(room_ask(room, "write", "mode=import", line) == ERR_INPUT);
    cr_expect(strstr(room_why(room), "65536") != NULL, "%s", room_why(room));
    free(line);
    room_free(room);
}
