/* limit.h - is a figure within the limit that the catalogue holds? Limits are data: value, unit
 * and comparator; compared exactly, never rounded first.
 */
#ifndef DAEMON_LEDGER_LIMIT_H
#define DAEMON_LEDGER_LIMIT_H

#include "daemon/ledger/catalogue.h"
#include "proto/decimal.h"

/* What holds where the catalogue says nothing: report rules T7, S4, B1. */
struct limit_default {
    const char *code;
    const char *value;
    Knockbox__Comparator comparator;
};

extern const struct limit_default limit_warm_time;         /* <= 240 min */
extern const struct limit_default limit_weight_difference; /* <= 50 g */
extern const struct limit_default limit_use_by;            /* <= 28 d after freezing */

/* `value` times `per_unit`-ths of the limit's unit: 90 min given in ms has per_unit 60000 (and a
 * limit stated in h is taken as 60 min). true: within the limit in force for the site on the day. */
bool limit_holds(const struct catalogue *catalogue, const struct limit_default *limit,
                 const char *site, int32_t day, int64_t value, int64_t per_unit);

/* The limit's value as a whole number, cut. */
int64_t limit_number(const struct catalogue *catalogue, const struct limit_default *limit,
                     const char *site, int32_t day);

/* a comparator b */
bool decimal_holds(const struct decimal *a, Knockbox__Comparator comparator,
                   const struct decimal *b);

#endif
