/* schedule.c - the day and minute of a month as an instant. */
#include "daemon/exchange/schedule.h"

#include "proto/when.h"

enum {
    MINUTE_MS = 60000,
    DAY_MS = 86400000
};

int64_t
schedule_instant(const struct schedule *schedule, const struct zone *zone, int32_t month)
{
    int32_t day = month_first_day(month) + schedule->day - 1;
    int64_t at_ms = 0;
    if (zone_instant(zone, day, schedule->minute, &at_ms, NULL, NULL) == ERR_OK)
        return at_ms;
    int64_t noon_ms = (int64_t)day * DAY_MS + DAY_MS / 2;
    int offset = zone_offset_min(zone, noon_ms); /* the clock is forward by then */
    return (int64_t)day * DAY_MS + (schedule->minute + 60 - offset) * (int64_t)MINUTE_MS;
}

int32_t
schedule_last(const struct schedule *schedule, const struct zone *zone, int64_t now_ms)
{
    int64_t local_ms = now_ms + zone_offset_min(zone, now_ms) * (int64_t)MINUTE_MS;
    int32_t month = month_of_day((int32_t)(local_ms / DAY_MS));
    return schedule_instant(schedule, zone, month) <= now_ms ? month : month - 1;
}
