/* elapsed.c - instants with offsets. */
#include "daemon/calc/elapsed.h"

#include <string.h>

#include "daemon/calc/datemark.h"

static bool
is_digit(char c)
{
    return c >= '0' && c <= '9';
}

/* Two digits, 0 .. most; -1 otherwise. */
static int
two_digits(const char *s, int most)
{
    if (!is_digit(s[0]) || !is_digit(s[1]))
        return -1;
    int n = (s[0] - '0') * 10 + (s[1] - '0');
    return n <= most ? n : -1;
}

/* "hh:mm:ss" as seconds of the day, -1 otherwise. */
static int
read_clock(const char *s)
{
    int h = two_digits(s, 23);
    int m = s[2] == ':' ? two_digits(s + 3, 59) : -1;
    int sec = m >= 0 && s[5] == ':' ? two_digits(s + 6, 59) : -1;
    return h < 0 || m < 0 || sec < 0 ? -1 : (h * 60 + m) * 60 + sec;
}

/* ".5" as nanoseconds; moves *s past it. -1: no digit, or more than nine. */
static int32_t
read_fraction(const char **s)
{
    if (**s != '.')
        return 0;
    int32_t ns = 0;
    int digits = 0;
    for ((*s)++; is_digit(**s); (*s)++, digits++)
        if (digits < 9)
            ns = ns * 10 + (**s - '0');
    if (digits < 1 || digits > 9)
        return -1;
    for (; digits < 9; digits++)
        ns *= 10;
    return ns;
}

/* "Z", "+hh:mm", "-hh:mm" to the end of the text, as seconds east of UTC. */
static bool
read_offset(const char *s, int *out_s)
{
    *out_s = 0;
    if (strcmp(s, "Z") == 0)
        return true;
    if (strlen(s) != 6 || (s[0] != '+' && s[0] != '-') || s[3] != ':')
        return false;
    int h = two_digits(s + 1, 23);
    int m = two_digits(s + 4, 59);
    *out_s = (h * 60 + m) * 60 * (s[0] == '-' ? -1 : 1);
    return h >= 0 && m >= 0;
}

bool
calc_instant_read(const char *text, struct calc_instant *out_instant)
{
    char date[11] = {0};
    int day = 0;
    int offset = 0;
    if (strlen(text) < 20 || text[10] != 'T')
        return false;
    memcpy(date, text, 10);
    int clock = read_clock(text + 11);
    const char *rest = text + 19;
    int32_t ns = read_fraction(&rest);
    if (!calc_day_read(date, &day) || clock < 0 || ns < 0 || !read_offset(rest, &offset))
        return false;
    *out_instant = (struct calc_instant){(int64_t)day * 86400 + clock - offset, ns};
    return true;
}

double
calc_elapsed_minutes(const struct calc_instant *from, const struct calc_instant *to)
{
    int64_t s = to->s - from->s;
    int32_t ns = to->ns - from->ns;
    return (double)s / 60 + ns / 60e9;
}
