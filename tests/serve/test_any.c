/* Any request at all gets an answer and harms nothing: words, arguments and lines by chance.
 * TEST_SEED changes the chance; it is printed when a round fails. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "tests/serve/room.h"

static const char *const words[] = {"write",  "export", "status", "freezer", "stock",   "hints",
                                    "who",    "report", "trace",  "verify",  "period",  "plan",
                                    "digest", "link",   "label",  "today",   "nonsense"};
static const char *const args[] = {"mode=log",        "mode=import",   "mode=check",
                                   "keep_good=1",     "loose=1",       "force=1",
                                   "from=2026-03-01", "to=2026-02-30", "site=quayside",
                                   "site=",           "kind=tub",      "kind=x",
                                   "after=quayside",  "all=1",         "after=quayside 1 00 1",
                                   "month=2026-03",   "month=2026-13", "form=text",
                                   "form=x",          "code=Q-1",      "day=2026-03-04",
                                   "do=show",         "do=make",       "do=problem",
                                   "do=put",          "do=close",      "do=restate",
                                   "days=3",          "days=-1",       "reason=r",
                                   "edition=UK-2025", "rebuild=1",     "bound_cents=nan",
                                   "tubs_file=a.csv"};
static const char *const lines[] = {
    "{}",
    "[]",
    "",
    "null",
    "{'kind':'tub'}",
    "{'kind':'note','text':'x'}",
    "{'kind':'note','text':'x','at':'now'}",
    "{'kind':'note','text':'x','at':'25:00'}",
    "{'kind':'close','day':'2026-03-03'}",
    "{'kind':'close','day':'9999-12-31'}",
    ("{'kind':'tub','tub':'Q-1','coffee':'house-dark','origin':'espresso','gross_g':'3620',"
     "'tare_g':180,'method':'weighed','first_knock':'18:10','frozen':'now',"
     "'place':'quayside-f1'}"),
    "{'kind':'site','code':'x','role':'cafe','zone':'Nowhere/At_All','currency':'GBP'}",
    "{'kind':'note','text':'x','site':'x'}",
    "{'kind':'stocktake','place':'f','tubs':'[\\'a\\']'}",
    "{'kind':'correct','record':'019c87cb-b400-735a-8b0c-314d939736f8','void':true,'reason':'r'}",
    "{'kind':'order','product':'syrup','ml':1000000000,'due':'2026-03-04'}",
    "{'kind':'recipe','code':'r','product':'syrup','parts':[{'input':'grounds','parts':'0'}]}",
    "{'kind':'product','code':'syrup','name':'S','class':'syrup'}",
    "\xff\xfe",
    "{'kind':7}"};

static unsigned
chance(unsigned *seed, unsigned most)
{
    *seed = *seed * 1664525u + 1013904223u;
    return (*seed >> 12) % most;
}

#define ONE_OF(list) list[chance(&seed, sizeof list / sizeof list[0])]

Test(any, request_is_answered_and_leaves_the_chains_whole, .timeout = 50)
{
    const char *given = getenv("TEST_SEED");
    unsigned seed = given != NULL ? (unsigned)atoi(given) : 20260303u;
    struct room *room = room_new("kitchen", true);
    cr_assert(room_ask(room, "write", "mode=import", saltmere_catalogue) == ERR_OK);
    for (int round = 0; round < 400; round++) {
        char some_args[256] = "", some_lines[4096] = "";
        unsigned before = seed;
        const char *word = chance(&seed, 2) == 0 ? "write" : ONE_OF(words);
        for (unsigned n = chance(&seed, 4); n > 0; n--) {
            const char *arg = ONE_OF(args);
            if (strchr(arg, ' ') == NULL && strlen(some_args) + strlen(arg) + 2 < sizeof some_args)
                strcat(strcat(some_args, some_args[0] != '\0' ? " " : ""), arg);
        }
        for (unsigned n = chance(&seed, 5); n > 0; n--)
            strcat(strcat(some_lines, ONE_OF(lines)), "\n");
        enum err e = room_ask_in_pieces(room, word, some_args, some_lines, 1 + chance(&seed, 3));
        cr_assert(e != ERR_PEER && e != ERR_IO && e != ERR_MEM, "seed %u: %s %s: %s", before, word,
                  some_args, room_why(room));
        cr_assert(e == ERR_OK || room_why(room)[0] != '\0', "seed %u: %s %s", before, word,
                  some_args);
    }
    cr_assert(room_ask(room, "verify", "", NULL) == ERR_OK, "%s", room_why(room));
    room_free(room);
}
