/* span.h - any span of business days in the place of a month.
 *
 * Folds post by month and compare months; nothing else is asked of them. So a fold over a span is
 * the same fold with three months: what lies before the span, the span, what comes after it.
 */
#ifndef DAEMON_LEDGER_SPAN_H
#define DAEMON_LEDGER_SPAN_H

#include <stdint.h>

struct span {
    int32_t from, to; /* business days, both inside; from <= to */
};

enum {
    SPAN_BEFORE = 0,
    SPAN_MONTH = 1,
    SPAN_AFTER = 2
};

/* The month of a day: with `span` one of the three, NULL: of the calendar. */
int32_t span_month(const struct span *span, int32_t day);
/* The last day of such a month; of SPAN_AFTER: the last there is. */
int32_t span_last_day(const struct span *span, int32_t month);

#endif
