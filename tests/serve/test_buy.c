/* What a plan lacks, what to order by when, and what recipes give. Worked by hand out of the lines
 * below; common practice, no source. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdio.h>
#include <string.h>
#include "tests/serve/room.h"

/* Tuesday 3 March. Sugar in packs of 10 kg, two working days from order to delivery. */
static const char kitchen[] =
    "{'kind':'product','code':'syrup','name':'Grounds syrup','class':'syrup','bottle_ml':500,"
    "'shelf_d':90}\n"
    "{'kind':'item','code':'sugar','name':'Sugar','class':'sugar','pack_g':10000,'pack_minor':900,"
    "'currency':'GBP','lead_d':2,'supplier':'Mill'}\n"
    "{'kind':'recipe','code':'syrup-1','product':'syrup','parts':[{'input':'grounds','parts':'1'},"
    "{'input':'sugar','parts':'1'}],'grounds_min_g':2000,'grounds_max_g':8000,'strain_days':1,"
    "'yield_ml_per_kg':1300,'labour_min':60}\n"
    "{'kind':'price','product':'syrup','bottle_ml':500,'currency':'GBP','list_minor':800,"
    "'transfer_minor':500,'from':'2026-01-01'}\n"
    "{'kind':'station','code':'F1','class':'filter'}\n"
    "{'kind':'vessel','code':'V1','holds_ml':30000}";

static void
put(struct room *room, const char *lines)
{
    cr_assert(room_ask(room, "write", "mode=import", lines) == ERR_OK, "%s", room_why(room));
}

/* Tubs of 3 kg that the kitchen has had since Monday. */
static void
put_tub(struct room *room, const char *tub)
{
    char line[900];
    (void)snprintf(line, sizeof line,
                   "{'kind':'tub','tub':'%s','coffee':'house-dark','origin':'espresso',"
                   "'gross_g':3180,'tare_g':180,'method':'weighed',"
                   "'first_knock':'2026-03-02T18:10:00+00:00','frozen':'2026-03-02T21:40:00+00:00',"
                   "'place':'quayside-f1','at':'2026-03-02T21:40:00+00:00','site':'quayside'}\n"
                   "{'kind':'receive','place':'kitchen-f1','tubs':[{'tub':'%s','gross_g':3180,"
                   "'accepted':true}],'at':'2026-03-03T09:00:00+00:00'}",
                   tub, tub);
    put(room, line);
}

static struct room *
kitchen_room(void)
{
    struct room *room = room_new("kitchen", true);
    put(room, saltmere_catalogue);
    put(room, kitchen);
    put_tub(room, "K-1");
    put_tub(room, "K-2");
    put_tub(room, "K-3");
    put_tub(room, "K-4");
    return room;
}

static void
make(struct room *room)
{
    cr_assert(room_ask(room, "plan", "do=make", NULL) == ERR_OK, "%s", room_why(room));
}

static const json_t *
at(struct room *room, const char *list, size_t i)
{
    const json_t *one = json_array_get(json_object_get(room_answer(room), list), i);
    cr_assert(one != NULL, "no %s %zu in %s", list, i, room_text(room));
    return one;
}

static const char *
text(const json_t *object, const char *name)
{
    const char *value = json_string_value(json_object_get(object, name));
    return value != NULL ? value : "";
}

static json_int_t
number(const json_t *object, const char *name)
{
    return json_integer_value(json_object_get(object, name));
}

static size_t
to_buy(struct room *room)
{
    return json_array_size(json_object_get(room_answer(room), "buy"));
}

/* Ordered today it comes on Thursday and serves Friday's batches: the first that can be. */
Test(buy_word, what_lacks_is_ordered_in_time_and_in_whole_packs)
{
    struct room *room = kitchen_room();
    make(room);
    cr_assert(eq(sz, to_buy(room), 1));
    const json_t *sugar = at(room, "buy", 0), *need = at(room, "needs", 0);
    cr_assert(eq(str, (char *)text(sugar, "item"), "sugar"));
    cr_assert(eq(str, (char *)text(sugar, "by"), "2026-03-03"), "%s", room_text(room));
    cr_assert(eq(str, (char *)text(sugar, "arrives"), "2026-03-05"));
    cr_assert(eq(str, (char *)text(sugar, "for_day"), "2026-03-06"));
    cr_assert(eq(str, (char *)text(sugar, "supplier"), "Mill"));
    cr_assert(json_object_get(sugar, "late") == json_false());
    cr_assert(eq(i64, number(sugar, "lack_g"), 12000)); /* four tubs in all */
    cr_assert(eq(i64, number(sugar, "packs"), 2));
    cr_assert(eq(i64, number(sugar, "mass_g"), 20000));
    cr_assert(eq(i64, number(sugar, "cost_minor"), 1800));
    cr_assert(eq(i64, number(need, "use_g"), 12000));
    cr_assert(eq(i64, number(need, "stock_g"), 0));
    room_free(room);
}

Test(buy_word, what_is_under_way_is_not_ordered_again)
{
    struct room *room = kitchen_room();
    put(room, "{'kind':'purchase','purchase':'PO-1','item':'sugar','mass_g':20000,"
              "'due':'2026-03-04','at':'2026-03-02T09:00:00+00:00'}");
    make(room);
    cr_assert(eq(sz, to_buy(room), 0), "%s", room_text(room));
    cr_assert(eq(i64, number(at(room, "needs", 0), "coming_g"), 20000));
    const json_t *day = json_array_get(json_object_get(at(room, "needs", 0), "days"), 0);
    cr_assert(eq(str, (char *)text(day, "day"), "2026-03-05")); /* serves from Thursday on */
    /* It came, a little less of it. */
    put(room, "{'kind':'supply','lot':'S-1','item':'sugar','supplier':'Mill','received':"
              "'2026-03-03','mass_g':10000,'purchase':'PO-1','at':'2026-03-03T12:00:00+00:00'}");
    make(room);
    cr_assert(eq(i64, number(at(room, "needs", 0), "coming_g"), 0));
    cr_assert(eq(i64, number(at(room, "needs", 0), "stock_g"), 10000));
    cr_assert(eq(sz, to_buy(room), 1), "%s", room_text(room));
    cr_assert(eq(i64, number(at(room, "buy", 0), "lack_g"), 2000));
    cr_assert(eq(i64, number(at(room, "buy", 0), "packs"), 1));
    room_free(room);
}

Test(buy_word, a_week_past_its_day_nobody_waits_for_it)
{
    struct room *room = kitchen_room();
    put(room, "{'kind':'purchase','purchase':'PO-1','item':'sugar','mass_g':20000,"
              "'due':'2026-02-23','at':'2026-02-20T09:00:00+00:00'}");
    make(room);
    cr_assert(eq(sz, to_buy(room), 1));
    put(room, "{'kind':'purchase','purchase':'PO-2','item':'sugar','mass_g':20000,"
              "'due':'2026-02-24','at':'2026-02-20T09:00:00+00:00'}");
    make(room);
    cr_assert(eq(sz, to_buy(room), 0), "%s", room_text(room));
    room_free(room);
}

Test(buy_word, where_it_is_ordered_on_fridays_only_batches_wait_for_it)
{
    struct room *room = kitchen_room();
    put(room, "{'kind':'item','code':'sugar','name':'Sugar','class':'sugar','pack_g':10000,"
              "'pack_minor':900,'currency':'GBP','lead_d':2,'order_weekdays':[5],"
              "'from':'2026-03-01'}");
    make(room);
    const json_t *sugar = at(room, "buy", 0);
    cr_assert(eq(str, (char *)text(sugar, "by"), "2026-03-06"), "%s", room_text(room));
    cr_assert(eq(str, (char *)text(sugar, "arrives"), "2026-03-09")); /* Saturday, Monday */
    cr_assert(eq(str, (char *)text(sugar, "for_day"), "2026-03-10"));
    room_free(room);
}

/* Nobody writes the order down: the next day it is taken as ordered, and the day after too, until
 * sugar is received. */
Test(buy_word, what_the_published_plan_said_is_taken_as_ordered)
{
    struct room *room = kitchen_room();
    make(room);
    cr_assert(eq(str, (char *)text(at(room, "buy", 0), "by"), "2026-03-03"));
    cr_assert(room_ask(room, "plan", "do=publish", NULL) == ERR_OK, "%s", room_why(room));
    static const char *const days[] = {"2026-03-04T07:00:00Z", "2026-03-05T07:00:00Z"};
    for (size_t i = 0; i < 2; i++) {
        room_now(room, days[i]);
        make(room);
        cr_assert(eq(sz, to_buy(room), 0), "%s", room_text(room));
        cr_assert(eq(i64, number(at(room, "coming", 0), "mass_g"), 20000));
        cr_assert(eq(str, (char *)text(at(room, "coming", 0), "arrives"), "2026-03-05"));
        cr_assert(strstr(room_text(room), "20.00 kg of sugar are under way") != NULL);
        cr_assert(room_ask(room, "plan", "do=publish", NULL) == ERR_OK, "%s", room_why(room));
    }
    room_now(room, "2026-03-06T07:00:00Z");
    put(room, "{'kind':'supply','lot':'S-1','item':'sugar','supplier':'Mill','received':"
              "'2026-03-05','mass_g':5000,'at':'2026-03-05T12:00:00+00:00'}");
    make(room);
    cr_assert(eq(sz, json_array_size(json_object_get(room_answer(room), "coming")), 0), "%s",
              room_text(room));
    cr_assert(eq(i64, number(at(room, "needs", 0), "stock_g"), 5000));
    room_free(room);
}

/* ---- yields */

static void
put_batch(struct room *room, int number_, int product_ml)
{
    char line[900];
    (void)snprintf(
        line, sizeof line,
        "{'kind':'mix','batch':'B-%d','recipe':'syrup-1','inputs':[{'tub':'K-%d','mass_g':3000,"
        "'empty':true},{'lot':'S-1','mass_g':3000}],'vessel':'V1',"
        "'started':'2026-03-03T10:0%d:00+00:00','at':'2026-03-03T10:0%d:00+00:00'}\n"
        "{'kind':'strain','batch':'B-%d','station':'F1','event':'end','product_ml':%d,"
        "'residue_g':1500,'at':'2026-03-03T15:00:00+00:00'}\n"
        "{'kind':'bottle','batch':'B-%d','lot':'L-%d','bottle_ml':500,'count':7,"
        "'at':'2026-03-03T16:00:00+00:00'}",
        number_, number_, number_, number_, number_, product_ml, number_, number_);
    put(room, line);
}

static const json_t *
yield_now(struct room *room)
{
    cr_assert(room_ask(room, "plan", "do=make", NULL) == ERR_OK, "%s", room_why(room));
    return at(room, "yields", 0);
}

Test(buy_word, own_batches_move_what_a_recipe_is_expected_to_give)
{
    struct room *room = kitchen_room();
    const json_t *yield = yield_now(room);
    cr_assert(eq(i64, number(yield, "ml_per_kg"), 1300)); /* the catalogue's word */
    cr_assert(eq(i64, number(yield, "batches"), 0));
    json_int_t wide = number(yield, "high_ml_per_kg") - number(yield, "low_ml_per_kg");
    cr_assert(number(yield, "low_ml_per_kg") < 1300 && number(yield, "high_ml_per_kg") > 1300);
    put(room, "{'kind':'supply','lot':'S-1','item':'sugar','supplier':'Mill','received':"
              "'2026-03-03','mass_g':20000,'at':'2026-03-03T08:00:00+00:00'}");
    for (int i = 1; i <= 3; i++)
        put_batch(room, i, 3450); /* 1150 ml a kg */
    yield = yield_now(room);
    /* three of its own and four as the catalogue says: (3 x 1150 + 4 x 1300) / 7 = 1236 */
    cr_assert(eq(i64, number(yield, "ml_per_kg"), 1236), "%s", room_text(room));
    cr_assert(eq(i64, number(yield, "batches"), 3));
    cr_assert(number(yield, "high_ml_per_kg") - number(yield, "low_ml_per_kg") < wide);
    const json_t *days = json_object_get(room_answer(room), "days");
    for (size_t d = 0; d < json_array_size(days); d++) { /* and the plan counts on it */
        const json_t *mix = json_object_get(json_array_get(days, d), "mix");
        for (size_t i = 0; i < json_array_size(mix); i++)
            cr_assert(eq(i64, number(json_array_get(mix, i), "ml"),
                         number(json_array_get(mix, i), "grounds_g") * 1236 / 1000));
    }
    room_free(room);
}
