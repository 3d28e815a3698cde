/* sheet_text.c - see sheet_text.h. */
#include "daemon/exchange/sheet_text.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "proto/when.h"

enum {
    NAME_CHARS = 31,
    CELL_CHARS = 32000 /* of 32,767 that a cell holds */
};

/* Bytes of the first `chars` characters. */
static size_t
bytes_of(const char *text, size_t chars)
{
    size_t at = 0;
    while (text[at] != '\0' && chars-- > 0) {
        at++;
        while (((unsigned char)text[at] & 0xC0) == 0x80)
            at++;
    }
    return at;
}

size_t
sheet_width(const char *text)
{
    size_t n = 0;
    for (; *text != '\0'; text++)
        n += ((unsigned char)*text & 0xC0) != 0x80;
    return n;
}

static bool
is_taken(const struct sheet_names *names, const char *name)
{
    for (size_t i = 0; i < names->n; i++)
        if (strcasecmp(names->taken[i], name) == 0)
            return true;
    return false;
}

const char *
sheet_name(struct sheet_names *names, const char *title, char out[SHEET_NAME])
{
    char base[SHEET_NAME];
    size_t len = bytes_of(title, NAME_CHARS);
    (void)snprintf(base, sizeof base, "%.*s", (int)len, len > 0 ? title : "Table");
    for (char *c = base; *c != '\0'; c++)
        if ((unsigned char)*c < 0x20 || strchr("[]:*?/\\'", *c) != NULL)
            *c = '-';
    (void)snprintf(out, SHEET_NAME, "%s", base);
    for (int i = 2; is_taken(names, out) && i < 1000; i++) {
        char mark[8];
        size_t room = NAME_CHARS - (size_t)snprintf(mark, sizeof mark, " %d", i);
        (void)snprintf(out, SHEET_NAME, "%.*s%s", (int)bytes_of(base, room), base, mark);
    }
    if (names->n < SHEET_NAMES_MOST)
        (void)snprintf(names->taken[names->n++], SHEET_NAME, "%s", out);
    return out;
}

char *
sheet_clean(const char *text)
{
    static const char instead[] = "\xef\xbf\xbd";
    size_t len = bytes_of(text, CELL_CHARS), used = 0;
    char *clean = malloc(len * 3 + 1);
    for (size_t i = 0; clean != NULL && i < len; i++) {
        unsigned char c = (unsigned char)text[i];
        if ((c >= 0x20 && c != 0x7F) || c == '\n') {
            clean[used++] = text[i];
        } else {
            memcpy(clean + used, instead, 3);
            used += 3;
        }
    }
    if (clean != NULL)
        clean[used] = '\0';
    return clean;
}

bool
sheet_number(const char *text, int digits_most, double *out_value, int *out_places)
{
    size_t sign = text[0] == '-', whole = strspn(text + sign, "0123456789"), places = 0;
    const char *rest = text + sign + whole;
    if (whole == 0)
        return false;
    if (*rest == '.') {
        places = strspn(rest + 1, "0123456789");
        rest += 1 + places;
        if (places == 0)
            return false;
    }
    if (*rest != '\0' || whole + places > (size_t)digits_most)
        return false;
    *out_value = strtod(text, NULL); /* programs that link this keep the locale "C" */
    *out_places = (int)places;
    return true;
}

bool
sheet_day(const char *text, int *out_year, int *out_month, int *out_day)
{
    int32_t day = 0;
    if (strlen(text) != 10 || !day_parse(text, &day) || text[0] == '0' || strcmp(text, "1900") < 0)
        return false;
    return sscanf(text, "%4d-%2d-%2d", out_year, out_month, out_day) == 3;
}

time_t
sheet_seconds(const char *text)
{
    int32_t day = 0;
    return day_parse(text, &day) ? (time_t)day * 86400 : 0;
}
