/* elapsed.h - time between two instants, and how long food was warm.
 *
 * Instants carry their offset, so a change of the clocks between them does not
 * matter: 01:30+01:00 to 01:30+00:00 is an hour.
 */
#ifndef DAEMON_CALC_ELAPSED_H
#define DAEMON_CALC_ELAPSED_H

#include <stdbool.h>
#include <stdint.h>

struct calc_instant {
    int64_t s;  /* since 1970-01-01T00:00:00Z */
    int32_t ns; /* 0 .. 999999999 */
};

/* RFC 3339 with T, seconds, an optional fraction of 1 to 9 digits, and Z or
 * +hh:mm or -hh:mm: "2026-03-29T00:30:00+00:00". False otherwise: no offset,
 * second 60, a day that does not exist. */
bool calc_instant_read(const char *text, struct calc_instant *out_instant);

/* to - from, minutes; negative when `to` is earlier. */
double calc_elapsed_minutes(const struct calc_instant *from, const struct calc_instant *to);

#endif
