/* trace.h - one step back and one step forward, all the way (report rule C1).
 *
 * Works from the ledger's rows and each subject's own facts; never scans a log.
 */
#ifndef DAEMON_REPORT_TRACE_H
#define DAEMON_REPORT_TRACE_H

#include <jansson.h>
#include "daemon/ledger/ledger.h"
#include "proto/err.h"

/* `code` is a tub, a supply, a batch or a bottle lot. *out_trace is yours (json_decref): the
 * contract's object but `took_ms`, which is the caller's clock's to add.
 * Back of a tub or a supply is empty: they come from outside the kitchen.
 * ERR_NOT_FOUND: no record names that code. */
enum err trace_code(struct ledger *ledger, const char *code, json_t **out_trace,
                    struct err_text *why);

/* The same as a tree of lines for people. *out_text is yours (free). */
enum err trace_text(const json_t *trace, char **out_text, struct err_text *why);

#endif
