/* missing.h - business days of a café that nobody has closed (report rule R8), of late.
 */
#ifndef DAEMON_SERVE_MISSING_H
#define DAEMON_SERVE_MISSING_H

#include "daemon/serve/call.h"

enum {
    MISSING_LOOK_BACK = 31
};

/* Days first..last, inclusive, that are inside the boundary, open by the calendar and without a
 * close in force; ascending. Sites without the role of a café have none.
 * *out_days has room for last - first + 1. */
enum err missing_days(const struct call *call, const char *site, int32_t first, int32_t last,
                      int32_t *out_days, size_t *out_n, struct err_text *why);

/* Has the day a close in force? */
enum err day_is_closed(const struct call *call, const char *site, int32_t day, bool *out_closed,
                       struct err_text *why);
/* The same as far as the ledger has taken in: quick, knows nothing of the newest records. */
enum err day_was_closed(const struct call *call, const char *site, int32_t day, bool *out_closed,
                        struct err_text *why);

#endif
