/* schedule.h - when a schedule of delivery.conf falls due; pure.
 */
#ifndef DAEMON_EXCHANGE_SCHEDULE_H
#define DAEMON_EXCHANGE_SCHEDULE_H

#include <stdint.h>
#include "daemon/base/zone.h"
#include "daemon/exchange/setup.h"

/* When it falls due in a calendar month (proto/when.h). A time that the change of clocks leaves out
 * is one hour later, of one that comes twice it is the first. */
int64_t schedule_instant(const struct schedule *schedule, const struct zone *zone, int32_t month);

/* The last calendar month in which it has fallen due by now. */
int32_t schedule_last(const struct schedule *schedule, const struct zone *zone, int64_t now_ms);

#endif
