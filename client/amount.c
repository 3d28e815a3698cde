/* amount.c - weights and clock times as people type them. */
#include "client/amount.h"

#include <stdio.h>
#include <string.h>
#include "proto/when.h"

enum {
    MASS_DIGITS_MOST = 12,
    AHEAD_MS = 5 * 60 * 1000,
    NIGHT_END_MIN = 5 * 60,
    NIGHT_MS = 12 * 3600 * 1000,
};
static const int64_t MASS_MOST_G = 1000000000;

static bool
is_digit(char c)
{
    return c >= '0' && c <= '9';
}

/* A number as digits and how many of them are decimals; *text moves behind it. */
static bool
read_number(const char **text, int64_t *out_digits, int *out_decimals)
{
    int digits = 0, decimals = 0;
    bool point = false;
    int64_t value = 0;
    const char *at = *text;
    for (; is_digit(*at) || (!point && (*at == '.' || *at == ',')); at++) {
        if (!is_digit(*at)) {
            point = true;
            continue;
        }
        if (++digits > MASS_DIGITS_MOST)
            return false;
        value = value * 10 + (*at - '0');
        decimals += point;
    }
    *text = at;
    *out_digits = value;
    *out_decimals = decimals;
    return digits > 0 && !(point && decimals == 0);
}

/* value / 10^decimals kilograms (places 3) or grams (places 0), half up. */
static int64_t
scale(int64_t value, int decimals, int places)
{
    for (; decimals < places; decimals++)
        value *= 10;
    int64_t divisor = 1;
    for (; decimals > places; decimals--)
        divisor *= 10;
    return (value + divisor / 2) / divisor;
}

enum err
amount_mass(const char *field, const char *text, int64_t *out_g, struct err_text *why)
{
    static const char want[] = "a weight such as 3.62 kg or 3620 g";
    const char *at = text;
    int64_t digits, grams;
    int decimals;
    if (!read_number(&at, &digits, &decimals))
        return err_input(why, field, text, want);
    at += strspn(at, " ");
    if (strcmp(at, "kg") == 0 || (at[0] == '\0' && decimals > 0))
        grams = scale(digits, decimals, 3);
    else if (strcmp(at, "g") == 0 || (at[0] == '\0' && (digits >= 100 || digits == 0)))
        grams = scale(digits, decimals, 0);
    else
        return err_input(why, field, text, at[0] == '\0' ? "kg or g behind the number" : want);
    if (grams > MASS_MOST_G)
        return err_input(why, field, text, "at most 1000000 kg");
    *out_g = grams;
    return ERR_OK;
}

/* "17:40", "17.40", "1740", "9:05". */
static bool
read_clock(const char *text, int *out_minute)
{
    int numbers[2] = {0, 0}, part = 0, digits = 0, total = 0;
    for (const char *at = text; *at != '\0'; at++) {
        if ((*at == ':' || *at == '.') && part == 0 && digits > 0) {
            part = 1;
            digits = 0;
            continue;
        }
        if (!is_digit(*at) || ++total > 4 || (part == 1 && digits == 2))
            return false;
        numbers[part] = numbers[part] * 10 + (*at - '0');
        digits++;
    }
    if (part == 0 && total == 4) {
        numbers[1] = numbers[0] % 100;
        numbers[0] /= 100;
    } else if (part == 0 || digits != 2) {
        return false;
    }
    *out_minute = numbers[0] * 60 + numbers[1];
    return numbers[0] <= 23 && numbers[1] <= 59;
}

static bool
read_dated(const char *text, int32_t *out_day, int *out_minute)
{
    char day[11];
    if (strlen(text) < 15 || (text[10] != ' ' && text[10] != 'T'))
        return false;
    (void)snprintf(day, sizeof day, "%.10s", text);
    return day_parse(day, out_day) && read_clock(text + 11, out_minute);
}

/* After midnight people still close the evening before, whatever the hour a day begins on. */
static bool
is_tonight(const struct amount_day *day, int minute)
{
    struct err_text ignored; /* a time that the clocks leave out is told for its own day */
    int64_t ms;
    return minute < NIGHT_END_MIN &&
           zone_instant(day->zone, day->day + 1, minute, &ms, NULL, &ignored) == ERR_OK &&
           ms <= day->now_ms + AHEAD_MS && day->now_ms - ms < NIGHT_MS;
}

enum err
amount_time(const char *field, const char *text, const struct amount_day *day, int64_t *out_ms,
            struct err_text *why)
{
    int minute = 0;
    int32_t date = day->day;
    int64_t ms = day->now_ms - day->now_ms % 1000; /* people mean no milliseconds */
    char now[8], want[64];
    enum err e = ERR_OK;
    if (read_clock(text, &minute))
        date += minute < day->start_min || is_tonight(day, minute);
    else if (strcmp(text, "now") != 0 && !read_dated(text, &date, &minute))
        return err_input(why, field, text, "a time such as 17:40");
    if (strcmp(text, "now") != 0)
        e = zone_instant(day->zone, date, minute, &ms, NULL, why);
    if (e != ERR_OK) {
        err_prefix(why, "%s: ", field);
        return e;
    }
    if (ms > day->now_ms + AHEAD_MS) {
        (void)snprintf(want, sizeof want, "a time that has been: it is %s now",
                       amount_clock(day->zone, day->now_ms, now));
        return err_input(why, field, text, want);
    }
    *out_ms = ms;
    return ERR_OK;
}

char *
amount_print(const struct zone *zone, int64_t ms, char out[40])
{
    return when_print(ms, zone_offset_min(zone, ms), out);
}

char *
amount_clock(const struct zone *zone, int64_t ms, char out[8])
{
    char text[WHEN_TEXT];
    (void)snprintf(out, 8, "%.5s", amount_print(zone, ms, text) + 11);
    return out;
}
