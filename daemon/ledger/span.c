/* span.c - see span.h. */
#include "daemon/ledger/span.h"

#include <stddef.h>
#include "proto/when.h"

int32_t
span_month(const struct span *span, int32_t day)
{
    if (span == NULL)
        return month_of_day(day);
    return day < span->from ? SPAN_BEFORE : day <= span->to ? SPAN_MONTH : SPAN_AFTER;
}

int32_t
span_last_day(const struct span *span, int32_t month)
{
    if (span == NULL)
        return month_last_day(month);
    return month == SPAN_BEFORE ? span->from - 1 : month == SPAN_MONTH ? span->to : INT32_MAX;
}
