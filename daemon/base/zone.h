/* zone.h - IANA time zones by name, from the system's tzdata; many at once, no TZ variable.
 *
 * A zone is read once from the zoneinfo file (RFC 9636) and cached; the footer rule covers years
 * after the last transition.
 */
#ifndef DAEMON_BASE_ZONE_H
#define DAEMON_BASE_ZONE_H

#include <stdbool.h>
#include <stdint.h>
#include "proto/err.h"

struct zone; /* opaque; lent, lives as long as the process */

/* ERR_INPUT: no such zone ("zone: Europe/Londn: expected an IANA time zone such as ..."). */
enum err zone_find(const char *name, const struct zone **out_zone, struct err_text *why);

/* Offset in minutes east of UTC in force at the instant (whole minutes; older sub-minute offsets
 * are rounded towards zero). */
int zone_offset_min(const struct zone *zone, int64_t at_ms);

/* Local wall clock to instant. A time that does not exist (clocks go forward) is ERR_INPUT; of a
 * time that comes twice the first is taken and *out_twice set (may be NULL). */
enum err zone_instant(const struct zone *zone, int32_t day, int minute_of_day, int64_t *out_ms,
                      bool *out_twice, struct err_text *why);

#endif
