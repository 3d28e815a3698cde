/* recalls.h - which recalls reach a lot, and when people knew.
 *
 * A recall names a tub, a supply, a batch or a lot; it reaches every bottle lot that has it on the
 * way back. It holds from the instant of its record (and not before the day `from`, when it says
 * one) until a later version of the same code lifts it.
 */
#ifndef DAEMON_LEDGER_RECALLS_H
#define DAEMON_LEDGER_RECALLS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include "daemon/ledger/fold.h"
#include "daemon/ledger/lineage.h"

/* The code of a recall in force at the instant (on that day) that reaches the lineage; the first
 * by code. NULL: none. Lent by the catalogue. */
const char *recall_in_force(const struct catalogue *catalogue, const struct lineage *lineage,
                            int64_t at_ms, int32_t day);

#endif
