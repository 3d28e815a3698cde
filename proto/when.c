/* when.c - day arithmetic of the proleptic Gregorian calendar, and its texts. */
#include "proto/when.h"

enum {
    MS_PER_SECOND = 1000,
    SECONDS_PER_DAY = 86400,
    MONTHS = 12
};

/* Days before each month of a year that begins on 1 March, so that 29 February comes last. */
int32_t
day_make(int year, int month, int day_of_month)
{
    int64_t y = (int64_t)year - (month <= 2);
    int64_t era = (y >= 0 ? y : y - 399) / 400;
    int64_t year_of_era = y - era * 400;
    int64_t day_of_year = (153 * ((month + 9) % MONTHS) + 2) / 5 + day_of_month - 1;
    int64_t day_of_era = year_of_era * 365 + year_of_era / 4 - year_of_era / 100 + day_of_year;
    return (int32_t)(era * 146097 + day_of_era - 719468);
}

void
day_split(int32_t day, int *out_year, int *out_month, int *out_day_of_month)
{
    int64_t z = (int64_t)day + 719468;
    int64_t era = (z >= 0 ? z : z - 146096) / 146097;
    int64_t doe = z - era * 146097;
    int64_t yoe = (doe - doe / 1460 + doe / 36524 - doe / 146096) / 365;
    int64_t doy = doe - (365 * yoe + yoe / 4 - yoe / 100);
    int64_t mp = (5 * doy + 2) / 153;
    *out_day_of_month = (int)(doy - (153 * mp + 2) / 5 + 1);
    *out_month = (int)(mp < 10 ? mp + 3 : mp - 9);
    *out_year = (int)(yoe + era * 400 + (*out_month <= 2));
}

int
day_weekday(int32_t day)
{
    int from_thursday = (int)(((int64_t)day % 7 + 7) % 7); /* 1970-01-01 was a Thursday */
    return (from_thursday + 3) % 7 + 1;
}

/* `digits` digits at *text; moves behind them. */
static bool
take_digits(const char **text, int digits, int *out)
{
    int value = 0;
    for (int i = 0; i < digits; i++) {
        char c = (*text)[i];
        if (c < '0' || c > '9')
            return false;
        value = value * 10 + (c - '0');
    }
    *text += digits;
    *out = value;
    return true;
}

static bool
take_char(const char **text, char c)
{
    if (**text != c)
        return false;
    (*text)++;
    return true;
}

static int
days_in_month(int year, int month)
{
    int next_year = month == MONTHS ? year + 1 : year;
    return day_make(next_year, month % MONTHS + 1, 1) - day_make(year, month, 1);
}

static bool
take_date(const char **text, int least_year, int32_t *out_day)
{
    int year = 0;
    int month = 0;
    int day = 0;
    bool shape = take_digits(text, 4, &year) && take_char(text, '-') &&
                 take_digits(text, 2, &month) && take_char(text, '-') && take_digits(text, 2, &day);
    if (!shape || year < least_year || month < 1 || month > MONTHS)
        return false;
    if (day < 1 || day > days_in_month(year, month))
        return false;
    *out_day = day_make(year, month, day);
    return true;
}

/* ".123456" behind the seconds, cut to milliseconds; nothing there is 0. */
static bool
take_fraction(const char **text, int *out_ms)
{
    *out_ms = 0;
    if (!take_char(text, '.'))
        return true;
    int n = 0;
    for (int weight = 100; **text >= '0' && **text <= '9'; (*text)++, n++, weight /= 10)
        *out_ms += (**text - '0') * weight;
    return n >= 1 && n <= 9;
}

static bool
take_time(const char **text, int64_t *out_ms)
{
    int hour = 0;
    int minute = 0;
    int second = 0;
    int ms = 0;
    bool shape = take_digits(text, 2, &hour) && take_char(text, ':') &&
                 take_digits(text, 2, &minute) && take_char(text, ':') &&
                 take_digits(text, 2, &second) && take_fraction(text, &ms);
    if (!shape || hour > 23 || minute > 59 || second > 59)
        return false;
    *out_ms = (int64_t)((hour * 60 + minute) * 60 + second) * MS_PER_SECOND + ms;
    return true;
}

static bool
take_offset(const char **text, int *out_min)
{
    *out_min = 0;
    if (take_char(text, 'Z') || take_char(text, 'z'))
        return true;
    int sign = **text == '-' ? -1 : 1;
    int hour = 0;
    int minute = 0;
    if (!take_char(text, '+') && !take_char(text, '-'))
        return false;
    if (!take_digits(text, 2, &hour) || !take_char(text, ':') || !take_digits(text, 2, &minute))
        return false;
    *out_min = sign * (hour * 60 + minute);
    return hour <= 23 && minute <= 59;
}

bool
when_parse(const char *text, int64_t *out_ms, int *out_offset_min)
{
    int32_t day = 0;
    int64_t ms = 0;
    int offset = 0;
    if (!take_date(&text, 1969, &day) || (!take_char(&text, 'T') && !take_char(&text, 't')))
        return false;
    if (!take_time(&text, &ms) || !take_offset(&text, &offset) || *text != '\0')
        return false;
    int64_t at = ((int64_t)day * SECONDS_PER_DAY - (int64_t)offset * 60) * MS_PER_SECOND + ms;
    if (at < 0 || at > WHEN_MOST_MS)
        return false;
    *out_ms = at;
    if (out_offset_min != NULL)
        *out_offset_min = offset;
    return true;
}

/* `value` in `digits` digits (its last ones) at `to`; returns where they end. */
static char *
put_digits(char *to, int value, int digits)
{
    for (int i = digits - 1; i >= 0; i--, value /= 10)
        to[i] = (char)('0' + (value < 0 ? 0 : value % 10));
    return to + digits;
}

static char *
put_char(char *to, char c)
{
    *to = c;
    return to + 1;
}

static char *
put_date(char *to, int32_t day)
{
    int year = 0;
    int month = 0;
    int day_of_month = 0;
    day_split(day, &year, &month, &day_of_month);
    to = put_char(put_digits(to, year, 4), '-');
    to = put_char(put_digits(to, month, 2), '-');
    return put_digits(to, day_of_month, 2);
}

static char *
put_clock(char *to, int minutes)
{
    return put_digits(put_char(put_digits(to, minutes / 60, 2), ':'), minutes % 60, 2);
}

char *
when_print(int64_t ms, int offset_min, char out[WHEN_TEXT])
{
    const int64_t day_ms = (int64_t)SECONDS_PER_DAY * MS_PER_SECOND;
    int64_t local = ms + (int64_t)offset_min * 60 * MS_PER_SECOND;
    int64_t of_day = local % day_ms;
    if (of_day < 0)
        of_day += day_ms;
    int second = (int)(of_day / MS_PER_SECOND);
    int fraction = (int)(of_day % MS_PER_SECOND);
    char *to = put_char(put_date(out, (int32_t)((local - of_day) / day_ms)), 'T');
    to = put_digits(put_char(put_clock(to, second / 60), ':'), second % 60, 2);
    if (fraction != 0)
        to = put_digits(put_char(to, '.'), fraction, 3);
    to = put_char(to, offset_min < 0 ? '-' : '+');
    to = put_clock(to, offset_min < 0 ? -offset_min : offset_min);
    *to = '\0';
    return out;
}

bool
day_parse(const char *text, int32_t *out_day)
{
    int32_t day = 0;
    if (!take_date(&text, 1900, &day) || *text != '\0')
        return false;
    *out_day = day;
    return true;
}

char *
day_print(int32_t day, char out[DAY_TEXT])
{
    *put_date(out, day) = '\0';
    return out;
}

bool
month_parse(const char *text, int32_t *out_month)
{
    int year = 0;
    int month = 0;
    if (!take_digits(&text, 4, &year) || !take_char(&text, '-') || !take_digits(&text, 2, &month))
        return false;
    if (*text != '\0' || year < 1900 || month < 1 || month > MONTHS)
        return false;
    *out_month = year * MONTHS + month - 1;
    return true;
}

char *
month_print(int32_t month, char out[MONTH_TEXT])
{
    char *to = put_char(put_digits(out, month / MONTHS, 4), '-');
    *put_digits(to, month % MONTHS + 1, 2) = '\0';
    return out;
}

int32_t
month_of_day(int32_t day)
{
    int year = 0;
    int month = 0;
    int day_of_month = 0;
    day_split(day, &year, &month, &day_of_month);
    return year * MONTHS + month - 1;
}

int32_t
month_first_day(int32_t month)
{
    return day_make(month / MONTHS, month % MONTHS + 1, 1);
}

int32_t
month_last_day(int32_t month)
{
    return month_first_day(month + 1) - 1;
}
