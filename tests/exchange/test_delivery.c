/* test_delivery.c - schedules and alerts under a clock that the test owns; no network.
 *
 * The promises of docs/operations.md, "Delivery"; numbers worked out by hand. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "daemon/base/folder.h"
#include "daemon/exchange/alerts.h"
#include "daemon/exchange/delivery.h"
#include "daemon/exchange/parcel.h"
#include "proto/when.h"
#include "tests/serve/room.h"

struct hub {
    struct room *room;
    struct loop *loop;
    struct delivery *delivery;
    char dir[64];
    int64_t now_ms;
    uint64_t mono_ms;
    struct alert_site site;
    bool unsure; /* of its own clock */
};

static const char conf[] = "target office\nurl https://127.0.0.1:9/\n"
                           "schedule month-end\non 3\nat 07:00\nas text json\nto office\n";

static int64_t
now_of(void *owner)
{
    return ((struct hub *)owner)->now_ms;
}

static uint64_t
mono_of(void *owner)
{
    return ((struct hub *)owner)->mono_ms;
}

static bool
sure(void *owner)
{
    return !((struct hub *)owner)->unsure;
}

static size_t
one_site(void *owner, struct alert_site *out, size_t most)
{
    cr_assert(most > 0);
    out[0] = ((struct hub *)owner)->site;
    return 1;
}

static void
set_now(struct hub *hub, const char *rfc3339)
{
    int64_t before = hub->now_ms;
    cr_assert(when_parse(rfc3339, &hub->now_ms, NULL));
    hub->mono_ms += before != 0 ? (uint64_t)(hub->now_ms - before) : 1;
    room_now(hub->room, rfc3339);
}

static void
start(struct hub *hub)
{
    struct err_text why = {.s = ""};
    struct clock clock = {now_of, mono_of, sure, NULL, {1}, hub};
    struct delivery_options options = {.dir = hub->dir,
                                       .store = room_store(hub->room),
                                       .ledger = room_ledger(hub->room),
                                       .loop = hub->loop,
                                       .clock = clock,
                                       .site = "kitchen",
                                       .zone = "Europe/London",
                                       .sites = one_site,
                                       .owner = hub};
    cr_assert(delivery_open(&options, &hub->delivery, &why) == ERR_OK, "%s", why.s);
}

static void
restart(struct hub *hub)
{
    delivery_close(hub->delivery);
    room_restart(hub->room);
    start(hub);
}

static struct hub *
hub_new(const char *settings, const char *now)
{
    struct hub *hub = calloc(1, sizeof *hub);
    struct err_text why = {.s = ""};
    strcpy(hub->dir, "/tmp/knockbox-hub-XXXXXX");
    cr_assert(mkdtemp(hub->dir) != NULL);
    hub->room = room_new("kitchen", true);
    hub->site = (struct alert_site){.site = "quayside", .enrolled = true, .last_seen_ms = -1};
    cr_assert(loop_new(&hub->loop, &why) == ERR_OK);
    cr_assert(file_write(hub->dir, "delivery.conf", settings, strlen(settings), 0600, &why) ==
              ERR_OK);
    cr_assert(room_ask(hub->room, "write", "mode=import", saltmere_catalogue) == ERR_OK, "%s",
              room_why(hub->room));
    set_now(hub, now);
    start(hub);
    return hub;
}

static void
hub_free(struct hub *hub)
{
    delivery_close(hub->delivery);
    (void)file_remove(hub->dir, "delivery.conf", NULL);
    (void)rmdir(hub->dir);
    loop_free(hub->loop);
    room_free(hub->room);
    free(hub);
}

/* How many jobs there are; the last one's `member` in `out`. */
static size_t
jobs(struct hub *hub, const char *member, char out[512])
{
    json_t *answer = NULL;
    struct err_text why = {.s = ""};
    cr_assert(delivery_show(hub->delivery, &answer, &why) == ERR_OK, "%s", why.s);
    const json_t *list = json_object_get(answer, "jobs");
    size_t n = json_array_size(list);
    const char *text =
        n > 0 ? json_string_value(json_object_get(json_array_get(list, n - 1), member)) : NULL;
    snprintf(out, 512, "%s", text != NULL ? text : "");
    json_decref(answer);
    return n;
}

Test(delivery, a_schedule_begins_with_its_next_time_and_sends_once)
{
    char what[512];
    struct hub *hub = hub_new(conf, "2026-03-10T12:00:00Z");
    delivery_tick(hub->delivery, false);
    cr_expect(eq(sz, jobs(hub, "what", what), 0)); /* not for the third of March: it was before */
    set_now(hub, "2026-04-03T05:59:59Z");          /* summer time: 06:59:59 */
    delivery_tick(hub->delivery, false);
    cr_expect(eq(sz, jobs(hub, "what", what), 0));
    set_now(hub, "2026-04-03T06:00:00Z");
    delivery_tick(hub->delivery, false);
    cr_expect(eq(sz, jobs(hub, "what", what), 1));
    cr_expect(eq(str, what, "report 2026-03"));
    for (int i = 0; i < 3; i++) {
        restart(hub);
        delivery_tick(hub->delivery, false);
    }
    cr_expect(eq(sz, jobs(hub, "what", what), 1));
    hub_free(hub);
}

Test(delivery, a_hub_that_was_off_catches_up_month_by_month)
{
    char what[512];
    struct hub *hub = hub_new(conf, "2026-03-10T12:00:00Z");
    delivery_tick(hub->delivery, false);
    set_now(hub, "2026-05-20T12:00:00Z");
    restart(hub);
    delivery_tick(hub->delivery, false);
    cr_expect(eq(sz, jobs(hub, "what", what), 1));
    cr_expect(eq(str, what, "report 2026-03"));
    delivery_tick(hub->delivery, false);
    cr_expect(eq(sz, jobs(hub, "what", what), 2));
    cr_expect(eq(str, what, "report 2026-04"));
    delivery_tick(hub->delivery, false);
    cr_expect(eq(sz, jobs(hub, "what", what), 2));
    hub_free(hub);
}

Test(delivery, a_busy_hub_puts_a_schedule_off_for_a_minute_at_most)
{
    char what[512];
    struct hub *hub = hub_new(conf, "2026-03-10T12:00:00Z");
    delivery_tick(hub->delivery, false);
    set_now(hub, "2026-04-03T06:00:00Z");
    delivery_tick(hub->delivery, false);
    cr_expect(eq(sz, jobs(hub, "what", what), 1));
    set_now(hub, "2026-05-03T06:00:00Z"); /* long since calm: done although busy */
    delivery_tick(hub->delivery, true);
    cr_expect(eq(sz, jobs(hub, "what", what), 2));
    set_now(hub, "2026-06-03T05:59:30Z");
    delivery_tick(hub->delivery, false);
    set_now(hub, "2026-06-03T06:00:10Z");
    delivery_tick(hub->delivery, true);
    cr_expect(eq(sz, jobs(hub, "what", what), 2));
    set_now(hub, "2026-06-03T06:00:30Z");
    delivery_tick(hub->delivery, true);
    cr_expect(eq(sz, jobs(hub, "what", what), 3));
    hub_free(hub);
}

Test(delivery, a_helper_that_is_not_there_is_a_failed_try)
{
    char said[512];
    struct hub *hub = hub_new(conf, "2026-03-10T12:00:00Z");
    delivery_tick(hub->delivery, false);
    set_now(hub, "2026-04-03T06:00:00Z");
    delivery_tick(hub->delivery, false); /* this test's folder has no knockbox-send */
    cr_expect(eq(sz, jobs(hub, "said", said), 1));
    cr_expect(strstr(said, "knockbox-send") != NULL, "%s", said);
    jobs(hub, "state", said);
    cr_expect(eq(str, said, "waiting"));
    hub_free(hub);
}

static const char watching[] = "target office\nurl https://127.0.0.1:9/\n"
                               "alerts\nto office\nevery 1m\ndisk_mib 1\n";

/* Ticks a minute later; the newest job's subject. */
static size_t
minute_later(struct hub *hub, int64_t minutes, char subject[512])
{
    hub->now_ms += minutes * 60000;
    hub->mono_ms += (uint64_t)minutes * 60000;
    delivery_tick(hub->delivery, false);
    return jobs(hub, "subject", subject);
}

Test(alerts, a_silent_cafe_is_told_once_until_it_was_back)
{
    char subject[512];
    struct hub *hub = hub_new(watching, "2026-03-10T12:00:00Z");
    hub->site.last_seen_ms = hub->now_ms - 23 * 3600000;
    cr_expect(eq(sz, minute_later(hub, 0, subject), 0));
    cr_expect(eq(sz, minute_later(hub, 31, subject), 0)); /* not a day yet */
    cr_expect(eq(sz, minute_later(hub, 30, subject), 1));
    cr_expect(eq(str, subject, "Knockbox: quayside: nothing heard for 24 hours"));
    cr_expect(eq(sz, minute_later(hub, 600, subject), 1));
    restart(hub);
    cr_expect(eq(sz, minute_later(hub, 31, subject), 1));
    hub->site.online = true;
    hub->site.last_seen_ms = hub->now_ms;
    cr_expect(eq(sz, minute_later(hub, 30, subject), 1));
    cr_expect(eq(sz, minute_later(hub, 61, subject), 1)); /* over for an hour: forgotten */
    hub->site.online = false;
    hub->site.last_seen_ms = hub->now_ms - 25 * 3600000;
    cr_expect(eq(sz, minute_later(hub, 1, subject), 2));
    hub_free(hub);
}

Test(alerts, a_hub_that_has_just_started_calls_nobody_silent)
{
    char subject[512];
    struct hub *hub = hub_new(watching, "2026-03-10T12:00:00Z");
    hub->site.last_seen_ms = hub->now_ms - (int64_t)100 * 3600000;
    cr_expect(eq(sz, minute_later(hub, 0, subject), 0));
    cr_expect(eq(sz, minute_later(hub, 29, subject), 0));
    cr_expect(eq(sz, minute_later(hub, 1, subject), 1));
    hub_free(hub);
}

Test(alerts, a_clock_that_is_off_is_told)
{
    char subject[512];
    struct hub *hub = hub_new(watching, "2026-03-10T12:00:00Z");
    hub->site.online = true;
    hub->site.last_seen_ms = hub->now_ms;
    hub->site.clock_offset_ms = -4999;
    cr_expect(eq(sz, minute_later(hub, 0, subject), 0));
    hub->site.clock_offset_ms = -61000;
    cr_expect(eq(sz, minute_later(hub, 1, subject), 1));
    cr_expect(eq(str, subject, "Knockbox: quayside: its clock is 61 s behind"));
    hub_free(hub);
}

/* Minutes pass with hourly looks, so that what stands is never over. */
static size_t
hours_later(struct hub *hub, int hours, char subject[512])
{
    size_t n = 0;
    for (int i = 0; i < hours; i++)
        n = minute_later(hub, 60, subject);
    return n;
}

Test(alerts, the_hubs_own_clock_is_told_once_while_it_stands)
{
    char subject[512];
    struct hub *hub = hub_new(watching, "2026-03-10T12:00:00Z");
    hub->unsure = true;
    cr_expect(eq(sz, minute_later(hub, 0, subject), 1));
    cr_expect(eq(str, subject, "Knockbox: kitchen: the hub's clock is not synchronised"));
    cr_expect(eq(sz, hours_later(hub, 30, subject), 1));
    restart(hub);
    cr_expect(eq(sz, minute_later(hub, 1, subject), 1));
    hub_free(hub);
}

Test(alerts, a_disk_that_is_low_is_told_once_while_it_stands)
{
    static const char greedy[] = "target office\nurl https://127.0.0.1:9/\n"
                                 "alerts\nto office\nevery 1m\ndisk_mib 1048576\n";
    char subject[512];
    struct hub *hub = hub_new(greedy, "2026-03-10T12:00:00Z");
    cr_expect(eq(sz, minute_later(hub, 0, subject), 1)); /* less than a TiB is free */
    cr_expect(strncmp(subject, "Knockbox: kitchen: only ", 24) == 0, "%s", subject);
    cr_expect(strstr(subject, " MiB are free on the hub's disk") != NULL, "%s", subject);
    cr_expect(eq(sz, hours_later(hub, 30, subject), 1));
    hub_free(hub);
}

Test(alerts, a_cafe_says_that_its_disk_is_low_and_is_told_once)
{
    char subject[512];
    struct hub *hub = hub_new(watching, "2026-03-10T12:00:00Z");
    hub->site.online = true;
    hub->site.last_seen_ms = hub->now_ms;
    cr_expect(eq(sz, minute_later(hub, 0, subject), 0));
    hub->site.disk_low = true;
    hub->site.disk_mib = 311;
    cr_expect(eq(sz, minute_later(hub, 1, subject), 1));
    cr_expect(eq(str, subject, "Knockbox: quayside: only 311 MiB are free on its disk"));
    hub->site.disk_mib = 310; /* the same cause */
    cr_expect(eq(sz, hours_later(hub, 3, subject), 1));
    hub->site.disk_low = false;
    cr_expect(eq(sz, hours_later(hub, 3, subject), 1));
    hub->site.disk_low = true;
    cr_expect(eq(sz, minute_later(hub, 1, subject), 2));
    hub_free(hub);
}

/* What a café said last is neither news nor over while it is away, nor while the hub was. */
Test(alerts, what_was_told_of_a_cafe_stays_told_while_it_is_away)
{
    char subject[512];
    struct hub *hub = hub_new(watching, "2026-03-10T12:00:00Z");
    hub->site.online = hub->site.disk_low = true;
    hub->site.last_seen_ms = hub->now_ms;
    hub->site.clock_offset_ms = 61000;
    cr_expect(eq(sz, minute_later(hub, 0, subject), 1));
    cr_expect(eq(str, subject, "Knockbox: 2 alerts"));
    hub->site.online = hub->site.disk_low = false;
    cr_expect(eq(sz, hours_later(hub, 5, subject), 1));
    hub->site.online = hub->site.disk_low = true;
    cr_expect(eq(sz, minute_later(hub, 1, subject), 1));
    hub->site.online = false;
    cr_expect(eq(sz, minute_later(hub, 1, subject), 1));
    restart(hub);
    hub->now_ms += 5 * 3600000; /* the hub was off for five hours */
    hub->site.clock_offset_ms = 0;
    cr_expect(eq(sz, minute_later(hub, 1, subject), 1));
    hub->site.online = true;
    hub->site.clock_offset_ms = 61000;
    cr_expect(eq(sz, minute_later(hub, 10, subject), 1));
    hub_free(hub);
}

Test(alerts, a_silent_cafe_is_not_told_again_after_the_hub_was_off)
{
    char subject[512];
    struct hub *hub = hub_new(watching, "2026-03-10T12:00:00Z");
    hub->site.last_seen_ms = hub->now_ms - (int64_t)30 * 3600000;
    cr_expect(eq(sz, minute_later(hub, 31, subject), 1));
    hub->now_ms += 5 * 3600000;
    restart(hub);
    cr_expect(eq(sz, minute_later(hub, 1, subject), 1));
    cr_expect(eq(sz, minute_later(hub, 40, subject), 1));
    hub_free(hub);
}

/* A freezer of Quayside that may be at -18 at the warmest, and another one. */
static void
write_reading(struct hub *hub, const char *place, const char *temp_c)
{
    char line[300], when[WHEN_TEXT];
    room_now(hub->room, when_print(hub->now_ms, 0, when));
    snprintf(line, sizeof line,
             "{'kind':'reading','place':'%s','temp_c':'%s','site':'quayside','at':'%s'}", place,
             temp_c, when);
    cr_assert(room_ask(hub->room, "write", "mode=import", line) == ERR_OK, "%s",
              room_why(hub->room));
}

Test(alerts, a_freezer_that_fails_is_told_once_until_it_was_good_again)
{
    static const char places[] =
        "{'kind':'place','code':'f1','for_site':'quayside','class':'freezer','max_c':'-18'}\n"
        "{'kind':'place','code':'f10','for_site':'quayside','class':'freezer','max_c':'-18'}";
    char subject[512];
    struct hub *hub = hub_new(watching, "2026-03-10T12:00:00Z");
    cr_assert(room_ask(hub->room, "write", "mode=import", places) == ERR_OK);
    cr_expect(eq(sz, minute_later(hub, 0, subject), 0));
    write_reading(hub, "f1", "-18.0"); /* just good */
    cr_expect(eq(sz, minute_later(hub, 1, subject), 0));
    write_reading(hub, "f1", "-17.9");
    cr_expect(eq(sz, minute_later(hub, 1, subject), 1));
    cr_expect(strstr(subject, "Knockbox: quayside: f1 read -17.9 ") == subject, "%s", subject);
    write_reading(hub, "f1", "-12"); /* and again: the same cause */
    cr_expect(eq(sz, hours_later(hub, 3, subject), 1));
    write_reading(hub, "f10", "-20"); /* another one is good: no matter */
    restart(hub);
    write_reading(hub, "f1", "-11");
    cr_expect(eq(sz, minute_later(hub, 1, subject), 1));
    write_reading(hub, "f1", "-19");
    cr_expect(eq(sz, minute_later(hub, 1, subject), 1));
    write_reading(hub, "f1", "-10");
    cr_expect(eq(sz, minute_later(hub, 1, subject), 2));
    write_reading(hub, "f10", "-10");
    cr_expect(eq(sz, minute_later(hub, 1, subject), 3));
    write_reading(hub, "f10", "-19"); /* good and bad in one look */
    write_reading(hub, "f10", "-9");
    cr_expect(eq(sz, minute_later(hub, 1, subject), 4));
    hub_free(hub);
}

Test(alerts, a_tub_near_its_date_is_told_once)
{
    static const char lines[] =
        "{'kind':'tub','site':'quayside','at':'2026-03-02T21:40:00+00:00','by':'RK','tub':'Q-1',"
        "'coffee':'house-dark','origin':'espresso','gross_g':5200,'tare_g':300,"
        "'method':'weighed','first_knock':'2026-03-02T18:00:00+00:00',"
        "'frozen':'2026-03-02T20:00:00+00:00','place':'quayside-f1'}";
    char subject[512];
    struct hub *hub = hub_new(watching, "2026-03-10T12:00:00Z");
    enum err e = room_ask(hub->room, "write", "mode=import", lines);
    cr_assert(e == ERR_OK, "%s", room_why(hub->room));
    cr_assert(room_ask(hub->room, "freezer", "", "") == ERR_OK);
    const char *use_by = json_string_value(json_object_get(
        json_array_get(json_object_get(room_answer(hub->room), "tubs"), 0), "use_by"));
    int32_t day = 0;
    cr_assert(use_by != NULL && day_parse(use_by, &day)); /* 28 days when no limit says otherwise */
    set_now(hub, "2026-03-11T12:00:00Z");
    hub->now_ms = (int64_t)(day - 8) * 86400000 + 43200000;
    cr_expect(eq(sz, minute_later(hub, 1, subject), 0));
    cr_expect(eq(sz, minute_later(hub, 1440, subject), 1));
    cr_expect(strstr(subject, "tub Q-1 is to be used by") != NULL, "%s", subject);
    cr_expect(eq(sz, minute_later(hub, 1440, subject), 1));
    hub_free(hub);
}

Test(parcel, what_is_heavier_than_the_target_takes_is_refused)
{
    static const char text[] = "target a\nurl https://h/\nmost_mib 1\n";
    struct setup *setup = NULL;
    struct err_text why = {.s = ""};
    struct parcel parcel = {.bytes = (1 << 20) + 1};
    Knockbox__OutboxJob job;
    cr_assert(setup_parse("/tmp", "x", text, strlen(text), &setup, &why) == ERR_OK, "%s", why.s);
    const struct target *target = setup_target(setup, "a");
    cr_expect(parcel_job(&parcel, target, 0, &job, &why) == ERR_INPUT);
    parcel.bytes = 1 << 20;
    cr_expect(parcel_job(&parcel, target, 0, &job, &why) == ERR_OK);
    setup_free(setup);
}
