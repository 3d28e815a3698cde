/* The card of the recipe book for people: 72 columns, no blanks at an end; common practice. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "client/recipe_print.h"
#include "client/show.h"

static const char card[] =
    "{'recipe':'liqueur','name':'Second-pour coffee drink','size_by':'the tubs at hand',"
    "'grounds_g':3104,'alcoholic':true,'base':'spirit and coffee','parts':[{'input':'grounds',"
    "'parts':1.0,'mass_g':3104,'lots':[],'short_g':0},{'input':'sugar','parts':1.5,'mass_g':850,"
    "'lots':[{'lot':'S-1','take_g':400},{'lot':'a-lot-with-a-very-long-name-indeed-2026',"
    "'take_g':400}],'short_g':50}],'tubs':[{'tub':'K-1','coffee':'house-dark','take_g':104,"
    "'net_g':3104,'use_by':'2026-03-26'}],'product_g':9312.4,'product_ml':8600.2,"
    "'yield_g_per_kg':3000.0,'yield_source':'common practice, no source','abv_pct':9.88,"
    "'sugar_g_per_l':234.0,'invert_g_per_l':246.0,'low':{'product_ml':8000.0,'abv_pct':9.7,"
    "'sugar_g_per_l':231.0},'high':{'product_ml':9100.0,'abv_pct':10.2,'sugar_g_per_l':241.0},"
    "'valid':true,'bottle_ml':500,'bottles':17,'cost':{'currency':'JPY','ingredients_minor':1200,"
    "'labour_minor':null,'total':'JPY 1200','per_bottle':'JPY 70','not_priced':['labour']},"
    "'target':null,'steps':[{'step':'strain','text':'Strain through paper','time':'36 h',"
    "'source':'own records, mean','batches':1}],'reminders':[{'id':'EU-LIQ-ABV','text':'liqueur "
    "minimum strength (EU): >= 15 % vol','source':'Reg (EU) 2019/787 Annex I category 33'}],"
    "'assumed':['The grounds hold 55 to 65 % water.'],'cautions':['Estimates for planning.']}";

static const char suits[] =
    "{'notes':['chocolate','orange'],'grounds':[{'code':'single-light','matches':2,'matched':"
    "['chocolate','orange'],'left_g':2000}],'not_for_the_base':[{'code':'honey','matches':1,"
    "'matched':['orange'],'left_g':900}],'why_not_for_the_base':'it brings its own water'}";

/* Yours. */
static char *
printed(const char *text, void (*print)(struct writer *writer, json_t *answer))
{
    char *out = NULL, *json = strdup(text);
    size_t len = 0;
    struct writer writer;
    for (char *c = json; *c != '\0'; c++)
        *c = *c == '\'' ? '"' : *c;
    json_t *answer = json_loads(json, 0, NULL);
    cr_assert_not_null(answer);
    FILE *f = open_memstream(&out, &len);
    writer_init(&writer, OUTPUT_TEXT, f);
    print(&writer, answer);
    (void)fclose(f);
    json_decref(answer);
    free(json);
    return out;
}

static void
expect_narrow(char *text)
{
    char *save = NULL;
    for (char *line = strtok_r(text, "\n", &save); line != NULL; line = strtok_r(NULL, "\n", &save))
        cr_assert(show_width(line) <= TEXT_WIDTH, "%s", line);
}

Test(recipe, the_card_says_what_to_weigh_to_the_gram)
{
    static const char *const said[] = {
        "ALCOHOLIC: made on spirit and coffee.",
        "liqueur, 3.104 kg grounds",
        "850 g",
        "missing",
        "104 g of 3.104 kg",
        "9.9 % vol (9.7 to 10.2), an estimate",
        "JPY 70 a bottle",
        "labour not known",
        "36 h (own records, mean of 1 batch).",
        "EU-LIQ-ABV",
        "17 of 500 ml",
        "26 Mar",
    };
    char *text = printed(card, recipe_print_card);
    for (size_t i = 0; i < sizeof said / sizeof said[0]; i++)
        cr_assert(strstr(text, said[i]) != NULL, "%s", said[i]);
    expect_narrow(text);
    free(text);
}

Test(recipe, what_suits_is_listed_with_its_notes_and_liquid_ones_apart)
{
    char *text = printed(suits, recipe_print_suits);
    cr_assert_not_null(strstr(text, "In stock for chocolate; orange"));
    cr_assert_not_null(strstr(text, "single-light"));
    cr_assert_not_null(strstr(text, "liquid: it brings its own water."));
    expect_narrow(text);
    free(text);
}
