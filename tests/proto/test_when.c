/* test_when.c - instants, days and months against hand-worked and published values. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>

#include "proto/when.h"

/* RFC 3339, section 5.8 (leap seconds of the examples left out), and by hand. */
static const struct {
    const char *text;
    int64_t ms;
    int offset;
} instants[] = {
    {"1985-04-12T23:20:50.52Z", 482196050520, 0},
    {"1996-12-19T16:39:57-08:00", 851042397000, -480},
    {"1996-12-20T00:39:57Z", 851042397000, 0},
    {"1970-01-01T00:00:00Z", 0, 0},
    {"1970-01-01T01:00:00.001+01:00", 1, 60},
    {"2026-03-03T21:40:00+00:00", 1772574000000, 0},
    {"2026-03-03T21:40:00.123456789+05:45", 1772553300123, 345},
    {"1969-12-31T23:00:00-01:00", 0, -60},
    {"9999-12-30T23:59:59.999Z", WHEN_MOST_MS, 0},
    {"9999-12-31T23:58:59.999+23:59", WHEN_MOST_MS, 1439},
};

Test(when, rfc_3339_examples_are_read)
{
    for (size_t i = 0; i < sizeof instants / sizeof instants[0]; i++) {
        int64_t ms = -1;
        int offset = -1;
        cr_assert(when_parse(instants[i].text, &ms, &offset), "%s", instants[i].text);
        cr_expect(eq(i64, ms, instants[i].ms), "%s", instants[i].text);
        cr_expect(eq(int, offset, instants[i].offset), "%s", instants[i].text);
    }
}

static const char *const no_instants[] = {
    "",
    "2026-03-03",
    "2026-03-03T21:40:00",  /* wall clock only */
    "2026-03-03 21:40:00Z", /* no T */
    "2026-03-03T21:40Z",    /* no seconds */
    "2026-02-29T00:00:00Z", /* no such day */
    "2026-13-01T00:00:00Z",
    "2026-00-01T00:00:00Z",
    "2026-03-00T00:00:00Z",
    "2026-03-03T24:00:00Z",
    "2026-03-03T23:60:00Z",
    "1990-12-31T23:59:60Z", /* a leap second has no place in milliseconds since 1970 */
    "2026-03-03T21:40:00.Z",
    "2026-03-03T21:40:00.1234567890Z",
    "2026-03-03T21:40:00+0000",
    "2026-03-03T21:40:00+24:00",
    "2026-03-03T21:40:00+00:60",
    "2026-03-03T21:40:00Z ",
    "1969-12-31T23:59:59Z",
    "1970-01-01T00:00:00+00:01",
    "9999-12-31T00:00:00Z",
    "10000-01-01T00:00:00Z",
};

Test(when, other_texts_are_no_instants)
{
    for (size_t i = 0; i < sizeof no_instants / sizeof no_instants[0]; i++) {
        int64_t ms = 7;
        cr_expect(when_parse(no_instants[i], &ms, NULL) == false, "%s", no_instants[i]);
        cr_expect(eq(i64, ms, 7), "%s", no_instants[i]);
    }
}

Test(when, an_instant_is_printed_in_any_offset)
{
    char out[WHEN_TEXT];
    cr_expect(eq(str, when_print(1772574000000, 0, out), "2026-03-03T21:40:00+00:00"));
    cr_expect(eq(str, when_print(1772574000000, 345, out), "2026-03-04T03:25:00+05:45"));
    cr_expect(eq(str, when_print(1772574000020, -210, out), "2026-03-03T18:10:00.020-03:30"));
    cr_expect(eq(str, when_print(0, -60, out), "1969-12-31T23:00:00-01:00"));
}

Test(when, days_and_parts_agree_over_all_days_we_know)
{
    int year = 1900;
    int month = 1;
    int day_of_month = 1;
    static const int days[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    for (int32_t day = DAY_LEAST; day <= DAY_MOST; day++) {
        int y = 0;
        int m = 0;
        int d = 0;
        day_split(day, &y, &m, &d);
        cr_assert(y == year && m == month && d == day_of_month, "day %d", day);
        cr_assert(day_make(year, month, day_of_month) == day, "day %d", day);
        bool leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
        if (++day_of_month <= days[month - 1] + (leap && month == 2))
            continue;
        day_of_month = 1;
        year += month == 12;
        month = month % 12 + 1;
    }
    cr_expect(eq(int, year, 10000));
}

Test(when, texts_of_days_and_months)
{
    char out[DAY_TEXT];
    char month_out[MONTH_TEXT];
    int32_t day = 0;
    int32_t month = 0;
    cr_assert(day_parse("2026-03-03", &day));
    cr_expect(eq(i32, day, 20515)); /* 56 years of 365, 14 leap days, 61 days */
    cr_expect(eq(str, day_print(day, out), "2026-03-03"));
    cr_expect(day_parse("2026-02-30", &day) == false);
    cr_expect(day_parse("1899-12-31", &day) == false);
    cr_expect(day_parse("2026-3-3", &day) == false);
    cr_assert(month_parse("2026-02", &month));
    cr_expect(eq(i32, month, 2026 * 12 + 1));
    cr_expect(eq(str, month_print(month, month_out), "2026-02"));
    cr_expect(month_parse("2026-13", &month) == false);
    cr_expect(month_parse("2026-02-01", &month) == false);
    cr_expect(eq(str, day_print(month_first_day(month), out), "2026-02-01"));
    cr_expect(eq(str, day_print(month_last_day(month), out), "2026-02-28"));
    cr_expect(eq(i32, month_of_day(month_last_day(month)), month));
}

Test(when, weekdays)
{
    cr_expect(eq(int, day_weekday(0), 4));     /* 1970-01-01 was a Thursday */
    cr_expect(eq(int, day_weekday(20515), 2)); /* 2026-03-03 is a Tuesday */
    cr_expect(eq(int, day_weekday(-1), 3));
    cr_expect(eq(int, day_weekday(DAY_LEAST), 1)); /* 1900-01-01 was a Monday */
}
