/* The prints of a plan. Numbers and dates are hand-worked out of tests/client/plan_view.h. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "client/plan/view_events.h"
#include "client/plan/view_print.h"
#include "client/show.h"
#include "tests/client/plan_view.h"

typedef void print_fn(const json_t *view, FILE *f);

__attribute__((noinline)) static char * /* gcc 12 at -O3 takes text for a local array */
printed(print_fn *print)
{
    char *text = NULL;
    size_t len = 0;
    json_t *view = plan_view_json();
    FILE *f = open_memstream(&text, &len);
    print(view, f);
    fclose(f);
    json_decref(view);
    return text;
}

static void
text_form(const json_t *view, FILE *f)
{
    view_print_text(view, false, f);
}

Test(plan, has_days_as_columns_within_72_columns)
{
    static const char want[] = "Kitchen plan 12, Fri 27 to Tue 31 March\n"
                               "         Fri 27      Sat 28      Sun 29      Mon 30      Tue 31\n"
                               "thaw     5 tubs      -           closed      -           -\n"
                               "mix      -           =liqueur,1              -           -\n"
                               "                      x2\n"
                               "strain   F2 B-39     F1 F2       F1 F2       F1          F1\n"
                               "bottle   -           B-39 5.2 l              =liqueur,1  -\n"
                               "                                              16.8 l\n"
                               "van      -           -                       harbour     -\n"
                               "Alcoholic, made on spirit: =liqueur,1.\n";
    char *text = printed(text_form);
    cr_expect(strncmp(text, want, sizeof want - 1) == 0, "%s", text);
    for (char *line = strtok(text, "\n"); line != NULL; line = strtok(NULL, "\n")) {
        cr_expect(show_width(line) <= 72, "%s", line);
        cr_expect(line[strlen(line) - 1] != ' ', "blanks at the end: %s", line);
    }
    free(text);
}

Test(plan, says_in_words_what_is_alcoholic_bought_and_lost)
{
    char *text = printed(text_form);
    cr_expect(strstr(text, "\nAlcoholic, made on spirit: =liqueur,1.\n") != NULL, "%s", text);
    cr_expect(strstr(text, "\nBuy by Sat 28 March: 12.00 kg of sugar.\n") != NULL, "%s", text);
    cr_expect(strstr(text, "\nWill be lost: 1 tub past their date, 3.10 kg.\n") != NULL, "%s",
              text);
    cr_expect(strstr(text, "\nAt most 1.1 % from the best possible.\n") != NULL, "%s", text);
    cr_expect(strstr(text, "1 thing was assumed: knockbox plan show") != NULL, "%s", text);
    free(text);
}

Test(plan, has_a_csv_line_an_event_and_no_formula)
{
    char *text = printed(view_print_csv);
    cr_expect(strncmp(text, "day,what,recipe,product,alcoholic,batch,station,until,run,", 58) == 0,
              "%s", text);
    cr_expect(strstr(text, "\r\n2026-03-27,thaw,\"'=liqueur,1\",liqueur,true,") != NULL, "%s",
              text);
    cr_expect(strstr(text, "\r\n2026-03-28,bottle,syrup-1,syrup,false,B-39,F2,") != NULL, "%s",
              text);
    cr_expect(strstr(text, ",harbour-2026-03-30,2026-03-30T09:15:00+01:00,quayside,6000,,"
                           "Q-0329-1; Q-0329-2\r\n") != NULL,
              "%s", text);
    cr_expect(strstr(text, ",=") == NULL && strstr(text, "\"=") == NULL, "%s", text);
    free(text);
}

Test(plan, has_a_page_that_runs_nothing_and_loads_nothing)
{
    static const char *const never[] = {"<script", "http:", "https:",   "url(",
                                        " src=",   "<link", "<b>1</b>", "@import"};
    char *text = printed(view_print_page);
    for (size_t i = 0; i < sizeof never / sizeof never[0]; i++)
        cr_expect(strstr(text, never[i]) == NULL, "%s", never[i]);
    cr_expect(strstr(text, "default-src 'none'") != NULL);
    cr_expect(strstr(text, "size:A4 landscape") != NULL);
    cr_expect(strstr(text, "&#60;script&#62;") != NULL);
    free(text);
}

Test(plan, has_a_picture_with_its_words_and_a_table_beneath)
{
    char *text = printed(view_print_page);
    char *picture = strstr(text, "<svg role=\"img\" aria-labelledby=\"t0 d0\"");
    char *table = strstr(text, "<table>");
    cr_assert(picture != NULL && table != NULL && picture < table);
    cr_expect(strstr(text, "<desc id=\"d0\">Fri 27: thaw 3 tubs; Fri 27: thaw 2 tubs; ") != NULL,
              "%s", picture);
    cr_expect(strstr(text, "Mon 30: bottle 16.8 l =liqueur,1 on F2; Mon 30: van harbour, 3; ") !=
              NULL);
    cr_expect(strstr(text, "<th scope=\"row\">Sun 29 March (closed)</th>") != NULL);
    cr_expect(strstr(text, "<td>harbour at 09:15: 3, 9.40 kg</td>") != NULL, "%s", table);
    cr_expect(strstr(text, "<td>B-39 syrup-1, 5.2 l from F2</td>") != NULL, "%s", table);
    free(text);
}

Test(plan, gives_events_the_same_names_in_every_plan)
{
    json_t *view = plan_view_json(), *events = view_events(view);
    static const char *const keys[] = {
        "thaw-2026-03-27-=liqueur,1-1",
        "thaw-2026-03-27-=liqueur,1-2",
        "strain-B-39",
        "mix-2026-03-28-=liqueur,1-1",
        "mix-2026-03-28-=liqueur,1-2",
        "strain-2026-03-28-=liqueur,1-1",
        "strain-2026-03-28-=liqueur,1-2",
        "bottle-B-39",
        "bottle-2026-03-30-=liqueur,1-1",
        "van-harbour-2026-03-30",
    };
    cr_assert(eq(sz, json_array_size(events), sizeof keys / sizeof keys[0]));
    for (size_t i = 0; i < sizeof keys / sizeof keys[0]; i++)
        cr_expect(eq(str, (char *)view_text(json_array_get(events, i), "key"), (char *)keys[i]));
    json_decref(events);
    json_decref(view);
}

Test(plan, of_nothing_says_so)
{
    json_t *view = json_pack("{s:i, s:[], s:[], s:[]}", "number", 1, "days", "lost", "buy");
    char *text = NULL;
    size_t len = 0;
    FILE *f = open_memstream(&text, &len);
    view_print_text(view, false, f);
    view_print_page(view, f);
    view_print_csv(view, f);
    fclose(f);
    cr_expect(strstr(text, "Nothing to do in these days.") != NULL, "%s", text);
    json_decref(view);
    free(text);
}
