/* Weights and times as people type them. Hand-worked; zone data: the system's tzdata. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include "client/amount.h"
#include "proto/when.h"

static const struct {
    const char *text;
    int64_t grams; /* < 0: refused */
} masses[] = {
    {"3.62 kg", 3620},
    {"3.62kg", 3620},
    {"3,62 kg", 3620},
    {"3620", 3620},
    {"3620 g", 3620},
    {"3.62", 3620},
    {"0.18", 180},
    {"0", 0},
    {"1.9995 kg", 2000},
    {"1.9994 kg", 1999},
    {"85 g", 85},
    {"5 kg", 5000},
    {"5", -1},
    {"85", -1},
    {"", -1},
    {"kg", -1},
    {"-5", -1},
    {"3.6.2", -1},
    {"3. kg", -1},
    {"3 lb", -1},
    {"1e3", -1},
    {"nan", -1},
    {"9999999999 kg", -1},
};

Test(amount, weights_are_taken_as_typed_or_asked_again)
{
    for (size_t i = 0; i < sizeof masses / sizeof masses[0]; i++) {
        struct err_text why = {.s = ""};
        int64_t grams = -1;
        enum err e = amount_mass("gross weight", masses[i].text, &grams, &why);
        cr_assert(eq(int, e == ERR_OK, masses[i].grams >= 0), "%s: %s", masses[i].text, why.s);
        if (e == ERR_OK)
            cr_assert(eq(i64, grams, masses[i].grams), "%s", masses[i].text);
    }
}

static int64_t
ms_of(const char *text)
{
    int64_t ms = 0;
    cr_assert(when_parse(text, &ms, NULL), "%s", text);
    return ms;
}

/* London, business day 3 March 2026. */
static struct amount_day
day_of(const char *day, const char *now, int start_min)
{
    struct amount_day out = {.start_min = start_min, .now_ms = ms_of(now)};
    struct err_text why;
    cr_assert(zone_find("Europe/London", &out.zone, &why) == ERR_OK);
    cr_assert(day_parse(day, &out.day));
    return out;
}

static const struct {
    const char *name, *day, *now;
    int start_min;
    const char *typed, *is; /* NULL: refused */
} times[] = {
    {"today", "2026-03-03", "2026-03-03T21:52:00Z", 0, "17:40", "2026-03-03T17:40:00Z"},
    {"without a colon", "2026-03-03", "2026-03-03T21:52:00Z", 0, "1740", "2026-03-03T17:40:00Z"},
    {"with a point", "2026-03-03", "2026-03-03T21:52:00Z", 0, "9.05", "2026-03-03T09:05:00Z"},
    {"now", "2026-03-03", "2026-03-03T21:52:10Z", 0, "now", "2026-03-03T21:52:10Z"},
    {"to come", "2026-03-03", "2026-03-03T21:52:00Z", 0, "22:30", NULL},
    {"after midnight, day begins at 4", "2026-03-03", "2026-03-04T00:30:00Z", 240, "00:20",
     "2026-03-04T00:20:00Z"},
    {"evening before, typed after midnight", "2026-03-03", "2026-03-04T00:30:00Z", 240, "17:40",
     "2026-03-03T17:40:00Z"},
    {"after midnight, day begins at 0", "2026-03-03", "2026-03-04T00:30:00Z", 0, "00:20",
     "2026-03-04T00:20:00Z"},
    {"a day too", "2026-03-03", "2026-03-03T21:52:00Z", 0, "2026-03-02 17:40",
     "2026-03-02T17:40:00Z"},
    {"summer time", "2026-06-03", "2026-06-03T21:52:00Z", 0, "17:40", "2026-06-03T16:40:00Z"},
    {"left out by the clocks", "2026-03-29", "2026-03-29T21:00:00Z", 0, "01:30", NULL},
    {"no time", "2026-03-03", "2026-03-03T21:52:00Z", 0, "25:00", NULL},
    {"words", "2026-03-03", "2026-03-03T21:52:00Z", 0, "soon", NULL},
};

Test(amount, clock_times_belong_to_the_business_day)
{
    for (size_t i = 0; i < sizeof times / sizeof times[0]; i++) {
        struct amount_day day = day_of(times[i].day, times[i].now, times[i].start_min);
        struct err_text why = {.s = ""};
        int64_t ms = 0;
        enum err e = amount_time("first knock-out", times[i].typed, &day, &ms, &why);
        cr_assert(eq(int, e == ERR_OK, times[i].is != NULL), "%s: %s", times[i].name, why.s);
        if (e == ERR_OK)
            cr_assert(eq(i64, ms, ms_of(times[i].is)), "%s", times[i].name);
    }
}
