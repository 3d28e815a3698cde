/* random.h - months of invented records that nobody would write: wrong order, twice, unknown,
 * corrected in chains, with a catalogue that comes late. The same seed gives the same lines.
 */
#ifndef TESTS_LEDGER_RANDOM_H
#define TESTS_LEDGER_RANDOM_H

#include "tests/ledger/play.h"

/* Queues `n` records and a catalogue in `play`, whose site is "kitchen". */
void random_month(struct play *play, uint64_t seed, size_t n);

#endif
