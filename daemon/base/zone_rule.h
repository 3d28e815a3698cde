/* zone_rule.h - the rule at the end of a zoneinfo file: POSIX TZ with the extensions of RFC 9636.
 *
 * "GMT0BST,M3.5.0/1,M10.5.0": the offsets of a year and when they begin.
 */
#ifndef DAEMON_BASE_ZONE_RULE_H
#define DAEMON_BASE_ZONE_RULE_H

#include <stdbool.h>
#include <stdint.h>

enum zone_day {
    ZONE_DAY_JULIAN, /* Jn: 1 .. 365, 29 February is never counted */
    ZONE_DAY_ZERO,   /* n: 0 .. 365 */
    ZONE_DAY_MONTH,  /* Mm.w.d */
};

struct zone_change {
    enum zone_day form;
    int day, month, week, weekday; /* weekday 0 is Sunday */
    int32_t second;                /* of local time in force before; may be below 0 or over a day */
};

struct zone_rule {
    int32_t standard_s; /* east of UTC */
    int32_t summer_s;
    bool changes; /* false: standard_s all year */
    struct zone_change to_summer, to_standard;
};

/* false: not such a text. */
bool zone_rule_parse(const char *text, struct zone_rule *out_rule);

/* Seconds east of UTC at the instant (seconds since 1970 UTC). */
int32_t zone_rule_offset(const struct zone_rule *rule, int64_t at_s);

#endif
