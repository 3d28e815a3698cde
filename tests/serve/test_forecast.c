/* The forecast word, and the plan's problem that rests on it: made-up cafés of which the truth is
 * known. Bounds are judgement, no source. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/plan/problem_file.h"
#include "proto/when.h"
#include "tests/serve/room.h"

enum {
    WEEKS = 12,
    LINE = 400
};

static const int week_g[7] = {2000, 2100, 2300, 2500, 3100, 4000, 1500}; /* Monday first */

static const char kitchen[] =
    "{'kind':'product','code':'syrup','name':'Grounds syrup','class':'syrup','bottle_ml':500,"
    "'shelf_d':90}\n"
    "{'kind':'recipe','code':'syrup-1','product':'syrup','parts':[{'input':'grounds','parts':'1'},"
    "{'input':'sugar','parts':'1'}]}\n"
    "{'kind':'item','code':'sugar','name':'Sugar','class':'sugar','pack_g':10000,'pack_minor':900,"
    "'currency':'GBP'}\n"
    "{'kind':'price','product':'syrup','bottle_ml':500,'currency':'GBP','list_minor':800,"
    "'transfer_minor':500,'from':'2025-01-01'}\n"
    "{'kind':'route','code':'harbour','stops':['quayside','mole'],'weekdays':[1,4]}\n"
    "{'kind':'site','code':'mole','role':'cafe','zone':'Europe/London','currency':'GBP',"
    "'joined':'2025-11-01'}\n"
    "{'kind':'site','code':'quayside','role':'cafe','zone':'Europe/London','currency':'GBP',"
    "'joined':'2025-11-01','day_start':'04:00','from':'2025-11-01'}\n"
    "{'kind':'calendar','for_site':'quayside','day':'2026-03-05','open':false,'reason':'"
    "stocktaking'}";

/* 12 weeks up to Monday 2 March, the clock standing at Tuesday 3 March. */
struct book {
    char *text;
    size_t len;
    FILE *f;
};

__attribute__((format(printf, 2, 3))) static void
put(struct book *book, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    if (ftell(book->f) > 0)
        (void)fputc('\n', book->f);
    (void)vfprintf(book->f, format, args);
    va_end(args);
}

/* A tub of so much at a café on a day, and its close. */
static void
put_day(struct book *book, const char *site, int32_t day, int grams, bool close)
{
    char text[DAY_TEXT];
    (void)day_print(day, text);
    if (grams > 0)
        put(book,
            "{'kind':'tub','tub':'%s-%s','coffee':'house-dark','origin':'espresso','gross_g':%d,"
            "'tare_g':180,'method':'weighed','first_knock':'%sT09:00:00+00:00',"
            "'frozen':'%sT10:30:00+00:00','place':'%s-f1','at':'%sT10:30:00+00:00','site':'%s'}",
            site, text, grams + 180, text, text, site, text, site);
    if (close)
        put(book,
            "{'kind':'close','day':'%s','nothing_kept':%s,'site':'%s','at':'%sT21:00:00+00:00'}",
            text, grams > 0 ? "false" : "true", site, text);
}

static void
put_sale(struct book *book, const char *site, int32_t day, int bottles)
{
    char text[DAY_TEXT];
    if (bottles > 0)
        put(book,
            "{'kind':'sale','product':'syrup','bottle_ml':500,'count':%d,'unit_minor':800,"
            "'currency':'GBP','site':'%s','at':'%sT20:00:00+00:00'}",
            bottles, site, day_print(day, text));
}

static int32_t
today(void)
{
    return day_make(2026, 3, 3);
}

/* Up or down by up to a tenth, the same each time. */
static int
about(int value, int32_t day)
{
    static const int tenths[] = {97, 108, 92, 103, 110, 95, 99, 90, 105, 101, 94};
    return value * tenths[(uint32_t)day % 11] / 100;
}

static void
write_book(struct room *room, struct book *book)
{
    (void)fclose(book->f);
    cr_assert(room_ask(room, "write", "mode=import", book->text) == ERR_OK, "%s", room_why(room));
    free(book->text);
}

static struct room *
cafes(void)
{
    struct room *room = room_new("kitchen", true);
    struct book book;
    book.f = open_memstream(&book.text, &book.len);
    cr_assert(room_ask(room, "write", "mode=import", saltmere_catalogue) == ERR_OK, "%s",
              room_why(room));
    cr_assert(room_ask(room, "write", "mode=import", kitchen) == ERR_OK, "%s", room_why(room));
    for (int32_t day = today() - 7 * WEEKS; day < today(); day++) {
        int usual = week_g[day_weekday(day) - 1];
        put_day(&book, "quayside", day, about(usual, day), true);
        if (day % 5 != 0) /* every fifth day nobody closed */
            put_day(&book, "mole", day, about(usual / 2, day + 3), true);
        put_sale(&book, "quayside", day, about(usual, day + 5) / 500);
    }
    write_book(room, &book);
    return room;
}

/* The series of a site among the grounds (or of the sum: site NULL). */
static const json_t *
series_of(struct room *room, const char *list, const char *site)
{
    const json_t *all = json_object_get(room_answer(room), list);
    for (size_t i = 0; i < json_array_size(all); i++) {
        const json_t *one = json_array_get(all, i);
        const char *name = json_string_value(json_object_get(one, "site"));
        if ((name == NULL) == (site == NULL) && (site == NULL || strcmp(name, site) == 0))
            return one;
    }
    cr_assert(false, "no series in %s", room_text(room));
    return NULL;
}

static json_int_t
number(const json_t *object, const char *name)
{
    const json_t *value = json_object_get(object, name);
    cr_assert(value != NULL && json_typeof(value) == JSON_INTEGER, "%s", name);
    return json_integer_value(value);
}

static const json_t *
day_at(const json_t *series, size_t i)
{
    return json_array_get(json_object_get(series, "days"), i);
}

Test(forecast_word, it_knows_weekdays_closed_days_and_beats_last_week)
{
    struct room *room = cafes();
    cr_assert(room_ask(room, "forecast", "", NULL) == ERR_OK, "%s", room_why(room));
    const json_t *quayside = series_of(room, "grounds", "quayside");
    cr_assert(eq(str, (char *)json_string_value(json_object_get(quayside, "used")), "smoothed"));
    cr_assert(eq(i64, number(quayside, "scored"), 56));
    cr_assert(number(quayside, "error_g") < number(quayside, "naive_error_g"));
    const json_t *saturday = day_at(quayside, 4), *thursday = day_at(quayside, 2);
    cr_assert(number(saturday, "value_g") > 3700 && number(saturday, "value_g") < 4300);
    cr_assert(number(saturday, "low_g") < number(saturday, "value_g"));
    cr_assert(eq(i64, number(thursday, "value_g"), 0)); /* stocktaking, 5 March */
    cr_assert(eq(str, (char *)json_string_value(json_object_get(thursday, "used")), "closed"));
    /* Missing days are no zeros: half of Quayside, not two fifths. */
    const json_t *mole = series_of(room, "grounds", "mole");
    cr_assert(number(day_at(mole, 4), "value_g") > 1850 &&
                  number(day_at(mole, 4), "value_g") < 2200,
              "%s", room_text(room));
    cr_assert(number(mole, "scored") < 56);
    const json_t *sum = series_of(room, "grounds", NULL);
    json_int_t apart =
        number(sum, "total_g") - number(quayside, "total_g") - number(mole, "total_g");
    cr_assert(apart >= -1 && apart <= 1); /* rounded each by itself */
    room_free(room);
}

Test(forecast_word, sales_are_volumes_of_each_product)
{
    struct room *room = cafes();
    cr_assert(room_ask(room, "forecast", "product=syrup days=7", NULL) == ERR_OK, "%s",
              room_why(room));
    const json_t *one = series_of(room, "sales", "quayside");
    cr_assert(eq(sz, json_array_size(json_object_get(one, "days")), 7));
    json_int_t saturday = number(day_at(one, 4), "value_ml");
    cr_assert(saturday > 3400 && saturday < 4300, "%lld", (long long)saturday); /* 7 or 8 bottles */
    cr_assert(eq(sz, json_array_size(json_object_get(room_answer(room), "grounds")), 0));
    cr_assert(room_ask(room, "forecast", "site=mole", NULL) == ERR_OK, "%s", room_why(room));
    cr_assert(eq(sz, json_array_size(json_object_get(room_answer(room), "grounds")), 1));
    cr_assert(eq(sz, json_array_size(json_object_get(room_answer(room), "sales")), 0));
    room_free(room);
}

/* Two sales by lot, whose bottles of 250 ml the lot knows: 3 x 250 ml on Sunday, 2 on Monday. */
Test(forecast_word, a_sale_by_lot_counts_by_the_bottles_of_the_lot)
{
    struct room *room = room_new("kitchen", true);
    cr_assert(room_ask(room, "write", "mode=import", saltmere_catalogue) == ERR_OK);
    cr_assert(room_ask(room, "write", "mode=import", kitchen) == ERR_OK);
    cr_assert(room_ask(room, "write", "mode=import",
                       "{'kind':'mix','batch':'B-1','recipe':'syrup-1','inputs':[{'tub':'X-1',"
                       "'mass_g':1000}],'vessel':'V1','started':'2026-02-20T08:00:00+00:00',"
                       "'at':'2026-02-20T08:00:00+00:00'}\n"
                       "{'kind':'bottle','batch':'B-1','lot':'L-1','bottle_ml':250,'count':9,"
                       "'at':'2026-02-22T08:00:00+00:00'}\n"
                       "{'kind':'sale','lot':'L-1','count':3,'unit_minor':500,'currency':'GBP',"
                       "'site':'quayside','at':'2026-03-01T15:00:00+00:00'}\n"
                       "{'kind':'sale','lot':'L-1','count':2,'unit_minor':500,'currency':'GBP',"
                       "'site':'quayside','at':'2026-03-02T15:00:00+00:00'}") == ERR_OK,
              "%s", room_why(room));
    cr_assert(room_ask(room, "forecast", "product=syrup days=7", NULL) == ERR_OK, "%s",
              room_why(room));
    const json_t *one = series_of(room, "sales", "quayside");
    /* the same day last week is not there yet: Monday's is a mean of both, 625 ml, at first */
    cr_assert(eq(str, (char *)json_string_value(json_object_get(one, "used")), "smoothed"));
    cr_assert(number(day_at(one, 0), "value_ml") > 500 && number(day_at(one, 0), "value_ml") < 750,
              "%s", room_text(room));
    cr_assert(eq(i64, number(day_at(one, 6), "naive_ml"), 500)); /* next Monday */
    room_free(room);
}

Test(forecast_word, what_it_is_asked_wrongly_it_says)
{
    struct room *room = room_new("kitchen", true);
    cr_assert(room_ask(room, "forecast", "", NULL) == ERR_OK, "%s", room_why(room));
    cr_assert(eq(sz, json_array_size(json_object_get(room_answer(room), "grounds")), 0));
    cr_assert(room_ask(room, "forecast", "days=61", NULL) == ERR_INPUT);
    cr_assert(room_ask(room, "forecast", "days=x", NULL) == ERR_INPUT);
    cr_assert(room_ask(room, "forecast", "site=nowhere", NULL) == ERR_INPUT);
    cr_assert(eq(str, (char *)room_field(room), "site"));
    cr_assert(room_ask(room, "forecast", "product=nothing", NULL) == ERR_INPUT);
    room_roles(room, ROLE_BIT_BARISTA);
    cr_assert(room_ask(room, "forecast", "", NULL) == ERR_DENIED);
    room_free(room);
}

Test(forecast_word, a_cafe_that_never_closes_a_day_kept_nothing_between_its_tubs)
{
    struct room *room = room_new("kitchen", true);
    struct book book;
    book.f = open_memstream(&book.text, &book.len);
    cr_assert(room_ask(room, "write", "mode=import", saltmere_catalogue) == ERR_OK);
    cr_assert(room_ask(room, "write", "mode=import", kitchen) == ERR_OK);
    for (int32_t day = today() - 56; day < today(); day++)
        if (day_weekday(day) <= 2) /* Mondays and Tuesdays only */
            put_day(&book, "quayside", day, 3000, false);
    write_book(room, &book);
    cr_assert(room_ask(room, "forecast", "site=quayside days=7", NULL) == ERR_OK, "%s",
              room_why(room));
    const json_t *one = series_of(room, "grounds", "quayside");
    cr_assert(number(day_at(one, 0), "value_g") > 2500, "%s", room_text(room)); /* Tuesday */
    cr_assert(number(day_at(one, 3), "value_g") < 400, "%s", room_text(room));  /* Friday */
    room_free(room);
}

/* ---- the plan's problem */

static struct problem *
problem_now(struct room *room)
{
    struct problem *p = NULL;
    struct err_text why = {.s = ""};
    cr_assert(room_ask(room, "plan", "do=problem", NULL) == ERR_OK, "%s", room_why(room));
    const char *json = json_string_value(json_object_get(room_answer(room), "problem"));
    const char *csv = json_string_value(json_object_get(room_answer(room), "tubs"));
    cr_assert(problem_parse(json, strlen(json), csv, strlen(csv), &p, &why) == ERR_OK, "%s", why.s);
    return p;
}

/* Grams that a site's tubs to expect bring on days first..last. */
static int64_t
expected_g(const struct problem *p, const char *site, int first, int last)
{
    int64_t g = 0;
    for (int i = 0; i < p->tubs_n; i++)
        if (p->tubs[i].at == PROBLEM_AT_FORECAST && p->tubs[i].frozen_day >= first &&
            p->tubs[i].frozen_day <= last && strcmp(p->sites[p->tubs[i].site].id, site) == 0)
            g += p->tubs[i].g;
    return g;
}

static int64_t
sold_ml(const struct problem *p, int day)
{
    for (int i = 0; i < p->sales_n; i++)
        if (p->sales[i].day == day)
            return p->sales[i].ml;
    return 0;
}

static bool
assumes(struct room *room, const char *words)
{
    const json_t *list = json_object_get(room_answer(room), "assumed");
    for (size_t i = 0; i < json_array_size(list); i++)
        if (strstr(json_string_value(json_array_get(list, i)), words) != NULL)
            return true;
    return false;
}

Test(forecast_word, the_plan_expects_tubs_and_sales_by_weekday)
{
    struct room *room = cafes();
    cr_assert(room_ask(room, "forecast", "", NULL) == ERR_OK, "%s", room_why(room));
    int64_t forecast = number(series_of(room, "grounds", "mole"), "total_g");
    json_int_t saturday = number(day_at(series_of(room, "sales", NULL), 4), "value_ml");
    struct problem *p = problem_now(room);
    int64_t come = expected_g(p, "mole", 0, 13);
    cr_assert(llabs(come - forecast) < 700, "%lld of %lld", (long long)come, (long long)forecast);
    int64_t g = expected_g(p, "quayside", 0, 13);
    cr_assert(g > 26000 && g < 34000, "%lld", (long long)g); /* 14 days less a Thursday */
    /* Thursday to Saturday, Quayside shut on Thursday; then Sunday to Tuesday */
    cr_assert(expected_g(p, "mole", 2, 4) > expected_g(p, "mole", 5, 7));
    cr_assert(eq(i64, sold_ml(p, 4), saturday));
    cr_assert(sold_ml(p, 4) > sold_ml(p, 5) * 2); /* Saturday and Sunday */
    cr_assert(eq(i64, sold_ml(p, 2), 0));         /* the only one that sells is shut */
    cr_assert(assumes(room, "by weekdays and trend: knockbox forecast"), "%s", room_text(room));
    problem_free(p);
    room_free(room);
}

Test(forecast_word, of_today_only_what_has_not_come_yet_is_expected)
{
    struct room *room = cafes();
    struct problem *p = problem_now(room);
    int64_t before = expected_g(p, "quayside", 0, 13);
    problem_free(p);
    struct book book;
    book.f = open_memstream(&book.text, &book.len);
    put_day(&book, "quayside", today(), 2050, true);
    write_book(room, &book);
    p = problem_now(room);
    cr_assert(eq(i64, expected_g(p, "quayside", 0, 0), 0));
    int64_t after = expected_g(p, "quayside", 0, 13);
    cr_assert(before - after > 1000 && before - after < 4600, "%lld", (long long)(before - after));
    problem_free(p);
    room_free(room);
}
