/* next_label.c - the label that most likely comes next on a roll. */
#include "daemon/serve/next_label.h"

#include <stdbool.h>
#include <stdio.h>
#include <string.h>
#include "proto/when.h"

static bool
is_digit(char c)
{
    return c >= '0' && c <= '9';
}

/* Where the digits at the end begin. */
static size_t
digits_at(const char *text)
{
    size_t at = strlen(text);
    while (at > 0 && is_digit(text[at - 1]))
        at--;
    return at;
}

/* "Q-0303-12": is the part before the number a day of the year, MMDD, between two dashes? */
static bool
has_day(const char *label, size_t number_at)
{
    if (number_at < 6 || label[number_at] == '\0' || label[number_at - 1] != '-' ||
        label[number_at - 6] != '-')
        return false;
    for (size_t i = number_at - 5; i < number_at - 1; i++)
        if (!is_digit(label[i]))
            return false;
    int month = (label[number_at - 5] - '0') * 10 + label[number_at - 4] - '0';
    int day = (label[number_at - 3] - '0') * 10 + label[number_at - 2] - '0';
    return month >= 1 && month <= 12 && day >= 1 && day <= 31;
}

static void
day_digits(int32_t today, char out[8])
{
    int year, month, day;
    day_split(today, &year, &month, &day);
    (void)snprintf(out, 8, "%02u%02u", (unsigned)month % 100, (unsigned)day % 100);
}

/* The digits from `at` on, plus one, with as many places; 999 goes on with 1000. */
static void
count_on(const char *last, size_t at, char out[LABEL_TEXT])
{
    size_t len = strlen(last), i = len;
    (void)snprintf(out, LABEL_TEXT, "%s", last);
    while (i > at && out[i - 1] == '9')
        out[--i] = '0';
    if (i > at) {
        out[i - 1]++;
    } else if (len + 1 < LABEL_TEXT) {
        memmove(out + at + 1, out + at, len - at + 1);
        out[at] = '1';
    }
}

void
next_label(const char *last, const char *site, int32_t today, char out[LABEL_TEXT])
{
    char day[8];
    size_t at = digits_at(last);
    day_digits(today, day);
    if (last[0] == '\0' || last[at] == '\0') {
        char first = site[0] >= 'a' && site[0] <= 'z' ? (char)(site[0] - 'a' + 'A') : site[0];
        (void)snprintf(out, LABEL_TEXT, "%c-%s-1", first, day);
    } else if (has_day(last, at) && strncmp(last + at - 5, day, 4) != 0) {
        (void)snprintf(out, LABEL_TEXT, "%.*s%s-1", (int)(at - 5), last, day);
    } else {
        count_on(last, at, out);
    }
}
