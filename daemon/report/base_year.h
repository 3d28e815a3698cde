/* base_year.h - the base year, and whether what it printed has moved too far.
 *
 * Whoever reports over years names a base year and a threshold: when corrections or structural
 * changes move the base year's figures by more, it is computed anew (GHG Protocol, Corporate
 * Standard, chapter 5; FLW Standard, requirement 8: both from memory of the published text). Both
 * stand in the catalogue's `basis`. A close and a restatement write down a few figures as printed;
 * the base year is their sum: as first closed, and as it stands.
 */
#ifndef DAEMON_REPORT_BASE_YEAR_H
#define DAEMON_REPORT_BASE_YEAR_H

#include <stdbool.h>
#include "daemon/ledger/catalogue.h"
#include "daemon/report/number.h"
#include "daemon/report/table.h"

enum {
    BASE_FIGURES = 4
};

/* Where a figure stands in a report. Its key in records is "path.key". */
struct base_key {
    const char *path, *key, *unit;
};
extern const struct base_key base_keys[BASE_FIGURES];
const char *base_key_print(const struct base_key *key, char out[64]);

struct base_figure {
    bool known; /* every month of it is closed, with figures */
    struct decimal first, now;
    bool has_month; /* the month of the same name is known */
    struct decimal month;
    const char *change_pct; /* NULL: not known, or the first was 0 */
    char room[NUMBER_TEXT];
    bool over; /* the threshold */
};

struct base_year {
    const Knockbox__BaseYear *set; /* lent by the catalogue */
    int32_t first, last;
    int missing; /* months without figures */
    struct base_figure figures[BASE_FIGURES];
};

/* `month`: whose namesake is looked up. */
enum err base_year_read(const struct catalogue *catalogue, const Knockbox__BaseYear *set,
                        int32_t month, struct base_year *out, struct err_text *why);
/* kg with 3 decimals, emissions with all their digits. */
const char *base_number(const struct base_key *key, const struct decimal *value,
                        char room[NUMBER_TEXT]);

#endif
