/* close_sheet.h - a day's close as filled in: tubs, what was not kept, and what the site offers.
 */
#ifndef CLIENT_CLOSE_SHEET_H
#define CLIENT_CLOSE_SHEET_H

#include <jansson.h>
#include <stdbool.h>
#include <stdint.h>
#include "daemon/base/zone.h"
#include "proto/err.h"

enum {
    SHEET_TUBS = 24,
    SHEET_CODE = 65,
    SHEET_TEXT = 201,
    CHOICES_MOST = 40,
    HINT_DAYS = 16
};

struct close_choice {
    char code[SHEET_CODE];
    char name[101];
    bool is_read;              /* a place whose temperature is read each day */
    char max_c[16], min_c[16]; /* its limits, "" for none */
};

struct close_choices {
    struct close_choice list[CHOICES_MOST];
    size_t n;
};

/* What the daemon offers (word `hints`). */
struct close_hints {
    char site[SHEET_CODE], name[101];
    bool site_given; /* another log than the daemon's own: records name it */
    const struct zone *zone;
    int start_min; /* minute on which a business day begins */
    int64_t now_ms;
    int32_t today;
    int32_t open_days[HINT_DAYS];
    size_t n_open_days;
    bool closed_today; /* today's close is written already */
    bool tubs_today;   /* tubs of today are written already */
    char label[SHEET_CODE], coffee[SHEET_CODE], place[SHEET_CODE], by[17];
    bool by_given;  /* on the command line: not asked */
    int64_t tare_g; /* < 0: not known */
    struct close_choices coffees, freezers, streams;
    char waste_stream[SHEET_CODE]; /* for what is thrown away, "" when unknown */
    char bin_stream[SHEET_CODE];   /* for what went straight to a bin */
    char bin_method[16];           /* of the last close, "" when unknown */
    char warm_value[32], warm_comparator[4], warm_source[201];
    int64_t warm_limit_min; /* of warm_value, cut */
};

struct close_tub {
    char label[SHEET_CODE], coffee[SHEET_CODE], place[SHEET_CODE], origin[16];
    int64_t gross_g, tare_g, first_knock_ms, frozen_ms;
    bool thrown;
    char reason[SHEET_TEXT];
};

struct close_reading {
    char place[SHEET_CODE], temp_c[16];
    char action[SHEET_TEXT], disposition[SHEET_TEXT]; /* when it was outside the limits */
};

struct close_sheet {
    char by[17];
    int32_t day;
    struct close_tub tubs[SHEET_TUBS];
    size_t n_tubs;
    struct close_reading readings[CHOICES_MOST];
    size_t n_readings;
    bool skip_close; /* the day is closed already: only tubs are added */
    bool has_bin;
    int64_t bin_g;
    char bin_method[16], bin_stream[SHEET_CODE];
};

/* Reads the answer of `hints`. ERR_PEER: not such an answer. */
enum err close_hints_read(const json_t *answer, struct close_hints *out_hints,
                          struct err_text *why);

/* Is the warm time over the site's limit? By the limit's own comparator, in ms. */
bool close_is_warm(const struct close_hints *hints, const struct close_tub *tub);

/* The sheet in words, a line a fact; `out` of `size`. Returns `out`. */
char *close_sheet_words(const struct close_sheet *sheet, const struct close_hints *hints, char *out,
                        size_t size);

/* The records of the sheet as JSON lines, tubs first, the close last: a list of objects, yours.
 * NULL: no memory. */
json_t *close_sheet_records(const struct close_sheet *sheet, const struct close_hints *hints);

#endif
