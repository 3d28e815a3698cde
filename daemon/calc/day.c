/* day.c - days of the calendar as numbers. */
#include <string.h>

#include "daemon/calc/datemark.h"

static bool
is_leap(int year)
{
    return (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
}

int
calc_days_in_month(int year, int month)
{
    static const int days[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    return days[month - 1] + (month == 2 && is_leap(year) ? 1 : 0);
}

/* Days before 1 January of a year, from 1 January 0000; year >= 0. */
static int
days_before_year(int year)
{
    if (year == 0)
        return 0;
    int y = year - 1;
    return 365 * year + y / 4 - y / 100 + y / 400 + 1; /* year 0 is a leap year */
}

enum {
    DAYS_TO_1970 = 719528
};

int
calc_day_of(int year, int month, int day)
{
    int n = days_before_year(year) + day - 1 - DAYS_TO_1970;
    for (int m = 1; m < month; m++)
        n += calc_days_in_month(year, m);
    return n;
}

/* `count` digits as a number, -1 when one is not a digit. */
static int
read_digits(const char *s, int count)
{
    int n = 0;
    for (int i = 0; i < count; i++) {
        if (s[i] < '0' || s[i] > '9')
            return -1;
        n = n * 10 + (s[i] - '0');
    }
    return n;
}

bool
calc_day_read(const char *text, int *out_day)
{
    if (strlen(text) != 10 || text[4] != '-' || text[7] != '-')
        return false;
    int year = read_digits(text, 4);
    int month = read_digits(text + 5, 2);
    int day = read_digits(text + 8, 2);
    if (year < 0 || month < 1 || month > 12 || day < 1 || day > calc_days_in_month(year, month))
        return false;
    *out_day = calc_day_of(year, month, day);
    return true;
}

static void
print_digits(int n, char *to, int count)
{
    for (int i = count - 1; i >= 0; i--, n /= 10)
        to[i] = (char)('0' + n % 10);
}

bool
calc_day_print(int day, char text[11])
{
    text[0] = '\0';
    if (day < calc_day_of(0, 1, 1) || day > calc_day_of(9999, 12, 31))
        return false;
    int year = (day + DAYS_TO_1970) / 366; /* never too large, at most a few too small */
    while (calc_day_of(year, 12, 31) < day)
        year++;
    int month = 1;
    while (month < 12 && calc_day_of(year, month + 1, 1) <= day)
        month++;
    memcpy(text, "0000-00-00", 11);
    print_digits(year, text, 4);
    print_digits(month, text + 5, 2);
    print_digits(day - calc_day_of(year, month, 1) + 1, text + 8, 2);
    return true;
}
