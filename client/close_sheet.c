/* close_sheet.c - the day's close in words, and as records. */
#include "client/close_sheet.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>
#include "client/amount.h"
#include "client/show.h"
#include "proto/decimal.h"
#include "proto/when.h"

static int64_t
net_g(const struct close_tub *tub)
{
    return tub->gross_g - tub->tare_g;
}

/* Warm minutes against the limit, exactly: both as decimals. */
bool
close_is_warm(const struct close_hints *hints, const struct close_tub *tub)
{
    struct decimal limit, ms, per_min = decimal_of(60000, 0);
    struct err_text ignored; /* a limit that is no number limits nothing here; the books flag it */
    if (decimal_parse(hints->warm_value, &limit, &ignored) != ERR_OK ||
        decimal_multiply(&limit, &per_min, &limit, &ignored) != ERR_OK)
        return false;
    ms = decimal_of(tub->frozen_ms - tub->first_knock_ms, 0);
    int order = decimal_compare(&ms, &limit);
    return strcmp(hints->warm_comparator, "<") == 0 ? order >= 0 : order > 0;
}

struct words {
    char *out;
    size_t size, used;
};

static void __attribute__((format(printf, 2, 3))) say(struct words *words, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    int n = vsnprintf(words->out + words->used, words->size - words->used, format, args);
    va_end(args);
    if (n > 0)
        words->used +=
            (size_t)n < words->size - words->used ? (size_t)n : words->size - words->used - 1;
}

/* How many tubs are thrown away (or frozen), and their mass. */
static size_t
count(const struct close_sheet *sheet, bool thrown, int64_t *out_g)
{
    size_t n = 0;
    *out_g = 0;
    for (size_t i = 0; i < sheet->n_tubs; i++) {
        if (sheet->tubs[i].thrown != thrown)
            continue;
        n++;
        *out_g += net_g(&sheet->tubs[i]);
    }
    return n;
}

static void
say_tubs(struct words *words, const struct close_sheet *sheet, const struct close_hints *hints)
{
    char mass[32], label[24], coffee[24];
    for (size_t i = 0; i < sheet->n_tubs; i++) {
        const struct close_tub *tub = &sheet->tubs[i];
        say(words, "    %-18s %9s   %s%s\n", show_cut(tub->label, 18, label, sizeof label),
            show_mass(net_g(tub), mass), tub->thrown ? "thrown away: " : "",
            show_cut(tub->thrown ? tub->reason : tub->coffee, 22, coffee, sizeof coffee));
    }
    (void)hints;
}

static void
say_readings(struct words *words, const struct close_sheet *sheet)
{
    char place[24];
    for (size_t i = 0; i < sheet->n_readings; i++)
        say(words, "    %-18s %7s C%s\n",
            show_cut(sheet->readings[i].place, 18, place, sizeof place), sheet->readings[i].temp_c,
            sheet->readings[i].action[0] != '\0' ? "   outside its limits" : "");
}

static void
say_totals(struct words *words, const struct close_sheet *sheet)
{
    char mass[32];
    int64_t g;
    size_t n = count(sheet, false, &g);
    if (n > 0)
        say(words, "    %zu %s frozen %*s%9s\n", n, n == 1 ? "tub" : "tubs", n == 1 ? 6 : 5, "",
            show_mass(g, mass));
    else
        say(words, "    no tub frozen\n");
    if (sheet->skip_close)
        say(words, "    the day's close is written already\n");
    else if (sheet->has_bin)
        say(words, "    not kept %*s%9s   %s, %s\n", 9, "", show_mass(sheet->bin_g, mass),
            sheet->bin_method[0] != '\0' ? sheet->bin_method : "none",
            sheet->bin_stream[0] != '\0' ? sheet->bin_stream : "no stream");
    else
        say(words, "    not kept               not known\n");
}

char *
close_sheet_words(const struct close_sheet *sheet, const struct close_hints *hints, char *out,
                  size_t size)
{
    struct words words = {out, size, 0};
    char day[48];
    say(&words, "\n  %s, %s\n", hints->name, show_long_date(sheet->day, day));
    say_tubs(&words, sheet, hints);
    say_totals(&words, sheet);
    say_readings(&words, sheet);
    return out;
}

/* ---- records */

static json_t *
tub_record(const struct close_tub *tub, const struct close_hints *hints)
{
    char knock[WHEN_TEXT], frozen[WHEN_TEXT];
    return json_pack("{s:s, s:s, s:s, s:s, s:s, s:I, s:I, s:s, s:s, s:s, s:s}", "kind", "tub", "at",
                     amount_print(hints->zone, tub->frozen_ms, frozen), "tub", tub->label, "coffee",
                     tub->coffee, "origin", tub->origin, "gross_g", (json_int_t)tub->gross_g,
                     "tare_g", (json_int_t)tub->tare_g, "method", "weighed", "first_knock",
                     amount_print(hints->zone, tub->first_knock_ms, knock), "frozen", frozen,
                     "place", tub->place);
}

/* Thrown away the moment after it was weighed. */
static json_t *
discard_record(const struct close_tub *tub, const struct close_hints *hints)
{
    char at[WHEN_TEXT];
    return json_pack("{s:s, s:s, s:s, s:s, s:i, s:s, s:s}", "kind", "discard", "at",
                     amount_print(hints->zone, tub->frozen_ms, at), "what", "tub", "code",
                     tub->label, "count", 1, "reason", tub->reason, "stream",
                     hints->waste_stream[0] != '\0' ? hints->waste_stream : "unknown");
}

static json_t *
reading_record(const struct close_reading *reading)
{
    json_t *record = json_pack("{s:s, s:s, s:s}", "kind", "reading", "place", reading->place,
                               "temp_c", reading->temp_c);
    if (reading->action[0] != '\0')
        (void)json_object_set_new(record, "action", json_string(reading->action));
    if (reading->disposition[0] != '\0')
        (void)json_object_set_new(record, "disposition", json_string(reading->disposition));
    return record;
}

static json_t *
close_record(const struct close_sheet *sheet, const struct close_hints *hints)
{
    char day[DAY_TEXT];
    json_t *close = json_pack("{s:s, s:s}", "kind", "close", "day", day_print(sheet->day, day));
    if (sheet->has_bin)
        (void)json_object_set_new(close, "uncaptured_g", json_integer(sheet->bin_g));
    if (sheet->has_bin && sheet->bin_g > 0) {
        (void)json_object_set_new(close, "uncaptured_method", json_string(sheet->bin_method));
        if (sheet->bin_stream[0] != '\0')
            (void)json_object_set_new(close, "stream", json_string(sheet->bin_stream));
    }
    bool others = hints->tubs_today && sheet->day == hints->today;
    if (sheet->n_tubs == 0 && !others)
        (void)json_object_set_new(close, "nothing_kept", json_true());
    return close;
}

static void
add(json_t *list, json_t *record, const struct close_sheet *sheet, const struct close_hints *hints)
{
    if (hints->site_given)
        (void)json_object_set_new(record, "site", json_string(hints->site));
    if (sheet->by[0] != '\0')
        (void)json_object_set_new(record, "by", json_string(sheet->by));
    (void)json_array_append_new(list, record);
}

json_t *
close_sheet_records(const struct close_sheet *sheet, const struct close_hints *hints)
{
    json_t *list = json_array();
    for (size_t i = 0; i < sheet->n_tubs; i++) {
        add(list, tub_record(&sheet->tubs[i], hints), sheet, hints);
        if (sheet->tubs[i].thrown)
            add(list, discard_record(&sheet->tubs[i], hints), sheet, hints);
    }
    for (size_t i = 0; i < sheet->n_readings; i++)
        add(list, reading_record(&sheet->readings[i]), sheet, hints);
    if (!sheet->skip_close)
        add(list, close_record(sheet, hints), sheet, hints);
    return list;
}
