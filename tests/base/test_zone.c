/* test_zone.c - time zones against published changes and against the C library. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdlib.h>
#include <time.h>

#include "daemon/base/zone.h"
#include "daemon/base/zone_rule.h"
#include "proto/when.h"

static const struct zone *
find(const char *name)
{
    const struct zone *zone = NULL;
    struct err_text why = {.s = ""};
    cr_assert(zone_find(name, &zone, &why) == ERR_OK, "%s", why.s);
    return zone;
}

static int64_t
instant(const char *text)
{
    int64_t ms = 0;
    cr_assert(when_parse(text, &ms, NULL), "%s", text);
    return ms;
}

/* Summer time in the EU and the UK begins and ends at 01:00 UTC on the last Sundays of March and
 * October (directive 2000/84/EC; The Summer Time Order 2002). The rest: tzdata's own notes. */
static const struct {
    const char *zone, *at;
    int offset_min;
} offsets[] = {
    {"Europe/London", "2026-03-29T00:59:59Z", 0},
    {"Europe/London", "2026-03-29T01:00:00Z", 60},
    {"Europe/London", "2026-10-25T00:59:59Z", 60},
    {"Europe/London", "2026-10-25T01:00:00Z", 0},
    {"Europe/Dublin", "2026-03-29T00:59:59.999Z", 0},
    {"Europe/Dublin", "2026-03-29T01:00:00Z", 60},
    {"Europe/Dublin", "2026-10-25T00:59:59Z", 60},
    {"Europe/Dublin", "2026-10-25T01:00:00Z", 0},
    {"Europe/London", "2099-03-29T00:59:59Z", 0}, /* by the rule behind the table */
    {"Europe/London", "2099-03-29T01:00:00Z", 60},
    {"Europe/Dublin", "2099-07-01T00:00:00Z", 60},
    {"Europe/Dublin", "2099-12-01T00:00:00Z", 0},
    {"Asia/Kathmandu", "2026-01-01T00:00:00Z", 345},
    {"Asia/Kathmandu", "1985-12-31T00:00:00Z", 330},
    {"America/St_Johns", "2026-01-01T00:00:00Z", -210},
    {"America/St_Johns", "2026-07-01T00:00:00Z", -150},
    {"Pacific/Apia", "2011-12-30T09:59:59Z", -600},
    {"Pacific/Apia", "2011-12-30T10:00:00Z", 840},
    {"Australia/Lord_Howe", "2026-01-01T00:00:00Z", 660},
    {"Australia/Lord_Howe", "2026-07-01T00:00:00Z", 630},
    {"Africa/Casablanca", "2026-01-01T00:00:00Z", 60},
    {"UTC", "2026-01-01T00:00:00Z", 0},
};

Test(zone, published_changes_are_where_they_should_be)
{
    for (size_t i = 0; i < sizeof offsets / sizeof offsets[0]; i++)
        cr_expect(eq(int, zone_offset_min(find(offsets[i].zone), instant(offsets[i].at)),
                     offsets[i].offset_min),
                  "%s %s", offsets[i].zone, offsets[i].at);
}

Test(zone, names_that_are_none_are_refused)
{
    static const char *const rows[] = {
        "",
        "Europe/Londn",
        "europe/london",
        "../../../etc/passwd",
        "/etc/localtime",
        "Europe/../UTC",
        "Europe",
        "right/UTC",
        "posix/UTC",
        "posixrules",
        "Factory",
        "zone.tab",
        "Europe/London ",
        "GMT0BST,M3.5.0/1,M10.5.0",
        "Europe/London\x1b",
        "A123456789012345678901234567890123456789012345678901234567890123456789",
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const struct zone *zone = NULL;
        struct err_text why = {.s = ""};
        cr_expect(eq(int, zone_find(rows[i], &zone, &why), ERR_INPUT), "%s", rows[i]);
        cr_expect(zone == NULL);
        cr_expect(eq(str, why.want, "an IANA time zone such as Europe/London"));
    }
}

static void
expect_local(const char *name, int32_t day, int minute, const char *at, bool twice)
{
    int64_t ms = 0;
    bool was_twice = !twice;
    struct err_text why = {.s = ""};
    cr_assert(zone_instant(find(name), day, minute, &ms, &was_twice, &why) == ERR_OK, "%s", why.s);
    cr_expect(eq(i64, ms, instant(at)), "%s", at);
    cr_expect(was_twice == twice, "%s", at);
}

Test(zone, wall_clocks_become_instants)
{
    expect_local("Europe/London", day_make(2026, 3, 3), 21 * 60 + 40, "2026-03-03T21:40:00Z",
                 false);
    expect_local("Europe/London", day_make(2026, 3, 29), 59, "2026-03-29T00:59:00Z", false);
    expect_local("Europe/London", day_make(2026, 3, 29), 120, "2026-03-29T01:00:00Z", false);
    expect_local("Europe/London", day_make(2026, 10, 25), 60, "2026-10-25T00:00:00Z", true);
    expect_local("Europe/London", day_make(2026, 10, 25), 119, "2026-10-25T00:59:00Z", true);
    expect_local("Europe/London", day_make(2026, 10, 25), 120, "2026-10-25T02:00:00Z", false);
    expect_local("Pacific/Apia", day_make(2011, 12, 29), 1439, "2011-12-30T09:59:00Z", false);
    expect_local("Pacific/Apia", day_make(2011, 12, 31), 0, "2011-12-30T10:00:00Z", false);
    expect_local("Asia/Kathmandu", day_make(2026, 1, 1), 345, "2026-01-01T00:00:00Z", false);
}

Test(zone, a_wall_clock_that_was_jumped_over_is_refused)
{
    int64_t ms = 7;
    struct err_text why = {.s = ""};
    cr_expect(eq(int,
                 zone_instant(find("Europe/London"), day_make(2026, 3, 29), 90, &ms, NULL, &why),
                 ERR_INPUT));
    cr_expect(eq(str, why.s,
                 "time: 2026-03-29 01:30: expected a local time that exists: clocks go "
                 "forward in Europe/London"));
    cr_expect(eq(int,
                 zone_instant(find("Pacific/Apia"), day_make(2011, 12, 30), 720, &ms, NULL, &why),
                 ERR_INPUT));
    cr_expect(eq(i64, ms, 7));
}

/* The C library reads the same files by its own code. */
static const char *const compared[] = {
    "Europe/London",     "Europe/Dublin",     "Asia/Kathmandu",
    "America/St_Johns",  "Pacific/Apia",      "Australia/Lord_Howe",
    "America/Sao_Paulo", "Africa/Casablanca", "America/Godthab",
    "Asia/Gaza",         "Asia/Tehran",       "Antarctica/Troll",
    "Pacific/Chatham",   "America/New_York",  "UTC",
    "Etc/GMT+12",
};

Test(zone, every_hour_change_agrees_with_the_c_library, .timeout = 50)
{
    for (size_t i = 0; i < sizeof compared / sizeof compared[0]; i++) {
        const struct zone *zone = find(compared[i]);
        setenv("TZ", compared[i], 1);
        tzset();
        int64_t step = 5 * 3600 + 1800; /* 1970 to 2100; the gaps wander over the hours */
        for (int64_t at = 0; at < INT64_C(4102444800); at += step) {
            struct tm tm;
            time_t t = (time_t)at;
            localtime_r(&t, &tm);
            cr_assert(zone_offset_min(zone, at * 1000) == (int)(tm.tm_gmtoff / 60), "%s at %ld",
                      compared[i], (long)at);
        }
    }
}

static const struct {
    const char *text;
    bool good;
} rules[] = {
    {"UTC0", true},
    {"EST5EDT,M3.2.0,M11.1.0", true},
    {"EST5EDT,0/0,J365/25", true}, /* RFC 9636: summer time all year */
    {"<+0545>-5:45", true},
    {"IST-1GMT0,M10.5.0,M3.5.0/1", true},
    {"<-02>2<-01>,M3.5.0/-1,M10.5.0/0", true},
    {"", false},
    {"U0", false},
    {"UTC", false},
    {"UTC25", false},
    {"EST5EDT", false},
    {"EST5EDT,M13.1.0,M11.1.0", false},
    {"EST5EDT,M3.0.0,M11.1.0", false},
    {"EST5EDT,M3.2.7,M11.1.0", false},
    {"EST5EDT,J0,M11.1.0", false},
    {"EST5EDT,366,M11.1.0", false},
    {"EST5EDT,M3.2.0", false},
    {"EST5EDT,M3.2.0,M11.1.0x", false},
    {"EST5EDT,M3.2.0/168,M11.1.0", false},
    {"<EST5", false},
};

Test(zone, rules_are_read_strictly)
{
    for (size_t i = 0; i < sizeof rules / sizeof rules[0]; i++) {
        struct zone_rule rule;
        cr_expect(zone_rule_parse(rules[i].text, &rule) == rules[i].good, "%s", rules[i].text);
    }
}

/* By hand: day 60 of Jn is 1 March in every year, day 60 of n is 29 February + 1 in leap years. */
Test(zone, rules_by_day_of_the_year)
{
    struct zone_rule julian;
    struct zone_rule zero;
    struct zone_rule all_year;
    cr_assert(zone_rule_parse("AAA0BBB,J60/0,J300/0", &julian));
    cr_assert(zone_rule_parse("AAA0BBB,60/0,300/0", &zero));
    cr_assert(zone_rule_parse("EST5EDT,0/0,J365/25", &all_year));
    static const struct {
        const char *at;
        int julian, zero;
    } rows[] = {
        {"2027-02-28T23:59:59Z", 0, 0},       {"2027-03-01T00:00:00Z", 3600, 0},
        {"2027-03-02T00:00:00Z", 3600, 3600}, {"2028-02-29T23:59:59Z", 0, 0},
        {"2028-03-01T00:00:00Z", 3600, 3600},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        int64_t at_s = instant(rows[i].at) / 1000;
        cr_expect(eq(i32, zone_rule_offset(&julian, at_s), rows[i].julian), "%s", rows[i].at);
        cr_expect(eq(i32, zone_rule_offset(&zero, at_s), rows[i].zero), "%s", rows[i].at);
        cr_expect(eq(i32, zone_rule_offset(&all_year, at_s), -4 * 3600), "%s", rows[i].at);
    }
}
