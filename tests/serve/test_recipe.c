/* The word `recipe` over a small stock. Rules of the trade: common practice, no source. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <math.h>
#include <stdio.h>
#include <string.h>
#include "daemon/serve/alcohol.h"
#include "tests/serve/room.h"

static const char catalogue[] =
    "{'kind':'site','code':'kitchen','role':'kitchen','zone':'Europe/London','currency':'GBP',"
    "'joined':'2026-01-01','labour_minor_per_hour':1500}\n"
    "{'kind':'place','code':'kitchen-f1','for_site':'kitchen','class':'freezer'}\n"
    "{'kind':'coffee','code':'house-dark','notes':['chocolate','nut']}\n"
    "{'kind':'coffee','code':'single-light','notes':['orange','Chocolate']}\n"
    "{'kind':'product','code':'liqueur','name':'Second-pour coffee drink','class':'liqueur',"
    "'bottle_ml':500}\n"
    "{'kind':'product','code':'syrup','name':'Grounds syrup','class':'syrup','bottle_ml':500}\n"
    "{'kind':'product','code':'spirit-syrup','name':'Spirited syrup','class':'syrup',"
    "'bottle_ml':500}\n"
    "{'kind':'item','code':'spirit40','name':'Spirit','class':'spirit','abv_pct':'40'}\n"
    "{'kind':'item','code':'orange60','name':'Orange spirit','class':'spirit','abv_pct':'60',"
    "'notes':['orange']}\n"
    "{'kind':'item','code':'sugar','name':'Raw sugar','class':'sugar','dry':true}\n"
    "{'kind':'item','code':'honey','name':'Honey','class':'sugar','dry':false,"
    "'notes':['orange']}\n"
    "{'kind':'item','code':'brew','name':'Brew','class':'coffee','tds_pct':'1.3','pack_g':1000,"
    "'pack_minor':100,'currency':'GBP'}\n"
    "{'kind':'vessel','code':'v1','holds_ml':20000}\n"
    "{'kind':'recipe','code':'liqueur','product':'liqueur','parts':[{'input':'grounds','parts':"
    "'1'},{'input':'sugar','parts':'1'},{'input':'spirit40','parts':'1'},{'input':'brew',"
    "'parts':'2'}],'labour_min':60}\n"
    "{'kind':'recipe','code':'syrup','product':'syrup','parts':[{'input':'grounds','parts':'1'},"
    "{'input':'sugar','parts':'1'},{'input':'brew','parts':'1'}]}\n"
    "{'kind':'recipe','code':'honey-syrup','product':'syrup','parts':[{'input':'grounds','parts':"
    "'1'},{'input':'honey','parts':'1'},{'input':'brew','parts':'1'}]}\n"
    "{'kind':'recipe','code':'spirit-syrup','product':'spirit-syrup','parts':[{'input':'grounds',"
    "'parts':'1'},{'input':'sugar','parts':'1'},{'input':'spirit40','parts':'1'}]}";

/* Sugar 1 minor/g in the older lot and 2 in the newer; spirit 3. */
static const char stock[] =
    "{'kind':'supply','lot':'S-2','item':'sugar','supplier':'Mill','received':'2026-02-20',"
    "'mass_g':9000,'cost_minor':18000,'currency':'GBP','at':'2026-02-20T09:00:00+00:00'}\n"
    "{'kind':'supply','lot':'S-1','item':'sugar','supplier':'Mill','received':'2026-02-10',"
    "'mass_g':1500,'cost_minor':1500,'currency':'GBP','at':'2026-02-10T09:00:00+00:00'}\n"
    "{'kind':'supply','lot':'A-1','item':'spirit40','supplier':'Still','received':'2026-02-10',"
    "'mass_g':5000,'cost_minor':15000,'currency':'GBP','at':'2026-02-10T09:00:00+00:00'}\n"
    "{'kind':'supply','lot':'O-1','item':'orange60','supplier':'Still','received':'2026-02-10',"
    "'mass_g':5000,'cost_minor':15000,'currency':'GBP','at':'2026-02-10T09:00:00+00:00'}\n"
    "{'kind':'supply','lot':'H-1','item':'honey','supplier':'Bees','received':'2026-02-10',"
    "'mass_g':2000,'at':'2026-02-10T09:00:00+00:00'}\n"
    "{'kind':'tub','tub':'K-2','coffee':'single-light','origin':'espresso','gross_g':2180,"
    "'tare_g':180,'method':'weighed','first_knock':'2026-02-27T08:10:00+00:00','frozen':"
    "'2026-02-27T10:40:00+00:00','place':'kitchen-f1','at':'2026-02-27T10:40:00+00:00'}\n"
    "{'kind':'tub','tub':'K-1','coffee':'house-dark','origin':'espresso','gross_g':1180,"
    "'tare_g':180,'method':'weighed','first_knock':'2026-02-26T08:10:00+00:00','frozen':"
    "'2026-02-26T10:40:00+00:00','place':'kitchen-f1','at':'2026-02-26T10:40:00+00:00'}\n"
    "{'kind':'tub','tub':'K-3','coffee':'house-dark','origin':'espresso','gross_g':2680,"
    "'tare_g':180,'method':'weighed','first_knock':'2026-02-28T08:10:00+00:00','frozen':"
    "'2026-02-28T10:40:00+00:00','place':'kitchen-f1','at':'2026-02-28T10:40:00+00:00'}";

static struct room *
kitchen(void)
{
    struct room *room = room_new("kitchen", true);
    cr_assert(room_ask(room, "write", "mode=import", catalogue) == ERR_OK, "%s", room_why(room));
    cr_assert(room_ask(room, "write", "mode=import", stock) == ERR_OK, "%s", room_why(room));
    return room;
}

static const json_t *
ask(struct room *room, const char *args)
{
    cr_assert(room_ask(room, "recipe", args, NULL) == ERR_OK, "%s: %s", args, room_why(room));
    return room_answer(room);
}

static const json_t *
at(const json_t *answer, const char *list, size_t i)
{
    return json_array_get(json_object_get(answer, list), i);
}

static int64_t
whole(const json_t *object, const char *name)
{
    return json_integer_value(json_object_get(object, name));
}

static char *
text(const json_t *object, const char *name)
{
    return (char *)json_string_value(json_object_get(object, name));
}

static bool
yes(const json_t *object, const char *name)
{
    return json_object_get(object, name) == json_true();
}

static bool
not_so(const json_t *object, const char *name)
{
    return json_object_get(object, name) == json_false();
}

Test(recipe, the_card_of_a_kilogram_takes_no_tub)
{
    struct room *room = kitchen();
    const json_t *card = ask(room, "do=show code=liqueur");
    cr_assert(eq(i64, whole(card, "grounds_g"), 1000));
    cr_assert(eq(i64, whole(card, "total_g"), 5000));
    cr_assert(eq(sz, json_array_size(json_object_get(card, "tubs")), 0));
    cr_assert(yes(card, "alcoholic"));
    cr_assert(eq(str, text(card, "base"), "spirit and coffee"));
    cr_assert(eq(i64, whole(at(card, "parts", 3), "mass_g"), 2000));
    cr_assert(eq(str, text(at(card, "reminders", 0), "id"), "EU-LIQ-ABV"));
    cr_assert(fabs(json_number_value(json_object_get(card, "product_g")) - 3000) < 1e-6);
    room_free(room);
}

/* By hand: 1000 g sugar of S-1 at 1, 1000 g spirit at 3, 2000 g brew at 0.1 make 4200; an hour
 * makes 1500 more: GBP 57.00 over the litres of the card. */
Test(recipe, cost_follows_the_lots_and_the_hour)
{
    struct room *room = kitchen();
    const json_t *card = ask(room, "do=show code=liqueur"), *cost = json_object_get(card, "cost");
    double ml = json_number_value(json_object_get(card, "product_ml"));
    cr_assert(eq(i64, whole(cost, "ingredients_minor"), 4200));
    cr_assert(eq(i64, whole(cost, "labour_minor"), 1500));
    cr_assert(eq(str, text(cost, "total"), "GBP 57.00"));
    cr_assert(eq(i64, whole(cost, "per_bottle_minor"), llround(5700 * 500 / ml)));
    cr_assert(yes(cost, "complete"));
    room_free(room);
}

/* 20 l of vessel take 4 kg grounds in 1:1:1:2, so K-1 and K-2 and not K-3; 3000 g sugar are all
 * of S-1 and 1500 g of S-2, by hand 1500 + 3000. */
Test(recipe, scale_takes_whole_tubs_oldest_first_and_lots_oldest_first)
{
    struct room *room = kitchen();
    const json_t *card = ask(room, "do=scale code=liqueur"), *sugar = at(card, "parts", 1);
    cr_assert(eq(i64, whole(card, "grounds_g"), 3000));
    cr_assert(eq(str, text(at(card, "tubs", 0), "tub"), "K-1"));
    cr_assert(eq(str, text(at(card, "tubs", 1), "tub"), "K-2"));
    cr_assert(eq(sz, json_array_size(json_object_get(card, "tubs")), 2));
    cr_assert(eq(str, text(at(sugar, "lots", 0), "lot"), "S-1"));
    cr_assert(eq(i64, whole(at(sugar, "lots", 1), "take_g"), 1500));
    cr_assert(eq(i64, whole(sugar, "cost_minor"), 4500));
    cr_assert(eq(i64, whole(at(card, "parts", 3), "short_g"), 6000));
    room_free(room);
}

Test(recipe, scale_goes_by_given_tubs_and_by_wanted_product)
{
    struct room *room = kitchen();
    const json_t *card = ask(room, "do=scale code=syrup tubs=K-3,K-1");
    cr_assert(eq(i64, whole(card, "grounds_g"), 3500));
    card = ask(room, "do=scale code=liqueur product_g=4500");
    cr_assert(eq(i64, whole(card, "grounds_g"), 1500));
    cr_assert(eq(i64, whole(at(card, "tubs", 1), "take_g"), 500));
    card = ask(room, "do=scale code=liqueur grounds_g=9000");
    cr_assert(eq(i64, whole(at(card, "parts", 0), "short_g"), 3500));
    cr_assert(room_ask(room, "recipe", "do=scale code=syrup tubs=K-3,K-9", NULL) == ERR_INPUT);
    cr_assert(eq(str, (char *)room_field(room), "tubs"));
    cr_assert(room_ask(room, "recipe", "do=scale code=syrup tubs=K-1,K-1", NULL) == ERR_INPUT);
    cr_assert(room_ask(room, "recipe", "do=scale code=syrup tubs=K-1 grounds_g=5", NULL) ==
              ERR_USAGE);
    room_free(room);
}

Test(recipe, a_liquid_sweetener_is_refused_in_the_base_with_the_reason)
{
    static const char *const asked[] = {"do=show code=honey-syrup",
                                        "do=scale code=liqueur sugar=honey"};
    struct room *room = kitchen();
    for (size_t i = 0; i < 2; i++) {
        cr_assert(room_ask(room, "recipe", asked[i], NULL) == ERR_INPUT, "%s", asked[i]);
        cr_assert(eq(str, (char *)room_field(room), "sugar"));
        cr_assert_not_null(strstr(room_why(room), "brings its own water"));
    }
    room_free(room);
}

Test(recipe, parts_are_exchanged_within_their_class)
{
    struct room *room = kitchen();
    const json_t *card = ask(room, "do=scale code=liqueur grounds_g=1000 spirit=orange60");
    cr_assert(eq(str, text(at(card, "parts", 2), "input"), "orange60"));
    cr_assert(eq(str, text(at(card, "parts", 2), "in_place_of"), "spirit40"));
    cr_assert(json_number_value(json_object_get(card, "abv_pct")) > 14);
    cr_assert(room_ask(room, "recipe", "do=show code=liqueur spirit=sugar", NULL) == ERR_INPUT);
    cr_assert(room_ask(room, "recipe", "do=show code=liqueur spirit=nothing", NULL) == ERR_INPUT);
    cr_assert(room_ask(room, "recipe", "do=show code=liqeur", NULL) == ERR_INPUT);
    cr_assert_not_null(strstr(room_why(room), "did you mean liqueur"));
    room_free(room);
}

Test(recipe, a_syrup_on_coffee_keeps_less_long_and_how_long_is_the_sites_own)
{
    struct room *room = kitchen();
    const json_t *card = ask(room, "do=show code=syrup");
    cr_assert(yes(card, "keeps_less"));
    cr_assert(json_object_get(card, "keeps") == json_null());
    cr_assert_not_null(strstr(room_text(room), "syrup-coffee-keeps"));
    cr_assert(not_so(card, "alcoholic"));
    cr_assert(room_ask(room, "write", "mode=import",
                       "{'kind':'limits','code':'syrup-coffee-keeps','value':'21','unit':'d',"
                       "'comparator':'<=','source':'kitchen policy','dated':'2026-01-01'}") ==
                  ERR_OK,
              "%s", room_why(room));
    card = ask(room, "do=show code=syrup");
    cr_assert(eq(str, text(json_object_get(card, "keeps"), "value"), "21"));
    card = ask(room, "do=show code=spirit-syrup");
    cr_assert(not_so(card, "keeps_less"));
    cr_assert(yes(card, "alcoholic"));
    room_free(room);
}

static const json_t *
step(const json_t *card, const char *word)
{
    for (size_t i = 0; i < json_array_size(json_object_get(card, "steps")); i++)
        if (strcmp(text(at(card, "steps", i), "step"), word) == 0)
            return at(card, "steps", i);
    return NULL;
}

/* One batch of 1 kg: 2.4 kg product, dissolved in 300 s, 36 h of straining, two papers, 62 %. */
Test(recipe, own_records_take_the_place_of_usual_times)
{
    static const char batch[] =
        "{'kind':'mix','batch':'B-1','recipe':'liqueur','inputs':[{'tub':'K-1','mass_g':1000,"
        "'empty':true},{'lot':'S-1','mass_g':1000},{'lot':'A-1','mass_g':1000}],'vessel':'v1',"
        "'started':'2026-03-01T08:00:00+00:00','dissolved_s':300,'at':'2026-03-01T08:00:00+00:00'}"
        "\n{'kind':'strain','batch':'B-1','station':'f1','event':'start',"
        "'at':'2026-03-01T09:00:00+00:00'}\n"
        "{'kind':'strain','batch':'B-1','station':'f1','event':'paper-change',"
        "'at':'2026-03-01T19:00:00+00:00'}\n"
        "{'kind':'strain','batch':'B-1','station':'f1','event':'paper-change',"
        "'at':'2026-03-02T09:00:00+00:00'}\n"
        "{'kind':'strain','batch':'B-1','station':'f1','event':'end','product_g':2400,"
        "'residue_g':600,'at':'2026-03-02T21:00:00+00:00'}\n"
        "{'kind':'measure','batch':'B-1','of':'grounds','what':'dry-matter','value':'38',"
        "'unit':'%','method':'oven','at':'2026-03-01T08:00:00+00:00'}";
    struct room *room = kitchen();
    const json_t *card = ask(room, "do=show code=liqueur");
    cr_assert(eq(str, text(step(card, "strain"), "time"), "a day or two"));
    cr_assert(eq(str, text(step(card, "strain"), "source"), "common practice, no source"));
    cr_assert(room_ask(room, "write", "mode=import", batch) == ERR_OK, "%s", room_why(room));
    card = ask(room, "do=show code=liqueur");
    cr_assert(eq(str, text(step(card, "dissolve"), "time"), "5 min"));
    cr_assert(eq(str, text(step(card, "strain"), "time"), "36 h"));
    cr_assert(eq(str, text(step(card, "paper"), "time"), "2.0 changes a batch"));
    cr_assert(eq(i64, whole(step(card, "strain"), "batches"), 1));
    cr_assert(eq(i64, whole(card, "yield_batches"), 1));
    double yield = json_number_value(json_object_get(card, "yield_g_per_kg"));
    cr_assert(yield > 2500 && yield < 3000, "%g", yield);
    double moisture = json_number_value(json_object_get(at(card, "parts", 0), "moisture_pct"));
    cr_assert(fabs(moisture - 62) < 1e-9);
    room_free(room);
}

Test(recipe, suggest_counts_notes_of_what_is_in_stock_in_a_fixed_order)
{
    struct room *room = kitchen();
    const json_t *suits = ask(room, "do=suggest notes=chocolate,orange");
    cr_assert(eq(str, text(at(suits, "grounds", 0), "code"), "single-light"));
    cr_assert(eq(i64, whole(at(suits, "grounds", 0), "matches"), 2));
    cr_assert(eq(i64, whole(at(suits, "grounds", 0), "left_g"), 2000));
    cr_assert(eq(str, text(at(suits, "grounds", 1), "code"), "house-dark"));
    cr_assert(eq(i64, whole(at(suits, "grounds", 1), "left_g"), 3500));
    cr_assert(eq(i64, whole(at(suits, "grounds", 1), "tubs"), 2));
    cr_assert(eq(str, text(at(suits, "spirit", 0), "code"), "orange60"));
    cr_assert(eq(sz, json_array_size(json_object_get(suits, "sugar")), 0));
    cr_assert(eq(str, text(at(suits, "not_for_the_base", 0), "code"), "honey"));
    cr_assert(eq(i64, whole(json_object_get(suits, "others"), "spirit"), 1));
    cr_assert(room_ask(room, "recipe", "do=suggest", NULL) == ERR_INPUT);
    cr_assert(room_ask(room, "recipe", "do=suggest notes=,", NULL) == ERR_INPUT);
    room_free(room);
}

Test(recipe, what_aims_higher_is_told_what_to_weigh_or_why_not)
{
    struct room *room = kitchen();
    const json_t *card = ask(room, "do=show code=liqueur target_abv_pct=15");
    cr_assert(yes(json_object_get(card, "target"), "reached"));
    card = ask(room, "do=show code=liqueur target_abv_pct=39");
    const json_t *target = json_object_get(card, "target");
    cr_assert(not_so(target, "reached"));
    cr_assert_not_null(text(target, "why"));
    cr_assert(room_ask(room, "recipe", "do=show code=liqueur target_abv_pct=nan", NULL) ==
              ERR_INPUT);
    cr_assert(room_ask(room, "recipe", "do=show code=liqueur market=moon", NULL) == ERR_INPUT);
    cr_assert(room_ask(room, "recipe", "do=show code=liqueur vessel=none", NULL) == ERR_INPUT);
    room_free(room);
}

Test(recipe, baristas_do_not_see_costs)
{
    struct room *room = kitchen();
    room_roles(room, ROLE_BIT_BARISTA | ROLE_BIT_DRIVER);
    cr_assert(room_ask(room, "recipe", "do=show code=liqueur", NULL) == ERR_DENIED);
    room_free(room);
}

/* A batch of spirited syrup that is bottled, another on coffee that steeps. */
Test(recipe, what_is_made_on_spirit_is_marked_in_stock_and_in_orders)
{
    static const char made[] =
        "{'kind':'mix','batch':'B-1','recipe':'spirit-syrup','inputs':[{'tub':'K-1','mass_g':1000,"
        "'empty':true},{'lot':'S-1','mass_g':1000},{'lot':'A-1','mass_g':1000}],'vessel':'v1',"
        "'started':'2026-03-01T08:00:00+00:00','at':'2026-03-01T08:00:00+00:00'}\n"
        "{'kind':'bottle','batch':'B-1','lot':'L-1','bottle_ml':500,'count':3,"
        "'at':'2026-03-02T21:00:00+00:00'}\n"
        "{'kind':'mix','batch':'B-2','recipe':'syrup','inputs':[{'tub':'K-2','mass_g':1000}],"
        "'vessel':'v1','started':'2026-03-01T08:00:00+00:00','at':'2026-03-01T08:00:00+00:00'}";
    struct room *room = kitchen();
    cr_assert(room_ask(room, "write", "mode=import", made) == ERR_OK, "%s", room_why(room));
    cr_assert(room_ask(room, "stock", "", NULL) == ERR_OK, "%s", room_why(room));
    cr_assert(yes(at(room_answer(room), "bottles", 0), "alcoholic"));
    cr_assert(not_so(at(room_answer(room), "batches", 0), "alcoholic"));
    cr_assert(room_ask(room, "write", "mode=log",
                       "{'kind':'order','product':'spirit-syrup','count':6,'due':'2026-03-20'}") ==
                  ERR_OK,
              "%s", room_why(room));
    cr_assert(yes(at(room_answer(room), "records", 0), "alcoholic"));
    cr_assert(room_ask(room, "write", "mode=log",
                       "{'kind':'order','product':'syrup','count':6,'due':'2026-03-20'}") ==
              ERR_OK);
    cr_assert(not(yes(at(room_answer(room), "records", 0), "alcoholic")));
    room_free(room);
}

Test(recipe, a_plan_marks_batches_on_spirit)
{
    struct room *room = kitchen();
    json_t *view = json_loads("{\"days\":[{\"mix\":[{\"recipe\":\"syrup\"},"
                              "{\"recipe\":\"liqueur\"}],\"bottle\":[{\"recipe\":\"gone\"}]}]}",
                              0, NULL);
    (void)ask(room, "do=show code=syrup"); /* the books are caught up */
    alcohol_mark_plan(ledger_catalogue(room_ledger(room)), view, 20515);
    const json_t *day = at(view, "days", 0);
    cr_assert(not_so(at(day, "mix", 0), "alcoholic"));
    cr_assert(yes(at(day, "mix", 1), "alcoholic"));
    cr_assert(not_so(at(day, "bottle", 0), "alcoholic"));
    json_decref(view);
    room_free(room);
}

/* A file may say what was done; a person is asked again, and may insist. */
Test(recipe, a_person_who_writes_a_liquid_base_is_asked_again)
{
    static const char recipe[] =
        "{'kind':'recipe','code':'new','product':'syrup','parts':[{'input':'grounds','parts':'1'},"
        "{'input':'honey','parts':'1'}]}";
    static const char mix[] =
        "{'kind':'mix','batch':'B-9','recipe':'syrup','inputs':[{'tub':'K-1','mass_g':500},"
        "{'lot':'H-1','mass_g':500}],'vessel':'v1','started':'2026-03-01T08:00:00+00:00'}";
    struct room *room = kitchen();
    cr_assert(room_ask(room, "write", "mode=log", recipe) == ERR_INPUT);
    cr_assert_not_null(strstr(room_why(room), "brings its own water"));
    cr_assert(room_ask(room, "write", "mode=log", mix) == ERR_INPUT);
    cr_assert(eq(str, (char *)room_field(room), "inputs"));
    cr_assert(room_ask(room, "write", "mode=log force=1", mix) == ERR_OK, "%s", room_why(room));
    room_free(room);
}
