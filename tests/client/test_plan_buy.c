/* What a plan lacks, in words and tables. Invented; common practice, no source. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdlib.h>
#include <string.h>
#include "client/plan/view_buy.h"

static json_t *
view_of(const char *text)
{
    char json[2000];
    (void)snprintf(json, sizeof json, "%s", text);
    for (char *at = json; *at != '\0'; at++)
        *at = *at == '\'' ? '"' : *at;
    json_t *view = json_loads(json, 0, NULL);
    cr_assert_not_null(view);
    return view;
}

static const char plan[] =
    "{'number':12,'days':[{'day':'2026-03-04','mix':[{'recipe':'syrup-1'}]},{'day':'2026-03-17'}],"
    "'buy':[{'item':'sugar','mass_g':20000,'lack_g':12000,'by':'2026-03-05','arrives':'2026-03-06',"
    "'for_day':'2026-03-07','late':false,'supplier':'Mill','packs':2,'pack_g':10000,"
    "'pack_ml':null,'cost_minor':1800,'currency':'GBP'},{'item':'spirit','mass_g':5000,'lack_g':"
    "5000,'by':'2026-03-04','arrives':'2026-03-09','for_day':'2026-03-07','late':true,'supplier':"
    "null,'packs':null,'pack_g':null,'pack_ml':null,'cost_minor':null,'currency':null}],"
    "'needs':[{'item':'sugar','stock_g':4000,'coming_g':0,'use_g':16000,'lasts':'2026-03-05',"
    "'days':[]},{'item':'water','stock_g':9000,'coming_g':0,'use_g':100,'lasts':null,'days':[]},"
    "{'item':'spirit','stock_g':0,'coming_g':0,'use_g':5000,'lasts':'','days':[]}],"
    "'yields':[{'recipe':'syrup-1','ml_per_kg':1300,'low_ml_per_kg':1100,'high_ml_per_kg':1500,"
    "'batches':3},{'recipe':'unused','ml_per_kg':1,'low_ml_per_kg':1,'high_ml_per_kg':1,"
    "'batches':0}]}";

static char said[2000];

static void
hear(void *owner, const char *text)
{
    (void)owner;
    strcat(strcat(said, text), "\n");
}

Test(plan_buy, sentences_say_how_much_by_when_and_for_what)
{
    json_t *view = view_of(plan);
    said[0] = '\0';
    view_say_buy(view, hear, NULL);
    view_say_yields(view, hear, NULL);
    cr_assert(eq(str, said,
                 "Buy by Thu 5 March: 20.00 kg of sugar, 2 packs from Mill, for Sat 7 March.\n"
                 "Buy at once: 5.00 kg of spirit; it is there on Mon 9 March, too late for Sat 7 "
                 "March.\n"
                 "A kilogram of grounds gives 1300 ml of syrup-1, nine batches in ten 1100 to "
                 "1500 ml (by 3 of its own).\n"));
    json_decref(view);
}

static char *
print(enum output output, const char *text)
{
    static char printed[4000];
    struct given given = {.output = output};
    json_t *view = view_of(text);
    FILE *f = tmpfile();
    view_print_buy(&given, view, f);
    rewind(f);
    printed[fread(printed, 1, sizeof printed - 1, f)] = '\0';
    fclose(f);
    json_decref(view);
    return printed;
}

Test(plan_buy, the_table_is_72_wide_and_csv_has_a_line_a_purchase)
{
    char *table = print(OUTPUT_TEXT, plan);
    cr_assert(strstr(table, "To buy. Kitchen plan 12, Wed 4 to Tue 17 March\n") == table, "%s",
              table);
    cr_assert(strstr(table, "2 of 10.00 kg") != NULL && strstr(table, "at once") != NULL, "%s",
              table);
    cr_assert(strstr(table, "until Thu 5 March") != NULL && strstr(table, "not at all") != NULL &&
                  strstr(table, "to the end") != NULL,
              "%s", table);
    for (char *line = strtok(table, "\n"); line != NULL; line = strtok(NULL, "\n"))
        cr_expect(strlen(line) <= 72, "%s", line);
    char *csv = print(OUTPUT_CSV, plan);
    cr_assert(strstr(csv, "2026-03-05,sugar,Mill,20000,12000,2,10000,,1800,GBP,2026-03-06,"
                          "2026-03-07,false") != NULL,
              "%s", csv);
    char *none = print(OUTPUT_TEXT, "{'number':1,'days':[]}");
    cr_assert(strstr(none, "Nothing.") != NULL, "%s", none);
    char *json = print(OUTPUT_JSON, plan);
    cr_assert(strstr(json, "\"needs\"") != NULL && strstr(json, "\"yields\"") == NULL, "%s", json);
}
