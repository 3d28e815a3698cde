/* Forecasts as people and programs see them. Invented; common practice, no source. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <string.h>
#include "client/forecast_print.h"
#include "client/show.h"

/* Quayside: a day as last week, a day by the forecast, a closed day. */
#define DAYS                                                                                  \
    "[{'day':'2026-03-03','value_g':3210,'low_g':2600,'high_g':3900,'smoothed_g':3210,"       \
    "'naive_g':3100,'used':'smoothed'},{'day':'2026-03-04','value_g':0,'low_g':0,'high_g':0," \
    "'smoothed_g':null,'naive_g':null,'used':'closed'}]"

static const char overview[] =
    "{'day':'2026-03-03','ahead':2,'site':null,'product':null,'grounds':[{'used':'sum','why':'x',"
    "'scored':56,'inside':0,'intervals':0,'total_g':12000,'naive_total_g':11000,'error_g':400,"
    "'naive_error_g':610,'site':null,'product':null,'days':[]},{'used':'naive','why':'y','scored':"
    "40,'inside':30,'intervals':40,'total_g':3210,'naive_total_g':3100,'error_g':400,"
    "'naive_error_g':380,'site':'quayside-with-quite-a-long-name','product':null,'days':" DAYS
    "}],'sales':[]}";

static const char one_site[] =
    "{'day':'2026-03-03','ahead':2,'site':'quayside','product':null,'grounds':[{'used':'smoothed',"
    "'why':'its error is smaller than that of the same day last week','scored':56,'inside':45,"
    "'intervals':56,'total_g':3210,'naive_total_g':3100,'error_g':410,'naive_error_g':580,'site':"
    "'quayside','product':null,'days':" DAYS "}],'sales':[]}";

static char *
print(enum output output, const char *text)
{
    static char printed[6000];
    char json[4000];
    (void)snprintf(json, sizeof json, "%s", text);
    for (char *at = json; *at != '\0'; at++)
        *at = *at == '\'' ? '"' : *at;
    json_t *answer = json_loads(json, 0, NULL);
    cr_assert_not_null(answer);
    FILE *f = tmpfile();
    forecast_print(output, answer, f);
    rewind(f);
    printed[fread(printed, 1, sizeof printed - 1, f)] = '\0';
    fclose(f);
    json_decref(answer);
    return printed;
}

static void
expect_has(const char *text, const char *words)
{
    cr_expect(strstr(text, words) != NULL, "\"%s\" is not in:\n%s", words, text);
}

static void
expect_72(char *text)
{
    for (char *line = strtok(text, "\n"); line != NULL; line = strtok(NULL, "\n"))
        cr_expect(show_width(line) <= 72, "%s", line);
}

Test(forecast_print, all_cafes_have_a_line_each)
{
    char *text = print(OUTPUT_TEXT, overview);
    expect_has(text, "Grounds to come");
    expect_has(text, "Tue 3 to Wed 4 March");
    expect_has(text, "all cafés");
    expect_has(text, "0.38 kg  last week");
    expect_has(text, "Nothing was sold of late.");
    expect_72(text);
}

Test(forecast_print, one_cafe_is_told_day_by_day_and_why)
{
    char *text = print(OUTPUT_TEXT, one_site);
    expect_has(text, "Tue 3   3.21 kg  2.60 kg to 3.90 kg");
    expect_has(text, "closed");
    expect_has(text, "Used: the forecast; its error is smaller");
    expect_has(text, "45 of the last 56 days lay in their four-in-five range.");
    expect_72(text);
}

Test(forecast_print, csv_has_a_line_a_day_and_json_is_the_answer)
{
    char *csv = print(OUTPUT_CSV, one_site);
    expect_has(csv,
               "of,site,product,day,unit,value,low,high,smoothed,naive,used,error,naive_error");
    expect_has(csv, "grounds,quayside,,2026-03-03,g,3210,2600,3900,3210,3100,smoothed,410,580");
    expect_has(csv, "grounds,quayside,,2026-03-04,g,0,0,0,,,closed,410,580");
    expect_has(print(OUTPUT_JSON, one_site), "\"naive_error_g\":580");
}
