/* A plan from making to late news, with the real programs: what a kitchen lead does in a morning.
 * Dates are counted from today; the café and its tubs are invented. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include "tests/system/program.h"

/* "2026-11-25", so many days from now. */
static const char *
date(int days)
{
    static char text[4][16];
    static int at;
    time_t when = time(NULL) + (time_t)days * 86400;
    struct tm tm;
    gmtime_r(&when, &tm);
    at = (at + 1) % 4;
    strftime(text[at], sizeof text[at], "%Y-%m-%d", &tm);
    return text[at];
}

static void
write_kitchen(FILE *f)
{
    fprintf(f,
            "{'kind':'site','code':'kitchen','role':'kitchen','zone':'Europe/London',"
            "'currency':'GBP','labour_s':28800,'fridge_ml':100000}\n"
            "{'kind':'site','code':'quayside','role':'cafe','zone':'Europe/London',"
            "'currency':'GBP'}\n"
            "{'kind':'coffee','code':'house-dark','name':'House dark'}\n"
            "{'kind':'place','code':'quayside-f1','for_site':'quayside','class':'freezer'}\n"
            "{'kind':'stream','code':'food-caddy','for_site':'quayside','destination':"
            "'composting','settles':'at-once','material':'food'}\n"
            "{'kind':'product','code':'syrup','name':'Syrup','class':'syrup','bottle_ml':500}\n"
            "{'kind':'item','code':'sugar','name':'Sugar','class':'sugar','pack_g':10000,"
            "'pack_minor':900,'currency':'GBP','lead_d':1}\n"
            "{'kind':'recipe','code':'syrup-1','product':'syrup','parts':[{'input':'grounds',"
            "'parts':'1'},{'input':'sugar','parts':'1'}],'grounds_min_g':2000,"
            "'grounds_max_g':9000,'strain_days':1,'yield_ml_per_kg':1300,'labour_min':60}\n"
            "{'kind':'price','product':'syrup','bottle_ml':500,'currency':'GBP',"
            "'list_minor':1600,'transfer_minor':1500,'from':'2026-01-01'}\n"
            "{'kind':'station','code':'F1','class':'filter'}\n"
            "{'kind':'route','code':'harbour','stops':['quayside'],"
            "'weekdays':[1,2,3,4,5,6,7],'van_tubs':20}\n"
            "{'kind':'order','product':'syrup','count':12,'due':'%s','site':'quayside'}\n",
            date(9));
}

static void
write_tubs(FILE *f)
{
    for (int i = 1; i <= 3; i++)
        fprintf(f,
                "{'kind':'tub','tub':'Q-%d','coffee':'house-dark','origin':'espresso',"
                "'gross_g':3180,'tare_g':180,'method':'weighed','first_knock':'%sT17:10:00+00:00',"
                "'frozen':'%sT19:40:00+00:00','place':'quayside-f1','at':'%sT19:40:00+00:00',"
                "'site':'quayside'}\n",
                i, date(-2), date(-2), date(-2));
}

static void
write_losses(FILE *f)
{
    for (int i = 1; i <= 3; i++)
        fprintf(f,
                "{'kind':'discard','what':'tub','code':'Q-%d','mass_g':3000,'reason':'dropped',"
                "'stream':'food-caddy','at':'%sT19:50:00+00:00','site':'quayside'}\n",
                i, date(-1));
}

/* Imports what `print` writes, with " for '. */
static void
import(const char *place, const char *hub, void (*print)(FILE *f))
{
    char path[PLACE * 2], *text = NULL;
    size_t len = 0;
    snprintf(path, sizeof path, "%s/lines.jsonl", place);
    FILE *f = open_memstream(&text, &len);
    print(f);
    fclose(f);
    for (char *c = text; *c != '\0'; c++)
        *c = *c == '\'' ? '"' : *c;
    f = fopen(path, "w");
    cr_assert(f != NULL);
    fputs(text, f);
    fclose(f);
    free(text);
    struct said said = run_program("knockbox", "import", path, "--at", hub, NULL);
    cr_assert(eq(int, said.status, 0), "%s", said.err);
}

/* A draft of yesterday is not published: at midnight it is made once more. */
static void
make_and_publish(const char *hub)
{
    struct said said = {.status = 1};
    for (int i = 0; i < 2 && said.status != 0; i++) {
        said = run_program("knockbox", "plan", "make", "--quiet", "--at", hub, NULL);
        cr_assert(eq(int, said.status, 0), "%s", said.err);
        said = run_program("knockbox", "plan", "publish", "--quiet", "--at", hub, NULL);
    }
    cr_assert(eq(int, said.status, 0), "%s", said.err);
}

Test(plan, is_made_asked_about_and_overtaken_by_late_news, .timeout = 110)
{
    char place[PLACE], hub[PLACE * 2];
    place_make(place);
    snprintf(hub, sizeof hub, "%s/hub", place);
    struct daemon d = start_hub(hub);
    import(place, hub, write_kitchen);
    import(place, hub, write_tubs);
    make_and_publish(hub);
    cr_expect(not(answer_has(hub, "status", "no longer fits")));

    struct said said = run_program("knockbox", "plan", "try", "--station", "+1", "--tub-lost",
                                   "Q-1", "--json", "--at", hub, NULL);
    cr_expect(eq(int, said.status, 0), "%s", said.err);
    cr_expect(strstr(said.out, "\"changes\":[\"1 straining station more, 2 in all\"") != NULL, "%s",
              said.out);
    cr_expect(strstr(said.out, "\"difference\":{\"worth_minor\":-") != NULL, "%s", said.out);
    said = run_program("knockbox", "plan", "why", "tub", "Q-1", "--at", hub, NULL);
    cr_expect(eq(int, said.status, 0), "%s", said.err);
    cr_expect(strstr(said.out, "Why: tub Q-1") != NULL, "%s", said.out);
    said = run_program("knockbox", "plan", "why", "order", "syrup", "--json", "--at", hub, NULL);
    cr_expect(eq(int, said.status, 0), "%s", said.err);
    said = run_program("knockbox", "plan", "diff", "--at", hub, NULL);
    cr_expect(eq(int, said.status, 1), "%s", said.out); /* no draft is newer */

    import(place, hub, write_losses);
    cr_expect(answer_has(hub, "status", "no longer fits"));
    said = run_program("knockbox", "plan", "show", "--at", hub, NULL);
    cr_expect(strstr(said.out, "It no longer fits: tub Q-") != NULL, "%s", said.out);
    said = run_program("knockbox", "plan", "why", "tub", "Q-1", "--at", hub, NULL);
    cr_expect(strstr(said.out, "It was thrown away.") != NULL, "%s", said.out);
    said = run_program("knockbox", "plan", "make", "--quiet", "--at", hub, NULL);
    cr_expect(eq(int, said.status, 0), "%s", said.err);
    cr_expect(answer_has(hub, "status", "no longer fits")); /* a draft changes nothing */
    said = run_program("knockbox", "plan", "diff", "--at", hub, NULL);
    cr_expect(strstr(said.out, "to draft 2") != NULL, "%s%s", said.out, said.err);
    cr_expect(strstr(said.out, "is gone; the plan puts it into syrup-1") != NULL, "%s", said.out);
    make_and_publish(hub);
    cr_expect(not(answer_has(hub, "status", "no longer fits")));
    cr_expect(eq(int, end_daemon(&d), 0));
    place_done(place);
}
