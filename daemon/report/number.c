/* number.c - numbers of a report as text. */
#include "daemon/report/number.h"

#include <inttypes.h>
#include <math.h>
#include <stdio.h>

const char *
number_kg(int64_t g, char room[NUMBER_TEXT])
{
    struct decimal kg = decimal_of(g, 3);
    return decimal_print_places(&kg, 3, room);
}

const char *
number_whole(int64_t value, char room[NUMBER_TEXT])
{
    (void)snprintf(room, NUMBER_TEXT, "%" PRId64, value);
    return room;
}

/* 100 part / whole in ten-thousandths of a percent, cut; *out_rest is what the cut left. */
static decimal_int
pct_steps(int64_t part, int64_t whole, decimal_int *out_rest)
{
    decimal_int scaled = (decimal_int)part * 1000000;
    *out_rest = scaled % whole;
    return scaled / whole;
}

static const char *
print_steps(decimal_int steps, char room[NUMBER_TEXT])
{
    struct decimal pct = decimal_of((int64_t)steps, 4);
    return decimal_print_places(&pct, 4, room);
}

/* From the right: the decimals, the point, the whole. */
const char *
number_fixed(int64_t value, int places, bool grouped, char room[NUMBER_TEXT])
{
    char back[64];
    uint64_t rest = value < 0 ? 0 - (uint64_t)value : (uint64_t)value;
    size_t n = 0, at = 0;
    for (int digit = 0; (digit <= places || rest > 0) && n + 2 < sizeof back; digit++) {
        if (digit > 0 && digit == places)
            back[n++] = '.';
        else if (grouped && digit > places && (digit - places) % 3 == 0)
            back[n++] = ',';
        back[n++] = (char)('0' + rest % 10);
        rest /= 10;
    }
    if (value < 0)
        room[at++] = '-';
    while (n > 0)
        room[at++] = back[--n];
    room[at] = '\0';
    return room;
}

const char *
number_pct(int64_t part, int64_t whole, char room[NUMBER_TEXT])
{
    decimal_int rest = 0;
    if (whole == 0)
        return NULL;
    decimal_int steps = pct_steps(part, whole, &rest);
    decimal_int size = whole < 0 ? -(decimal_int)whole : whole;
    decimal_int left = rest < 0 ? -rest : rest;
    if (2 * left >= size)
        steps += (part < 0) != (whole < 0) ? -1 : 1;
    return print_steps(steps, room);
}

const char *
number_pct_cut(int64_t part, int64_t whole, char room[NUMBER_TEXT])
{
    decimal_int rest = 0;
    return whole == 0 ? NULL : print_steps(pct_steps(part, whole, &rest), room);
}

const char *
number_exact(const struct decimal *value, char room[NUMBER_TEXT])
{
    return decimal_print(value, room);
}

enum err
number_quotient(const struct decimal *a, const struct decimal *b, char room[NUMBER_TEXT],
                struct err_text *why)
{
    struct decimal quotient, back;
    enum err e = decimal_divide(a, b, 6, &quotient, why);
    if (e != ERR_OK)
        return e;
    if (decimal_multiply(&quotient, b, &back, NULL) == ERR_OK && decimal_compare(&back, a) == 0)
        (void)decimal_print(&quotient, room);
    else
        (void)decimal_print_places(&quotient, 6, room);
    return ERR_OK;
}

const char *
number_tenth(double value, char room[NUMBER_TEXT])
{
    double tenths = round(value * 10.0);
    (void)snprintf(room, NUMBER_TEXT, "%.1f", tenths == 0 ? 0.0 : tenths / 10.0);
    return room;
}
