/* The plan word: a problem out of the books, a plan that the checker takes, and the one published.
 * Numbers are hand-worked; defaults are common practice, no source. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/plan/problem_file.h"
#include "daemon/serve/redraft.h"
#include "tests/serve/room.h"

static const char kitchen[] =
    "{'kind':'product','code':'syrup','name':'Grounds syrup','class':'syrup','bottle_ml':500,"
    "'shelf_d':90}\n"
    "{'kind':'item','code':'sugar','name':'Sugar','class':'sugar','pack_g':10000,'pack_minor':900,"
    "'currency':'GBP'}"
    "\n"
    "{'kind':'recipe','code':'syrup-1','product':'syrup','parts':[{'input':'grounds','parts':'1'},"
    "{'input':'sugar','parts':'1'}],'grounds_min_g':2000,'grounds_max_g':8000,'strain_days':1,"
    "'yield_ml_per_kg':1300,'labour_min':60}\n"
    "{'kind':'price','product':'syrup','bottle_ml':500,'currency':'GBP','list_minor':800,"
    "'transfer_minor':500,'from':'2026-01-01'}\n"
    "{'kind':'station','code':'F1','class':'filter'}\n"
    "{'kind':'route','code':'harbour','stops':['quayside'],'weekdays':[1,4],'van_tubs':20}\n"
    "{'kind':'order','product':'syrup','count':6,'due':'2026-03-10','site':'quayside'}";

/* Tuesday 3 March; three tubs at Quayside since Monday. */
static struct room *
kitchen_room(void)
{
    struct room *room = room_new("kitchen", true);
    cr_assert(room_ask(room, "write", "mode=import", saltmere_catalogue) == ERR_OK, "%s",
              room_why(room));
    cr_assert(room_ask(room, "write", "mode=import", kitchen) == ERR_OK, "%s", room_why(room));
    for (int i = 1; i <= 3; i++) {
        char line[600];
        snprintf(line, sizeof line,
                 "{'kind':'tub','tub':'Q-0302-%d','coffee':'house-dark','origin':'espresso',"
                 "'gross_g':3180,'tare_g':180,'method':'weighed',"
                 "'first_knock':'2026-03-02T18:10:00+00:00','frozen':'2026-03-02T21:40:00+00:00',"
                 "'place':'quayside-f1','at':'2026-03-02T21:40:00+00:00','site':'quayside'}",
                 i);
        cr_assert(room_ask(room, "write", "mode=import", line) == ERR_OK, "%s", room_why(room));
    }
    return room;
}

Test(plan, the_problem_reads_back_and_holds_what_the_books_say)
{
    struct room *room = kitchen_room();
    struct problem *p = NULL;
    struct err_text why = {.s = ""};
    cr_assert(room_ask(room, "plan", "do=problem", NULL) == ERR_OK, "%s", room_why(room));
    const char *json = json_string_value(json_object_get(room_answer(room), "problem"));
    const char *csv = json_string_value(json_object_get(room_answer(room), "tubs"));
    cr_assert(problem_parse(json, strlen(json), csv, strlen(csv), &p, &why) == ERR_OK, "%s", why.s);
    cr_assert(eq(int, p->days, 14));
    cr_assert(eq(int, p->stations, 1));
    cr_assert(eq(int, p->recipes_n, 1));
    cr_assert(eq(i64, p->recipes[0].puck_max_g, 8000));
    cr_assert(eq(i64, p->ingredients[0].cents_per_kg, 90));
    cr_assert(eq(i64, p->recipes[0].need_g_per_kg[0], 1000));
    cr_assert(eq(i64, p->orders[0].ml, 3000));          /* 6 bottles of 500 ml */
    cr_assert(eq(i64, p->orders[0].cents_per_l, 1000)); /* 500 for half a litre */
    cr_assert(eq(int, p->orders[0].due_day, 7));
    cr_assert(eq(int, p->runs_n, 4));               /* Mondays and Thursdays of 14 days */
    cr_assert(not(p->calendar[5].working));         /* Sunday 8 March */
    cr_assert(eq(int, p->calendar[6].thaw_day, 4)); /* Monday's batches thaw on Saturday */
    int there = 0;
    for (int i = 0; i < p->tubs_n; i++)
        there += p->tubs[i].at == PROBLEM_AT_SITE;
    cr_assert(eq(int, there, 3));
    cr_assert(json_array_size(json_object_get(room_answer(room), "assumed")) > 0);
    problem_free(p);
    room_free(room);
}

static const char *
room_state(struct room *room)
{
    return json_string_value(json_object_get(room_answer(room), "state"));
}

Test(plan, what_is_made_is_a_draft_until_it_is_published)
{
    struct room *room = kitchen_room();
    cr_assert(room_ask(room, "plan", "do=show", NULL) == ERR_NOT_FOUND);
    cr_assert(room_ask(room, "plan", "do=publish", NULL) == ERR_NOT_FOUND);
    cr_assert(room_ask(room, "plan", "do=make", NULL) == ERR_OK, "%s", room_why(room));
    cr_assert(eq(i64, room_number(room, "number"), 1));
    cr_assert(eq(str, (char *)room_state(room), "draft"));
    cr_assert(room_number(room, "batches") > 0, "%s", room_text(room));
    char *made = strdup(room_text(room));
    cr_assert(room_ask(room, "plan", "do=show", NULL) == ERR_OK, "%s", room_why(room));
    cr_assert(eq(str, (char *)room_text(room), made));
    free(made);
    cr_assert(room_ask(room, "export", "kind=pickup", NULL) == ERR_OK);
    cr_assert(eq(str, (char *)room_text(room), ""));
    cr_assert(room_ask(room, "plan", "do=publish number=2", NULL) == ERR_INPUT);
    cr_assert(room_ask(room, "plan", "do=publish", NULL) == ERR_OK, "%s", room_why(room));
    cr_assert(eq(i64, room_number(room, "number"), 1));
    cr_assert(eq(str, (char *)room_state(room), "published"));
    cr_assert(room_ask(room, "plan", "do=publish", NULL) == ERR_NOT_FOUND);
    cr_assert(room_ask(room, "plan", "do=show draft=1", NULL) == ERR_NOT_FOUND);
    cr_assert(room_ask(room, "plan", "do=show", NULL) == ERR_OK, "%s", room_why(room));
    cr_assert(eq(str, (char *)room_state(room), "published"));
    cr_assert(room_ask(room, "export", "kind=pickup", NULL) == ERR_OK);
    cr_assert(strstr(room_text(room), "\"for_site\":\"quayside\"") != NULL, "%s", room_text(room));
    cr_assert(room_ask(room, "freezer", "site=quayside", NULL) == ERR_OK, "%s", room_why(room));
    cr_assert(strstr(room_text(room), "\"goes_with\":\"harbour-2026-03-0") != NULL, "%s",
              room_text(room));
    room_free(room);
}

Test(plan, made_again_with_nothing_new_it_is_the_plan_that_stands)
{
    struct room *room = kitchen_room();
    cr_assert(room_ask(room, "plan", "do=make", NULL) == ERR_OK, "%s", room_why(room));
    cr_assert(room_ask(room, "plan", "do=publish", NULL) == ERR_OK, "%s", room_why(room));
    char *published = strdup(room_text(room));
    cr_assert(room_ask(room, "plan", "do=make", NULL) == ERR_OK, "%s", room_why(room));
    cr_assert(eq(str, (char *)room_text(room), published));
    cr_assert(room_ask(room, "plan", "do=problem", NULL) == ERR_OK, "%s", room_why(room));
    const json_t *same = json_object_get(room_answer(room), "same_facts");
    cr_assert(eq(i64, json_integer_value(json_object_get(same, "number")), 1));
    free(published);
    room_free(room);
}

/* The published plan is an input of the next problem: a batch off it costs an hour's wage tomorrow
 * and the day after (1500 cents), half of that within six days, a sixth later, as docs/planning.md
 * says; common practice, no source. */
Test(plan, the_published_plan_is_an_input_of_the_next_problem)
{
    struct room *room = kitchen_room();
    struct problem *p = NULL;
    struct err_text why = {.s = ""};
    const char *plan = "{'collect':[{'run':'harbour-2026-03-05','tubs':['Q-0302-1','Q-0302-2']}],"
                       "'batches':[{'recipe':'syrup-1','day':3,'tubs':['Q-0302-1','Q-0302-2']}]}";
    cr_assert(room_ask(room, "plan", "do=put", plan) == ERR_OK, "%s", room_why(room));
    cr_assert(room_ask(room, "plan", "do=publish", NULL) == ERR_OK, "%s", room_why(room));
    room_now(room, "2026-03-04T07:00:00Z");
    cr_assert(room_ask(room, "plan", "do=problem", NULL) == ERR_OK, "%s", room_why(room));
    const char *json = json_string_value(json_object_get(room_answer(room), "problem"));
    const char *csv = json_string_value(json_object_get(room_answer(room), "tubs"));
    cr_assert(problem_parse(json, strlen(json), csv, strlen(csv), &p, &why) == ERR_OK, "%s", why.s);
    cr_assert(eq(int, p->previous_n, 1));
    cr_assert(eq(int, p->previous[0].day, 2)); /* Friday, seen from Wednesday */
    cr_assert(eq(int, p->previous[0].batches, 1));
    cr_assert(eq(int, p->previous_until_day, 12)); /* as far as the plan went */
    cr_assert(eq(i64, p->change_cents_per_batch[2], 1500));
    cr_assert(eq(i64, p->change_cents_per_batch[3], 750));
    cr_assert(eq(i64, p->change_cents_per_batch[7], 250));
    const char *start = json_string_value(json_object_get(room_answer(room), "start"));
    cr_assert(start != NULL && strstr(start, "\"day\":2,") != NULL, "%s", room_text(room));
    cr_assert(json_object_get(room_answer(room), "same_facts") == NULL);
    problem_free(p);
    room_free(room);
}

Test(plan, a_draft_of_another_day_or_of_other_books_is_not_published)
{
    struct room *room = kitchen_room();
    cr_assert(room_ask(room, "plan", "do=make", NULL) == ERR_OK, "%s", room_why(room));
    room_now(room, "2026-03-04T07:00:00Z");
    cr_assert(room_ask(room, "plan", "do=publish", NULL) == ERR_INPUT);
    cr_assert(strstr(room_why(room), "another day") != NULL, "%s", room_why(room));
    cr_assert(room_ask(room, "plan", "do=make", NULL) == ERR_OK, "%s", room_why(room));
    cr_assert(eq(i64, room_number(room, "number"), 2));
    for (int i = 1; i <= 3; i++) {
        char line[300];
        snprintf(line, sizeof line,
                 "{'kind':'discard','what':'tub','code':'Q-0302-%d','mass_g':3000,"
                 "'reason':'dropped','stream':'food-caddy','at':'2026-03-04T07:05:00+00:00',"
                 "'site':'quayside'}",
                 i);
        cr_assert(room_ask(room, "write", "mode=import", line) == ERR_OK, "%s", room_why(room));
    }
    cr_assert(room_ask(room, "plan", "do=publish", NULL) == ERR_INPUT);
    cr_assert(strstr(room_why(room), "no longer fits") != NULL, "%s", room_why(room));
    room_free(room);
}

Test(plan, an_empty_kitchen_gets_an_empty_plan)
{
    struct room *room = room_new("kitchen", true);
    cr_assert(room_ask(room, "plan", "do=make", NULL) == ERR_OK, "%s", room_why(room));
    cr_assert(eq(i64, room_number(room, "batches"), 0));
    room_free(room);
}

Test(plan, the_same_books_give_the_same_problem)
{
    struct room *room = kitchen_room();
    cr_assert(room_ask(room, "plan", "do=problem", NULL) == ERR_OK);
    char *first = strdup(room_text(room));
    cr_assert(room_ask(room, "plan", "do=problem", NULL) == ERR_OK);
    cr_assert(eq(str, (char *)room_text(room), first));
    free(first);
    cr_assert(room_ask(room, "plan", "do=problem days=61", NULL) == ERR_INPUT);
    cr_assert(room_ask(room, "plan", "do=dance", NULL) == ERR_INPUT);
    room_roles(room, ROLE_BIT_BARISTA);
    cr_assert(room_ask(room, "plan", "do=make", NULL) == ERR_DENIED);
    room_free(room);
}

Test(plan, a_plan_that_somebody_found_is_checked_before_it_is_published)
{
    struct room *room = kitchen_room();
    cr_assert(room_ask(room, "plan", "do=put bound_cents=100000", "{}") == ERR_OK, "%s",
              room_why(room)); /* no batch at all breaks no rule */
    cr_assert(eq(i64, room_number(room, "batches"), 0));
    cr_assert(room_ask(room, "plan", "do=put",
                       "{'batches':[{'recipe':'syrup-1','day':1,'tubs':['Q-0302-1']}]}") ==
              ERR_INPUT); /* the tub is at the café still */
    cr_assert(strstr(room_why(room), "breaks rule") != NULL, "%s", room_why(room));
    cr_assert(room_ask(room, "plan", "do=put", "{'batches':7}") == ERR_INPUT);
    cr_assert(room_ask(room, "plan", "do=show", NULL) == ERR_OK);
    cr_assert(eq(i64, room_number(room, "number"), 1));
    room_free(room);
}

/* The alerts of the kitchen in `status`, one by one in a line. */
static const char *
kitchen_alerts(struct room *room)
{
    static char text[600];
    size_t i, k;
    json_t *site, *alert;
    text[0] = '\0';
    cr_assert(room_ask(room, "status", NULL, NULL) == ERR_OK, "%s", room_why(room));
    json_array_foreach(json_object_get(room_answer(room), "sites"), i, site)
    {
        if (strcmp(json_string_value(json_object_get(site, "site")), "kitchen") != 0)
            continue;
        json_array_foreach(json_object_get(site, "alerts"), k, alert)
            strncat(text, json_string_value(alert), sizeof text - strlen(text) - 1);
    }
    return text;
}

static void
write_line(struct room *room, const char *line)
{
    cr_assert(room_ask(room, "write", "mode=import", line) == ERR_OK, "%s", room_why(room));
}

/* Two tubs come by Thursday's run into Friday's batch; its sugar is there. */
static struct room *
published_room(void)
{
    struct room *room = kitchen_room();
    const char *plan = "{'collect':[{'run':'harbour-2026-03-05','tubs':['Q-0302-1','Q-0302-2']}],"
                       "'batches':[{'recipe':'syrup-1','day':3,'tubs':['Q-0302-1','Q-0302-2']}]}";
    cr_assert(room_ask(room, "plan", "do=put", plan) == ERR_OK, "%s", room_why(room));
    write_line(room, "{'kind':'supply','lot':'S-1','item':'sugar','supplier':'Mill Lane Stores',"
                     "'supplier_lot':'7','received':'2026-03-03','mass_g':20000,"
                     "'at':'2026-03-03T09:00:00+00:00'}");
    cr_assert(room_ask(room, "plan", "do=publish", NULL) == ERR_OK, "%s", room_why(room));
    return room;
}

static struct problem *
problem_of(struct room *room)
{
    struct problem *p = NULL;
    struct err_text why = {.s = ""};
    cr_assert(room_ask(room, "plan", "do=problem", NULL) == ERR_OK, "%s", room_why(room));
    const char *json = json_string_value(json_object_get(room_answer(room), "problem"));
    const char *csv = json_string_value(json_object_get(room_answer(room), "tubs"));
    cr_assert(problem_parse(json, strlen(json), csv, strlen(csv), &p, &why) == ERR_OK, "%s", why.s);
    return p;
}

/* The planner knows no days before today: they wait for a person to throw them away. */
Test(plan, bottles_past_their_date_are_not_for_sale_and_keep_nobody_from_planning)
{
    struct room *room = kitchen_room();
    write_line(room, "{'kind':'mix','batch':'B-1','recipe':'syrup-1','inputs':[{'tub':'Q-0302-1',"
                     "'mass_g':3000}],'vessel':'V1','started':'2026-03-02T22:00:00Z','at':"
                     "'2026-03-02T22:00:00Z'}");
    write_line(room,
               "{'kind':'bottle','batch':'B-1','lot':'L-1','bottle_ml':500,'count':6,"
               "'best_before':'2026-03-02','at':'2026-03-02T23:00:00Z'}\n"
               "{'kind':'bottle','batch':'B-1','lot':'L-2','bottle_ml':500,'count':4,"
               "'best_before':'2026-03-03','at':'2026-03-02T23:00:00Z'}\n"
               "{'kind':'release','lot':'L-1','decision':'release','at':'2026-03-02T23:10:00Z'}\n"
               "{'kind':'release','lot':'L-2','decision':'release','at':'2026-03-02T23:10:00Z'}");
    struct problem *p = problem_of(room);
    cr_assert(eq(int, p->stock_n, 1));
    cr_expect(eq(i64, p->stock[0].ml, 2000));
    cr_expect(eq(int, p->stock[0].best_before_day, 0));
    problem_free(p);
    cr_expect(room_ask(room, "plan", "do=make", NULL) == ERR_OK, "%s", room_why(room));
    room_free(room);
}

Test(plan, late_news_is_told_and_changes_nothing_until_a_person_publishes)
{
    struct room *room = published_room();
    cr_assert(strstr(kitchen_alerts(room), "plan") == NULL, "%s", kitchen_alerts(room));
    cr_assert(room_ask(room, "plan", "do=show", NULL) == ERR_OK);
    cr_assert(json_object_get(room_answer(room), "news") == NULL);
    char *before = json_dumps(json_object_get(room_answer(room), "days"), JSON_COMPACT);
    write_line(room, "{'kind':'discard','what':'tub','code':'Q-0302-1','mass_g':3000,"
                     "'reason':'dropped','stream':'food-caddy','at':'2026-03-03T21:50:00+00:00',"
                     "'site':'quayside'}");
    cr_assert(strstr(kitchen_alerts(room), "plan 1 no longer fits: tub Q-0302-1 is gone; the plan "
                                           "puts it into syrup-1 of Fri 6 Mar") != NULL,
              "%s", kitchen_alerts(room));
    cr_assert(room_ask(room, "plan", "do=show", NULL) == ERR_OK);
    cr_assert(eq(sz, json_array_size(json_object_get(room_answer(room), "news")), 1));
    char *after = json_dumps(json_object_get(room_answer(room), "days"), JSON_COMPACT);
    cr_assert(eq(str, after, before)); /* the plan itself stands */
    cr_assert(room_ask(room, "plan", "do=make", NULL) == ERR_OK, "%s", room_why(room));
    cr_assert(eq(str, (char *)room_state(room), "draft"));
    cr_assert(eq(i64, room_number(room, "number"), 2));
    cr_assert(strstr(kitchen_alerts(room), "plan 1 no longer fits") != NULL);
    cr_assert(room_ask(room, "plan", "do=show", NULL) == ERR_OK);
    cr_assert(eq(i64, room_number(room, "number"), 1));
    cr_assert(eq(i64, room_number(room, "newer_draft"), 2));
    cr_assert(room_ask(room, "plan", "do=publish", NULL) == ERR_OK, "%s", room_why(room));
    cr_assert(strstr(kitchen_alerts(room), "fits") == NULL, "%s", kitchen_alerts(room));
    free(before);
    free(after);
    room_free(room);
}

Test(plan, late_news_gets_one_draft_by_itself)
{
    struct room *room = published_room();
    struct err_text why = {.s = ""};
    int64_t plan = 0, draft = 0;
    cr_assert_eq(redraft_look(room_serve(room), &plan, &draft, &why), ERR_OK, "%s", why.s);
    cr_assert(plan == 1 && draft == 0);
    write_line(room, "{'kind':'discard','what':'tub','code':'Q-0302-1','mass_g':3000,"
                     "'reason':'dropped','stream':'food-caddy','at':'2026-03-03T21:50:00+00:00',"
                     "'site':'quayside'}");
    cr_assert_eq(redraft_look(room_serve(room), &plan, &draft, &why), ERR_OK, "%s", why.s);
    cr_assert(plan == 1 && draft == 2);
    cr_assert_eq(redraft_look(room_serve(room), &plan, &draft, &why), ERR_OK, "%s", why.s);
    cr_assert(plan == 1 && draft == 0); /* it waits for a person */
    cr_assert(room_ask(room, "plan", "do=show", NULL) == ERR_OK);
    cr_assert(eq(i64, room_number(room, "number"), 1));
    cr_assert(eq(i64, room_number(room, "newer_draft"), 2));
    room_free(room);
}

Test(plan, without_a_plan_there_is_no_draft_by_itself)
{
    struct room *room = kitchen_room();
    struct err_text why = {.s = ""};
    int64_t plan = 0, draft = 0;
    cr_assert_eq(redraft_look(room_serve(room), &plan, &draft, &why), ERR_OK, "%s", why.s);
    cr_assert(plan == 0 && draft == 0);
    room_free(room);
}

/* Friday: Thursday's run is past and the tubs are still at the café. Saturday: no batch either. */
Test(plan, a_missed_run_and_an_unmade_batch_are_late_news)
{
    struct room *room = published_room();
    room_now(room, "2026-03-05T20:00:00Z");
    cr_assert(strstr(kitchen_alerts(room), "fits") == NULL, "%s", kitchen_alerts(room));
    room_now(room, "2026-03-06T07:00:00Z");
    cr_assert(strstr(kitchen_alerts(room),
                     "1 no longer fits: run harbour-2026-03-05 of Thu 5 Mar did not bring 2 "
                     "tubs") != NULL,
              "%s", kitchen_alerts(room));
    room_now(room, "2026-03-07T07:00:00Z");
    cr_assert(room_ask(room, "plan", "do=show", NULL) == ERR_OK);
    cr_assert(strstr(room_text(room), "syrup-1 of Fri 6 Mar was not mixed") != NULL, "%s",
              room_text(room));
    room_now(room, "2026-03-18T07:00:00Z");
    cr_assert(strstr(kitchen_alerts(room), "its days are over") != NULL, "%s",
              kitchen_alerts(room));
    room_free(room);
}

/* 6.00 kg of grounds at 1300 ml a kilogram are 7.80 l; 5.00 l are less than nine tenths of it. */
Test(plan, a_batch_that_gives_less_is_late_news)
{
    struct room *room = published_room();
    write_line(room, "{'kind':'mix','batch':'B-1','recipe':'syrup-1','vessel':'V1','inputs':["
                     "{'tub':'Q-0302-3','mass_g':3000,'empty':true}],"
                     "'started':'2026-03-03T08:00:00+00:00','at':'2026-03-03T08:00:00+00:00'}");
    write_line(room, "{'kind':'strain','batch':'B-1','station':'F1','event':'end',"
                     "'product_ml':3600,'at':'2026-03-03T20:00:00+00:00'}");
    cr_assert(strstr(kitchen_alerts(room), "gave") == NULL, "%s", kitchen_alerts(room));
    write_line(room, "{'kind':'mix','batch':'B-2','recipe':'syrup-1','vessel':'V1','inputs':["
                     "{'tub':'Q-0302-9','mass_g':6000,'empty':true}],"
                     "'started':'2026-03-03T08:00:00+00:00','at':'2026-03-03T08:01:00+00:00'}");
    write_line(room, "{'kind':'strain','batch':'B-2','station':'F1','event':'end',"
                     "'product_ml':5000,'at':'2026-03-03T20:01:00+00:00'}");
    cr_assert(strstr(kitchen_alerts(room), "batch B-2 gave 5.00 l; 7.80 l were planned") != NULL,
              "%s", kitchen_alerts(room));
    room_free(room);
}

Test(plan, a_tub_that_no_plan_can_have_is_told_why)
{
    struct room *room = kitchen_room();
    write_line(room, "{'kind':'discard','what':'tub','code':'Q-0302-1','mass_g':3000,"
                     "'reason':'dropped','stream':'food-caddy','at':'2026-03-03T21:50:00+00:00',"
                     "'site':'quayside'}");
    cr_assert(room_ask(room, "plan", "do=tub code=Q-0302-1", NULL) == ERR_OK, "%s", room_why(room));
    cr_assert(strstr(room_text(room), "It was thrown away.") != NULL, "%s", room_text(room));
    cr_assert(room_ask(room, "plan", "do=tub code=Q-0302-8", NULL) == ERR_NOT_FOUND);
    cr_assert(room_ask(room, "plan", "do=tub", NULL) == ERR_INPUT);
    room_free(room);
}
