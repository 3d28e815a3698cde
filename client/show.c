/* show.c - text that people see: safe on a terminal, as wide as it looks. */
#include "client/show.h"

#include <stdlib.h>
#include <string.h>
#include <utf8proc.h>
#include "client/command.h"
#include "proto/when.h"

/* Marks that turn the writing or are not seen at all. */
static bool
is_hidden(utf8proc_int32_t letter)
{
    utf8proc_category_t category = utf8proc_category(letter);
    return category == UTF8PROC_CATEGORY_CC || category == UTF8PROC_CATEGORY_CF ||
           category == UTF8PROC_CATEGORY_ZL || category == UTF8PROC_CATEGORY_ZP ||
           category == UTF8PROC_CATEGORY_CN || category == UTF8PROC_CATEGORY_CO;
}

/* Bytes of the letter at `text`, 0 at the end; *out_letter is -1 for bytes that are none. */
static size_t
next_letter(const char *text, utf8proc_int32_t *out_letter)
{
    if (text[0] == '\0')
        return 0;
    utf8proc_ssize_t n = utf8proc_iterate((const utf8proc_uint8_t *)text, -1, out_letter);
    if (n > 0)
        return (size_t)n;
    *out_letter = -1;
    return 1;
}

char *
show_safe(const char *text, char *out, size_t size)
{
    utf8proc_int32_t letter;
    size_t used = 0, n;
    for (; (n = next_letter(text, &letter)) > 0; text += n) {
        bool bad = letter < 0 || is_hidden(letter);
        size_t len = bad ? 1 : n;
        if (used + len + 1 > size)
            break;
        memcpy(out + used, bad ? "?" : text, len);
        used += len;
    }
    out[used] = '\0';
    return out;
}

static size_t
letter_width(utf8proc_int32_t letter)
{
    int width = letter < 0 ? 1 : utf8proc_charwidth(letter);
    return width > 0 ? (size_t)width : 0;
}

size_t
show_width(const char *text)
{
    utf8proc_int32_t letter;
    size_t width = 0, n;
    for (; (n = next_letter(text, &letter)) > 0; text += n)
        width += letter_width(letter);
    return width;
}

char *
show_cut(const char *text, size_t width, char *out, size_t size)
{
    utf8proc_int32_t letter;
    size_t used = 0, wide = 0, n;
    (void)snprintf(out, size, "%s", text);
    if (show_width(text) <= width)
        return out;
    for (; (n = next_letter(text, &letter)) > 0; text += n) {
        if (wide + letter_width(letter) + 1 > width || used + n + 4 > size)
            break;
        wide += letter_width(letter);
        used += n;
    }
    (void)snprintf(out + used, size - used, "…");
    return out;
}

void
show_padded(FILE *f, const char *text, size_t width, bool right)
{
    size_t wide = show_width(text);
    int blanks = wide < width ? (int)(width - wide) : 0;
    if (right)
        (void)fprintf(f, "%*s%s", blanks, "", text);
    else
        (void)fprintf(f, "%s%*s", text, blanks, "");
}

void
show_wrapped(FILE *f, const char *text, size_t indent)
{
    size_t column = 0;
    while (*text != '\0') {
        char word[SHOW_TEXT];
        size_t len = strcspn(text, " ");
        (void)snprintf(word, sizeof word, "%.*s", (int)(len < sizeof word ? len : sizeof word - 1),
                       text);
        size_t wide = show_width(word);
        if (column > 0 && column + 1 + wide > TEXT_WIDTH) {
            (void)fprintf(f, "\n%*s", (int)indent, "");
            column = indent;
        } else if (column > 0) {
            (void)fputc(' ', f);
            column++;
        }
        (void)fputs(word, f);
        column += wide;
        text += len;
        text += strspn(text, " ");
    }
    (void)fputc('\n', f);
}

char *
show_mass(int64_t grams, char out[32])
{
    int64_t size = grams < 0 ? -grams : grams;
    const char *sign = grams < 0 ? "-" : "";
    if (size < 100)
        (void)snprintf(out, 32, "%s%lld g", sign, (long long)size);
    else /* to 10 g, half up */
        (void)snprintf(out, 32, "%s%lld.%02lld kg", sign, (long long)((size + 5) / 1000),
                       (long long)((size + 5) / 10 % 100));
    return out;
}

char *
show_volume(int64_t ml, char out[32])
{
    if (ml < 1000)
        (void)snprintf(out, 32, "%lld ml", (long long)ml);
    else
        (void)snprintf(out, 32, "%lld.%lld l", (long long)((ml + 50) / 1000),
                       (long long)((ml + 50) / 100 % 10));
    return out;
}

static const char *const months[] = {"January",   "February", "March",    "April",
                                     "May",       "June",     "July",     "August",
                                     "September", "October",  "November", "December"};

static void
print_day(int32_t day, char *out, size_t size)
{
    int year, month, day_of_month;
    day_split(day, &year, &month, &day_of_month);
    (void)snprintf(out, size, "%2d %.3s", day_of_month, months[month - 1]);
}

char *
show_date(const char *text, char out[32])
{
    char date[11];
    int32_t day;
    (void)snprintf(date, sizeof date, "%.10s", text);
    if (day_parse(date, &day))
        print_day(day, out, 32);
    else
        (void)show_safe(text, out, 32);
    return out;
}

/* The wall clock as the text itself has it, in its own offset. */
char *
show_when(const char *text, char out[32])
{
    int64_t ms;
    (void)show_date(text, out);
    if (when_parse(text, &ms, NULL) && strlen(text) >= 16) {
        size_t len = strlen(out);
        (void)snprintf(out + len, 32 - len, " %.5s", text + 11);
    }
    return out;
}

char *
show_long_date(int32_t day, char out[48])
{
    static const char *const weekdays[] = {"Monday", "Tuesday",  "Wednesday", "Thursday",
                                           "Friday", "Saturday", "Sunday"};
    int year, month, day_of_month;
    day_split(day, &year, &month, &day_of_month);
    (void)snprintf(out, 48, "%s %d %s", weekdays[day_weekday(day) - 1], day_of_month,
                   months[month - 1]);
    return out;
}

char *
show_span(int64_t minutes, char out[32])
{
    if (minutes < 60)
        (void)snprintf(out, 32, "%lld min", (long long)minutes);
    else if (minutes % 60 == 0)
        (void)snprintf(out, 32, "%lld h", (long long)(minutes / 60));
    else
        (void)snprintf(out, 32, "%lld h %lld min", (long long)(minutes / 60),
                       (long long)(minutes % 60));
    return out;
}
