/* desk.h - an empty store with a clock that stands and chance that repeats; for the fuzzers.
 */
#ifndef TESTS_FUZZ_DESK_H
#define TESTS_FUZZ_DESK_H

#include "daemon/store/store.h"

struct desk {
    char dir[64];
    int64_t now_ms;
    uint64_t random;
    struct clock clock;
    struct store *store;
};

/* In memory where the machine has /dev/shm; the clock stands at 2026-03-03T21:52:00Z. The same
 * marks and ids each time. */
void desk_open(struct desk *desk, const char *site);
void desk_close(struct desk *desk); /* and the store is gone */

/* Takes the next piece `who 1, len 2, bytes` off the input; false at its end. */
bool next_piece(const uint8_t **data, size_t *size, uint8_t *out_who, const uint8_t **out_bytes,
                size_t *out_len);

#endif
