/* send.h - a report handed to the outbox. Inside of daemon/serve.
 */
#ifndef DAEMON_SERVE_SEND_H
#define DAEMON_SERVE_SEND_H

#include "daemon/report/report_month.h"
#include "daemon/serve/call.h"

/* Who may send and cancel: office and operator. ERR_DENIED; ERR_USAGE: there is no outbox here. */
enum err send_allowed(const struct call *call, struct err_text *why);

/* Arguments `send` (targets), `as` (prints), `dry_run`; answers what goes where. */
enum err send_report(struct call *call, const struct report_ask *report, struct err_text *why);

#endif
