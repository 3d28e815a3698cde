/* spring.h - a kitchen on Friday 27 March 2026, two days before the clocks go forward: two tubs
 * received, three at Quayside, batch B-39 on filter F2, a van on Monday at 09:15. Invented. */
#ifndef TESTS_SERVE_SPRING_H
#define TESTS_SERVE_SPRING_H

#include <criterion/criterion.h>
#include <stdio.h>
#include "tests/serve/room.h"

static const char spring_kitchen[] =
    "{'kind':'product','code':'syrup','name':'Grounds syrup','class':'syrup','bottle_ml':500,"
    "'shelf_d':90}\n"
    "{'kind':'item','code':'sugar','name':'Sugar','class':'sugar','pack_g':10000,'pack_minor':900,"
    "'currency':'GBP'}\n"
    "{'kind':'recipe','code':'syrup-1','product':'syrup','parts':[{'input':'grounds','parts':'1'},"
    "{'input':'sugar','parts':'1'}],'grounds_min_g':2000,'grounds_max_g':6500,'strain_days':2,"
    "'yield_ml_per_kg':1300,'labour_min':60}\n"
    "{'kind':'price','product':'syrup','bottle_ml':500,'currency':'GBP','list_minor':800,"
    "'transfer_minor':500,'from':'2026-01-01'}\n"
    "{'kind':'station','code':'F1','class':'filter'}\n"
    "{'kind':'station','code':'F2','class':'filter'}\n"
    "{'kind':'vessel','code':'V1','holds_ml':30000}\n"
    "{'kind':'vessel','code':'V2','holds_ml':20000}\n"
    "{'kind':'route','code':'harbour','stops':['quayside'],'van_tubs':20}\n"
    "{'kind':'run','code':'R-30','route':'harbour','day':'2026-03-30','departs':'09:15'}\n"
    "{'kind':'order','product':'syrup','count':30,'due':'2026-04-08','site':'quayside'}";

static inline void
spring_write(struct room *room, const char *lines)
{
    cr_assert(room_ask(room, "write", "mode=import", lines) == ERR_OK, "%s", room_why(room));
}

/* Filled at the café on the evening of 24 March, 3 kg. */
static inline void
spring_tub(struct room *room, const char *tub, bool received)
{
    char line[600];
    (void)snprintf(line, sizeof line,
                   "{'kind':'tub','tub':'%s','coffee':'house-dark','origin':'espresso',"
                   "'gross_g':3180,'tare_g':180,'method':'weighed',"
                   "'first_knock':'2026-03-24T18:10:00+00:00','frozen':'2026-03-24T21:40:00+00:00',"
                   "'place':'quayside-f1','at':'2026-03-24T21:40:00+00:00','site':'quayside'}",
                   tub);
    spring_write(room, line);
    if (!received)
        return;
    (void)snprintf(line, sizeof line,
                   "{'kind':'receive','place':'kitchen-f1','tubs':[{'tub':'%s','gross_g':3180,"
                   "'accepted':true}],'at':'2026-03-25T09:00:00+00:00'}",
                   tub);
    spring_write(room, line);
}

static inline struct room *
spring_room(void)
{
    struct room *room = room_new("kitchen", true);
    room_now(room, "2026-03-27T06:30:00Z");
    spring_write(room, saltmere_catalogue);
    spring_write(room, spring_kitchen);
    spring_tub(room, "K-1", true);
    spring_tub(room, "K-2", true);
    spring_tub(room, "K-3", true);
    spring_tub(room, "Q-1", false);
    spring_tub(room, "Q-2", false);
    spring_tub(room, "Q-3", false);
    spring_write(room,
                 "{'kind':'supply','lot':'S-1','item':'sugar','supplier':'Mill','supplier_lot':'7',"
                 "'received':'2026-03-01','mass_g':4000,'at':'2026-03-01T09:00:00+00:00'}\n"
                 "{'kind':'supply','lot':'S-2','item':'sugar','supplier':'Mill','supplier_lot':'8',"
                 "'received':'2026-03-02','mass_g':20000,'at':'2026-03-02T09:00:00+00:00'}\n"
                 "{'kind':'mix','batch':'B-39','recipe':'syrup-1','inputs':[{'tub':'K-3',"
                 "'mass_g':3000,'empty':true},{'lot':'S-1','mass_g':3000}],'vessel':'V1',"
                 "'started':'2026-03-26T08:00:00+00:00','at':'2026-03-26T08:00:00+00:00'}\n"
                 "{'kind':'strain','batch':'B-39','station':'F2','event':'start',"
                 "'at':'2026-03-26T12:00:00+00:00'}");
    return room;
}

#endif
