/* report_months.h - twelve months that end with a report's own, for a picture.
 */
#ifndef DAEMON_REPORT_REPORT_MONTHS_H
#define DAEMON_REPORT_REPORT_MONTHS_H

#include "daemon/report/report_month.h"

/* Adds the section `months` to the model of `month`: months with records only, oldest first. Of a
 * closed month: what was closed when it was, so that its print stays the same for ever. */
enum err report_months_add(struct ledger *ledger, struct store *store, const struct report_ask *of,
                           struct table_model *model, struct err_text *why);

#endif
