/* zone_rule.c - reading and using a POSIX TZ rule. */
#include "daemon/base/zone_rule.h"

#include <ctype.h>
#include <stddef.h>

#include "proto/when.h"

enum {
    HOUR_S = 3600,
    DAY_S = 86400
};

/* ---- reading: each take_ moves *text behind what it read */

static bool
take_char(const char **text, char c)
{
    if (**text != c)
        return false;
    (*text)++;
    return true;
}

static bool
take_number(const char **text, int least, int most, int *out)
{
    int value = 0;
    const char *start = *text;
    for (; isdigit((unsigned char)**text) && value <= most; (*text)++)
        value = value * 10 + (**text - '0');
    *out = value;
    return *text > start && value >= least && value <= most;
}

/* EST or <+0545>; what it says is of no use here. */
static bool
take_name(const char **text)
{
    const char *start = *text;
    if (take_char(text, '<')) {
        while (isalnum((unsigned char)**text) || **text == '+' || **text == '-')
            (*text)++;
        return take_char(text, '>');
    }
    while (isalpha((unsigned char)**text))
        (*text)++;
    return *text - start >= 3;
}

/* [+-]hh[:mm[:ss]] in seconds. */
static bool
take_time(const char **text, int most_hours, int32_t *out)
{
    int sign = take_char(text, '-') ? -1 : 1;
    if (sign > 0)
        (void)take_char(text, '+');
    int hours = 0;
    int minutes = 0;
    int seconds = 0;
    if (!take_number(text, 0, most_hours, &hours))
        return false;
    if (take_char(text, ':') && !take_number(text, 0, 59, &minutes))
        return false;
    if (take_char(text, ':') && !take_number(text, 0, 59, &seconds))
        return false;
    *out = sign * (hours * HOUR_S + minutes * 60 + seconds);
    return true;
}

static bool
take_day(const char **text, struct zone_change *change)
{
    if (take_char(text, 'J')) {
        change->form = ZONE_DAY_JULIAN;
        return take_number(text, 1, 365, &change->day);
    }
    if (!take_char(text, 'M')) {
        change->form = ZONE_DAY_ZERO;
        return take_number(text, 0, 365, &change->day);
    }
    change->form = ZONE_DAY_MONTH;
    return take_number(text, 1, 12, &change->month) && take_char(text, '.') &&
           take_number(text, 1, 5, &change->week) && take_char(text, '.') &&
           take_number(text, 0, 6, &change->weekday);
}

static bool
take_change(const char **text, struct zone_change *change)
{
    change->second = 2 * HOUR_S;
    if (!take_char(text, ',') || !take_day(text, change))
        return false;
    return !take_char(text, '/') || take_time(text, 167, &change->second);
}

bool
zone_rule_parse(const char *text, struct zone_rule *out_rule)
{
    struct zone_rule rule = {.changes = false};
    int32_t west = 0;
    if (!take_name(&text) || !take_time(&text, 24, &west))
        return false;
    rule.standard_s = -west;
    rule.summer_s = rule.standard_s + HOUR_S;
    if (*text != '\0') {
        rule.changes = true;
        if (!take_name(&text))
            return false;
        if (*text != ',') {
            if (!take_time(&text, 24, &west))
                return false;
            rule.summer_s = -west;
        }
        if (!take_change(&text, &rule.to_summer) || !take_change(&text, &rule.to_standard))
            return false;
    }
    if (*text != '\0')
        return false;
    *out_rule = rule;
    return true;
}

/* ---- using */

static int32_t
month_day(const struct zone_change *change, int year)
{
    int32_t first = day_make(year, change->month, 1);
    int32_t next =
        change->month == 12 ? day_make(year + 1, 1, 1) : day_make(year, change->month + 1, 1);
    int first_weekday = day_weekday(first) % 7; /* 0 is Sunday */
    int32_t day = first + (change->weekday - first_weekday + 7) % 7 + 7 * (change->week - 1);
    while (day >= next)
        day -= 7; /* week 5 is the last */
    return day;
}

static int32_t
change_day(const struct zone_change *change, int year)
{
    int32_t new_year = day_make(year, 1, 1);
    if (change->form == ZONE_DAY_MONTH)
        return month_day(change, year);
    if (change->form == ZONE_DAY_ZERO)
        return new_year + change->day;
    bool leap = day_make(year, 3, 1) - new_year == 60;
    return new_year + change->day - 1 + (leap && change->day >= 60);
}

int32_t
zone_rule_offset(const struct zone_rule *rule, int64_t at_s)
{
    if (!rule->changes)
        return rule->standard_s;
    int year = 0;
    int month = 0;
    int day = 0;
    day_split((int32_t)(at_s / DAY_S), &year, &month, &day);
    int64_t latest = INT64_MIN;
    int32_t offset = rule->standard_s;
    for (int y = year - 1; y <= year + 1; y++) { /* the last change not after the instant */
        int64_t summer = (int64_t)change_day(&rule->to_summer, y) * DAY_S + rule->to_summer.second -
                         rule->standard_s;
        int64_t standard = (int64_t)change_day(&rule->to_standard, y) * DAY_S +
                           rule->to_standard.second - rule->summer_s;
        if (standard <= at_s && standard > latest) {
            latest = standard;
            offset = rule->standard_s;
        }
        if (summer <= at_s && summer >= latest) {
            latest = summer;
            offset = rule->summer_s;
        }
    }
    return offset;
}
