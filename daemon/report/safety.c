/* safety.c - warm times, readings and held lots (T7, T8, Q1, Q2). Figures for people to check. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/report/part.h"
#include "proto/when.h"

static const struct column warm_columns[] = {
    {"tub", "tub", "", false},
    {"site", "site", "", false},
    {"minutes", "warm", "min", true},
};

static const struct column unknown_columns[] = {
    {"tub", "tub", "", false},
    {"site", "site", "", false},
};

static const struct column failed_columns[] = {
    {"record", "record", "", false},
    {"place", "place", "", false},
    {"temp_c", "reading", "Cel", true},
    {"open", "nothing done yet", "", false},
};

static const struct column gap_columns[] = {
    {"place", "place", "", false},
    {"day", "day", "", false},
};

static const struct column held_columns[] = {
    {"lot", "lot", "", false},
    {"why", "why", "", false},
};

static enum err
fill_warm(struct build *b)
{
    struct tally over, unknown = {NULL, 0, 0, ERR_OK};
    int32_t month = b->in->month;
    TABLE_SECTION(b->model, "safety.warm_time_over", "Tubs over the warm time", SHAPE_ROWS,
                  warm_columns);
    enum err e = tally_of(b->in->books, MEASURE_WARM_OVER, month, month, true, &over, b->why);
    for (size_t i = 0; e == ERR_OK && i < over.n; i++) {
        table_row(b->model);
        table_set(b->model, "tub", over.lines[i].key);
        table_set(b->model, "site", over.lines[i].site);
        build_whole(b, "minutes", over.lines[i].amount - 1); /* books.h: one more than it is */
    }
    TABLE_SECTION(b->model, "safety.warm_time_unknown", "Tubs whose clock was ahead", SHAPE_ROWS,
                  unknown_columns);
    if (e == ERR_OK)
        e = tally_of(b->in->books, MEASURE_WARM_UNKNOWN, month, month, true, &unknown, b->why);
    for (size_t i = 0; e == ERR_OK && i < unknown.n; i++) {
        table_row(b->model);
        table_set(b->model, "tub", unknown.lines[i].key);
        table_set(b->model, "site", unknown.lines[i].site);
    }
    tally_done(&over);
    tally_done(&unknown);
    return e;
}

/* "record|temp_c|open|place" */
static void
fill_failed_row(struct build *b, const char *key)
{
    const char *temp = strchr(key, '|');
    const char *open = temp != NULL ? strchr(temp + 1, '|') : NULL;
    const char *place = open != NULL ? strchr(open + 1, '|') : NULL;
    if (place == NULL)
        return;
    table_row(b->model);
    table_set(b->model, "record", table_text(b->model, "%.*s", (int)(temp - key), key));
    table_set(b->model, "place", place + 1);
    table_set(b->model, "temp_c", table_text(b->model, "%.*s", (int)(open - temp - 1), temp + 1));
    table_set_bool(b->model, "open", open[1] == '1');
}

static enum err
fill_failed(struct build *b)
{
    struct tally failed;
    TABLE_SECTION(b->model, "safety.readings_failed", "Readings outside the limits", SHAPE_ROWS,
                  failed_columns);
    enum err e = tally_of(b->in->books, MEASURE_READING_FAILED, b->in->month, b->in->month, false,
                          &failed, b->why);
    for (size_t i = 0; e == ERR_OK && i < failed.n; i++)
        fill_failed_row(b, failed.lines[i].key);
    tally_done(&failed);
    return e;
}

/* Q2: days as in R8, for any site. */
static bool
is_gap(const struct build *b, const struct tally *readings, const char *place, int32_t day)
{
    char key[128], text[DAY_TEXT];
    const Knockbox__Place *version = (const Knockbox__Place *)catalogue_get(
        b->in->catalogue, KNOCKBOX__RECORD__BODY_PLACE, place, day);
    if (version == NULL || version->readings_per_day <= 0 ||
        (b->in->site != NULL && strcmp(b->in->site, version->for_site) != 0) ||
        !catalogue_inside(b->in->catalogue, version->for_site, day) ||
        !quality_is_open(b, version->for_site, day))
        return false;
    (void)snprintf(key, sizeof key, "%s|%s", place, day_print(day, text));
    const struct tally_line *line = tally_find(readings, key);
    return (line != NULL ? line->amount : 0) < version->readings_per_day;
}

static enum err
fill_gaps(struct build *b)
{
    const char *const *places = NULL;
    struct tally readings;
    unsigned n = catalogue_keys(b->in->catalogue, KNOCKBOX__RECORD__BODY_PLACE, &places);
    TABLE_SECTION(b->model, "safety.readings_gap", "Days with too few readings", SHAPE_ROWS,
                  gap_columns);
    enum err e = tally_of(b->in->books, MEASURE_READING, b->in->month, b->in->month, false,
                          &readings, b->why);
    for (unsigned i = 0; e == ERR_OK && i < n; i++) {
        for (int32_t day = b->first_day; day <= b->last_day && day <= b->newest_day; day++) {
            char text[DAY_TEXT];
            if (!is_gap(b, &readings, places[i], day))
                continue;
            table_row(b->model);
            table_set(b->model, "place", places[i]);
            table_set(b->model, "day", day_print(day, text));
        }
    }
    tally_done(&readings);
    return e;
}

static int
by_lot(const void *a, const void *b)
{
    const struct tally_line *x = a, *y = b;
    return strcmp(strchr(x->key, '|'), strchr(y->key, '|'));
}

/* "why|lot", of all months so far */
static enum err
fill_held(struct build *b)
{
    struct tally held;
    TABLE_SECTION(b->model, "safety.held_lots", "Lots held back", SHAPE_ROWS, held_columns);
    enum err e =
        tally_of(b->in->books, MEASURE_LOT_HELD, INT32_MIN, b->in->month, false, &held, b->why);
    if (e == ERR_OK && held.n > 1)
        qsort(held.lines, held.n, sizeof *held.lines, by_lot);
    for (size_t i = 0; e == ERR_OK && i < held.n; i++) {
        const char *key = held.lines[i].key, *bar = strchr(key, '|');
        if (held.lines[i].amount <= 0)
            continue;
        table_row(b->model);
        table_set(b->model, "lot", bar + 1);
        table_set(b->model, "why", table_text(b->model, "%.*s", (int)(bar - key), key));
    }
    tally_done(&held);
    return e;
}

enum err
part_safety(struct build *b)
{
    enum err e = fill_warm(b);
    if (e == ERR_OK)
        e = fill_failed(b);
    if (e == ERR_OK)
        e = fill_gaps(b);
    return e == ERR_OK ? fill_held(b) : e;
}
