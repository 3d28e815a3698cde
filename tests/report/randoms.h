/* randoms.h - random months of the invented town: whatever people write, late, corrected, closed.
 */
#ifndef TESTS_REPORT_RANDOMS_H
#define TESTS_REPORT_RANDOMS_H

#include <stdbool.h>
#include <stdint.h>
#include "tests/ledger/play.h"

/* With `waste` the basis is waste, and what W10's check does not speak of is left out: batches and
 * lots thrown away. The lines are queued; the play is yours. */
struct play *random_months(uint64_t seed, bool waste);
/* The same with no month closed. */
struct play *random_open_months(uint64_t seed, bool waste);

/* A number of the environment, such as TEST_SEED. */
uint64_t randoms_number(const char *name, uint64_t otherwise);

#endif
