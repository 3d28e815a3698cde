/* text.c - small checks of text, each byte looked at once. */
#include "proto/text.h"

#include <string.h>
#include <utf8proc.h>

enum {
    DECIMAL_MOST = 32
};

/* May this character outside ASCII stand in a text of the form? */
static bool
letter_good(utf8proc_int32_t letter, enum text_form form)
{
    switch (utf8proc_category(letter)) {
    case UTF8PROC_CATEGORY_CC:
    case UTF8PROC_CATEGORY_CS:
        return false;
    case UTF8PROC_CATEGORY_CF:
    case UTF8PROC_CATEGORY_ZS:
    case UTF8PROC_CATEGORY_ZL:
    case UTF8PROC_CATEGORY_ZP:
        return form == TEXT_FREE;
    default:
        return true;
    }
}

/* The bytes that the letter at `text` takes, 0 when it is none that is good. Never reads past
 * the NUL, because a NUL is no continuation. */
static size_t
wide_letter(const char *text, enum text_form form)
{
    unsigned char lead = (unsigned char)text[0];
    size_t n = lead >= 0xF0 ? 4 : lead >= 0xE0 ? 3 : 2;
    for (size_t i = 1; i < n; i++)
        if (((unsigned char)text[i] & 0xC0) != 0x80)
            return 0;
    utf8proc_int32_t letter = 0;
    utf8proc_ssize_t got =
        utf8proc_iterate((const utf8proc_uint8_t *)text, (utf8proc_ssize_t)n, &letter);
    return got == (utf8proc_ssize_t)n && letter_good(letter, form) ? n : 0;
}

/* In which forms a byte of ASCII may stand: a set of bits 1 << form. */
static const uint8_t ascii[256] = {
    ['!' ... '~'] = 1 << TEXT_FREE | 1 << TEXT_CODE,
    [' '] = 1 << TEXT_FREE,
    ['\n'] = 1 << TEXT_FREE,
    ['\t'] = 1 << TEXT_FREE,
};

/* Where the letters of ASCII that are good end. */
static const char *
skip_ascii(const char *p, enum text_form form)
{
    while ((ascii[(unsigned char)*p] & 1 << form) != 0)
        p++;
    return p;
}

bool
text_good(const char *text, enum text_form form, size_t least, size_t most)
{
    const char *p = skip_ascii(text, form);
    while ((unsigned char)*p >= 0xC2) {
        size_t n = wide_letter(p, form);
        if (n == 0)
            return false;
        p = skip_ascii(p + n, form);
    }
    size_t len = (size_t)(p - text);
    return *p == '\0' && len >= least && len <= most;
}

/* Line and paragraph separators and marks that turn the direction of the text around them. */
static bool
moves_text(const char *letter, size_t n)
{
    /* NOLINTBEGIN(misc-misleading-bidirectional): that is what is looked for */
    static const char *const marks[] = {
        "\xD8\x9C",     "\xE2\x80\x8E", "\xE2\x80\x8F", "\xE2\x80\xA8", "\xE2\x80\xA9",
        "\xE2\x80\xAA", "\xE2\x80\xAB", "\xE2\x80\xAC", "\xE2\x80\xAD", "\xE2\x80\xAE",
        "\xE2\x81\xA6", "\xE2\x81\xA7", "\xE2\x81\xA8", "\xE2\x81\xA9"};
    /* NOLINTEND(misc-misleading-bidirectional) */
    for (size_t i = 0; i < sizeof marks / sizeof marks[0]; i++)
        if (strlen(marks[i]) == n && memcmp(marks[i], letter, n) == 0)
            return true;
    return false;
}

char *
text_shown(const char *text, char *out, size_t size)
{
    size_t used = 0;
    while (*text != '\0' && used + 1 < size) {
        unsigned char c = (unsigned char)*text;
        size_t n = c >= 0xC2 ? wide_letter(text, TEXT_FREE) : 1;
        if (n > 1 && used + n >= size)
            break;
        bool plain = n > 1 ? !moves_text(text, n) : n == 1 && c >= ' ' && c < 0x7F;
        if (n == 0)
            n = 1;
        if (plain)
            memcpy(out + used, text, n);
        else
            out[used] = '?';
        used += plain ? n : 1;
        text += n;
    }
    out[used] = '\0';
    return out;
}

static bool
is_digit(char c)
{
    return c >= '0' && c <= '9';
}

static const char *
skip_digits(const char *p)
{
    while (is_digit(*p))
        p++;
    return p;
}

bool
decimal_text_good(const char *text)
{
    const char *p = text + (*text == '-');
    const char *end = skip_digits(p);
    if (end == p)
        return false;
    if (*end == '.') {
        p = end + 1;
        end = skip_digits(p);
        if (end == p)
            return false;
    }
    return *end == '\0' && end - text <= DECIMAL_MOST;
}

/* A decimal taken apart: digits before the point without leading zeros, digits behind. */
struct parts {
    bool negative;
    const char *whole, *fraction;
    size_t whole_n, fraction_n;
};

static struct parts
take_apart(const char *text)
{
    struct parts d = {.negative = *text == '-'};
    d.whole = text + d.negative;
    while (*d.whole == '0')
        d.whole++;
    const char *end = skip_digits(d.whole);
    d.whole_n = (size_t)(end - d.whole);
    d.fraction = end + (*end == '.');
    d.fraction_n = strlen(d.fraction);
    while (d.fraction_n > 0 && d.fraction[d.fraction_n - 1] == '0')
        d.fraction_n--;
    if (d.whole_n == 0 && d.fraction_n == 0)
        d.negative = false;
    return d;
}

/* Compares without the signs. */
static int
compare_sizes(const struct parts *a, const struct parts *b)
{
    if (a->whole_n != b->whole_n)
        return a->whole_n < b->whole_n ? -1 : 1;
    int order = memcmp(a->whole, b->whole, a->whole_n);
    if (order != 0)
        return order;
    size_t both = a->fraction_n < b->fraction_n ? a->fraction_n : b->fraction_n;
    order = memcmp(a->fraction, b->fraction, both);
    if (order != 0)
        return order;
    return (a->fraction_n > b->fraction_n) - (a->fraction_n < b->fraction_n);
}

int
decimal_text_compare(const char *a, const char *b)
{
    struct parts x = take_apart(a);
    struct parts y = take_apart(b);
    if (x.negative != y.negative)
        return x.negative ? -1 : 1;
    return x.negative ? compare_sizes(&y, &x) : compare_sizes(&x, &y);
}

int
hhmm_minutes(const char *text)
{
    bool shape = is_digit(text[0]) && is_digit(text[1]) && text[2] == ':' && is_digit(text[3]) &&
                 is_digit(text[4]) && text[5] == '\0';
    if (!shape)
        return -1;
    int hour = (text[0] - '0') * 10 + text[1] - '0';
    int minute = (text[3] - '0') * 10 + text[4] - '0';
    return hour < 24 && minute < 60 ? hour * 60 + minute : -1;
}

char *
hex_print(const uint8_t *bytes, size_t n, char *out)
{
    static const char digits[] = "0123456789abcdef";
    for (size_t i = 0; i < n; i++) {
        out[2 * i] = digits[bytes[i] >> 4];
        out[2 * i + 1] = digits[bytes[i] & 15];
    }
    out[2 * n] = '\0';
    return out;
}

static int
hex_digit(char c)
{
    if (is_digit(c))
        return c - '0';
    if (c >= 'a' && c <= 'f')
        return c - 'a' + 10;
    return c >= 'A' && c <= 'F' ? c - 'A' + 10 : -1;
}

/* Two digits at *text to a byte; moves behind them. */
static bool
take_byte(const char **text, uint8_t *out)
{
    int high = hex_digit((*text)[0]);
    int low = high < 0 ? -1 : hex_digit((*text)[1]);
    if (low < 0)
        return false;
    *out = (uint8_t)(high * 16 + low);
    *text += 2;
    return true;
}

bool
hex_parse(const char *text, size_t n, uint8_t *out_bytes)
{
    for (size_t i = 0; i < n; i++)
        if (!take_byte(&text, &out_bytes[i]))
            return false;
    return *text == '\0';
}

/* Does a dash stand before byte i? */
static bool
dash_before(size_t i)
{
    return i == 4 || i == 6 || i == 8 || i == 10;
}

char *
uuid_print(const uint8_t id[UUID_SIZE], char out[UUID_TEXT])
{
    char *to = out;
    for (size_t i = 0; i < UUID_SIZE; i++) {
        if (dash_before(i))
            *to++ = '-';
        (void)hex_print(&id[i], 1, to);
        to += 2;
    }
    return out;
}

bool
uuid_parse(const char *text, uint8_t out_id[UUID_SIZE])
{
    for (size_t i = 0; i < UUID_SIZE; i++) {
        if (dash_before(i) && *text++ != '-')
            return false;
        if (!take_byte(&text, &out_id[i]))
            return false;
    }
    return *text == '\0';
}
