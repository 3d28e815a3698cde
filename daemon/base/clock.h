/* clock.h - the machine's clocks and randomness, behind a struct that a test can own.
 */
#ifndef DAEMON_BASE_CLOCK_H
#define DAEMON_BASE_CLOCK_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct clock {
    int64_t (*now_ms)(void *owner);    /* wall clock, ms since 1970 UTC */
    uint64_t (*mono_ms)(void *owner);  /* ms since `boot`, never steps */
    bool (*synchronised)(void *owner); /* does the machine trust its wall clock? (adjtimex) */
    void (*random)(void *owner, void *bytes, size_t n);
    uint8_t boot[8]; /* which start of the machine */
    void *owner;     /* lent; the test's state, NULL for the system's */
};

/* The real ones. `boot` is the first 8 bytes of the kernel's boot id. */
struct clock clock_system(void);

/* UUIDv7 of the clock's now and randomness (RFC 9562, section 5.7). */
void clock_new_id(const struct clock *clock, uint8_t out_id[16]);

#endif
