/* The day sheet for people: golden text out of a made answer, within 72 columns. Invented. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdlib.h>
#include <string.h>
#include "client/plan/sheet_print.h"
#include "client/show.h"

static const char kitchen[] =
    "{'site':'kitchen','name':'Chandlery Kitchen','kitchen':true,'day':'2026-03-28','plan':12,"
    "'planned':true,'thaw':[{'recipe':'syrup-1','alcoholic':false,'grounds_g':9000,'tubs':["
    "{'tub':'K-1','state':'received','place':'kitchen-f1','net_g':3000,'expected':false},"
    "{'tub':'K-2','state':'thawed','place':'kitchen-f1','net_g':3000,'expected':false},"
    "{'tub':'K-3','state':'received','place':'kitchen-f1','net_g':3000,'expected':false}]}],"
    "'mix':[{'recipe':'liqueur-1','alcoholic':true,'batch':null,'vessel':'V2','grounds_g':3104,"
    "'product_ml':8512.4,'bottles':17,'bottle_ml':500,'tubs':["
    "{'tub':'K-7','state':'thawed','place':'kitchen-f1','net_g':3104,'expected':false}],'parts':["
    "{'input':'grounds','parts':1,'mass_g':3104,'lots':[],'short_g':0},"
    "{'input':'sugar','parts':1,'mass_g':3104,'short_g':604,'lots':["
    "{'lot':'S-1','take_g':2500,'best_before':null}]}]},"
    "{'recipe':'syrup-1','alcoholic':false,'batch':'B-40','vessel':'V1','grounds_g':4000,"
    "'tubs':[]},"
    "{'recipe':'odd','alcoholic':false,'batch':null,'vessel':null,'grounds_g':4000,'tubs':[],"
    "'why':'no recipe odd'}],"
    "'strain':[{'batch':'B-39','recipe':'syrup-1','alcoholic':false,'vessel':'V1','station':'F2',"
    "'state':'straining','mixed':'2026-03-26','ready':'2026-03-29','grounds_g':3000,'ml':3900}],"
    "'bottle':[{'batch':'B-38','recipe':'liqueur-1','alcoholic':true,'vessel':'V3',"
    "'station':null,'state':'strained','mixed':'2026-03-24','ready':'2026-03-28',"
    "'grounds_g':3000,'ml':null}],"
    "'van':[{'run':'R-30','route':'harbour','day':'2026-03-28',"
    "'departs':'2026-03-28T09:15:00+00:00','grounds_g':9000,'cafes':[{'site':'quayside',"
    "'name':'Quayside','grounds_g':9000,'tubs':["
    "{'tub':'Q-1','state':'frozen','place':'quayside-f1','net_g':3000,'expected':false},"
    "{'tub':'Q-2','state':'discarded','place':null,'net_g':0,'expected':false},"
    "{'tub':'expected-quayside-1','state':null,'place':null,'net_g':null,'expected':true}]}]}]}";

static const char want[] =
    "Chandlery Kitchen, Saturday 28 March                             plan 12\n"
    "\n"
    "Take out tonight\n"
    "  for syrup-1, 9.00 kg\n"
    "    kitchen-f1: K-1  K-3\n"
    "    out already: K-2\n"
    "\n"
    "Mix\n"
    "  liqueur-1 (alcoholic) in V2, 3.10 kg of grounds\n"
    "    tubs: K-7\n"
    "    grounds            3.104 kg\n"
    "    sugar              3.104 kg  S-1 2.500 kg; 604 g missing\n"
    "    gives about 8.5 l, 17 bottles of 500 ml\n"
    "  B-40 syrup-1 in V1, 4.00 kg of grounds: mixed already\n"
    "  odd, 4.00 kg of grounds\n"
    "    no card: no recipe odd\n"
    "\n"
    "Steeps and strains\n"
    "  B-39 syrup-1 in F2: straining, mixed Thu 26, ready Sun 29, about 3.9 l\n"
    "\n"
    "Ready to bottle\n"
    "  B-38 liqueur-1 (alcoholic) in V3: strained, mixed Tue 24, ready Sat 28\n"
    "\n"
    "The van\n"
    "  Sat 28 March harbour, departs 09:15 (R-30), 9.00 kg\n"
    "    Quayside: 3 tubs, 9.00 kg\n"
    "      quayside-f1: Q-1\n"
    "      thrown away: Q-2\n"
    "      expected by then: 1 more\n";

static json_t *
answer_of(const char *quoted)
{
    char *text = strdup(quoted);
    for (char *at = text; *at != '\0'; at++)
        *at = *at == '\'' ? '"' : *at;
    json_t *answer = json_loads(text, 0, NULL);
    cr_assert_not_null(answer);
    free(text);
    return answer;
}

static char *
printed(const char *quoted)
{
    struct writer writer;
    char *text = NULL;
    size_t len = 0;
    FILE *f = open_memstream(&text, &len);
    json_t *answer = answer_of(quoted);
    writer_init(&writer, OUTPUT_TEXT, f);
    sheet_print(&writer, answer);
    json_decref(answer);
    fclose(f);
    return text;
}

Test(sheet, of_a_kitchen_says_what_to_do_now)
{
    char *text = printed(kitchen);
    cr_assert(eq(str, text, (char *)want));
    for (char *line = strtok(text, "\n"); line != NULL; line = strtok(NULL, "\n"))
        cr_expect(show_width(line) <= 72, "%s", line);
    free(text);
}

Test(sheet, breaks_many_tubs_within_72_columns)
{
    char quoted[4096] = "{'site':'kitchen','name':null,'kitchen':true,'day':'2026-03-28','plan':1,"
                        "'planned':true,'mix':[],'strain':[],'bottle':[],'van':[],"
                        "'thaw':[{'recipe':'r','alcoholic':false,'grounds_g':1,'tubs':[";
    for (int i = 0; i < 30; i++) {
        char tub[120];
        snprintf(tub, sizeof tub, "%s{'tub':'Q-0301-%d','state':'received','place':'f1'}",
                 i > 0 ? "," : "", i);
        strcat(quoted, tub);
    }
    char *text = printed(strcat(quoted, "]}]}"));
    cr_expect(strstr(text, "Q-0301-29") != NULL);
    for (char *line = strtok(text, "\n"); line != NULL; line = strtok(NULL, "\n"))
        cr_expect(show_width(line) <= 72, "%s", line);
    free(text);
}

Test(sheet, of_a_cafe_says_what_to_hand_over)
{
    char *text = printed("{'site':'quayside','name':'Quayside','kitchen':false,"
                         "'day':'2026-03-28','van':[{'run':'R-30','route':'harbour',"
                         "'day':'2026-03-30','departs':null,'grounds_g':3000,'cafes':[{"
                         "'site':'quayside','name':'Quayside','grounds_g':3000,'tubs':[{'tub':"
                         "'Q-1','state':'frozen','place':'quayside-f1','expected':false}]}]}]}");
    cr_expect(eq(str, text,
                 (char *)"Quayside, Saturday 28 March\n\nHand over\n"
                         "  Mon 30 March harbour (R-30), 3.00 kg\n    quayside-f1: Q-1\n"));
    free(text);
    text = printed("{'site':'quayside','name':null,'kitchen':false,'day':'2026-03-28','van':[]}");
    cr_expect(
        eq(str, text, (char *)"quayside, Saturday 28 March\n\nNo tub is to be handed over.\n"));
    free(text);
}

Test(sheet, says_when_no_plan_stands)
{
    char *text = printed("{'site':'kitchen','name':null,'kitchen':true,'day':'2026-03-28',"
                         "'plan':null,'planned':false,'thaw':[],'mix':[],'strain':[],"
                         "'bottle':[],'van':[]}");
    cr_expect(strstr(text, "No plan is published: knockbox plan make, then publish\n") != NULL,
              "%s", text);
    free(text);
}

Test(sheet, has_a_row_a_tub_and_a_row_a_lot)
{
    json_t *answer = answer_of(kitchen), *rows = sheet_rows(answer);
    cr_assert(eq(sz, json_array_size(rows), 3 + 1 + 2 + 1 + 1 + 3));
    const json_t *weigh = json_array_get(rows, 5);
    cr_expect(eq(str, (char *)json_string_value(json_object_get(weigh, "lot")), "S-1"));
    cr_expect(eq(i64, json_integer_value(json_object_get(weigh, "mass_g")), 2500));
    json_decref(rows);
    json_decref(answer);
}
