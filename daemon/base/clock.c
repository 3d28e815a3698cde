/* clock.c - the system's clocks and randomness. */
#include "daemon/base/clock.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/random.h>
#include <sys/timex.h>
#include <time.h>

#include "proto/text.h"

static int64_t
read_ms(clockid_t id)
{
    struct timespec t = {0};
    (void)clock_gettime(id, &t); /* cannot fail for the clocks we name */
    return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

static int64_t
system_now_ms(void *owner)
{
    (void)owner;
    return read_ms(CLOCK_REALTIME);
}

static uint64_t
system_mono_ms(void *owner)
{
    (void)owner;
    return (uint64_t)read_ms(CLOCK_BOOTTIME);
}

/* No clock that is before this program was written is right, whatever the kernel has heard. */
static const int64_t least_ms = INT64_C(1767225600000); /* 2026-01-01 */

static bool
system_synchronised(void *owner)
{
    struct timex state = {.modes = 0};
    return system_now_ms(owner) >= least_ms && adjtimex(&state) != TIME_ERROR &&
           (state.status & STA_UNSYNC) == 0;
}

static void
system_random(void *owner, void *bytes, size_t n)
{
    (void)owner;
    uint8_t *to = bytes;
    while (n > 0) {
        ssize_t got = getrandom(to, n, 0);
        if (got < 0)
            continue; /* a signal came; nothing else can go wrong here */
        to += got;
        n -= (size_t)got;
    }
}

/* The kernel's boot id; random when it cannot be read, so that two starts never look alike. */
static void
read_boot(uint8_t boot[8])
{
    char text[UUID_TEXT] = "";
    uint8_t id[UUID_SIZE];
    FILE *file = fopen("/proc/sys/kernel/random/boot_id", "re");
    bool got = file != NULL && fgets(text, sizeof text, file) != NULL;
    if (file != NULL)
        (void)fclose(file);
    if (!got || !uuid_parse(text, id))
        system_random(NULL, id, sizeof id);
    memcpy(boot, id, 8);
}

struct clock
clock_system(void)
{
    struct clock clock = {
        .now_ms = system_now_ms,
        .mono_ms = system_mono_ms,
        .synchronised = system_synchronised,
        .random = system_random,
    };
    read_boot(clock.boot);
    return clock;
}

void
clock_new_id(const struct clock *clock, uint8_t out_id[16])
{
    enum {
        STAMP = 6
    };
    int64_t now = clock->now_ms(clock->owner);
    for (int i = 0; i < STAMP; i++)
        out_id[i] = (uint8_t)(now >> (8 * (STAMP - 1 - i)));
    clock->random(clock->owner, out_id + STAMP, UUID_SIZE - STAMP);
    out_id[6] = (uint8_t)(0x70 | (out_id[6] & 0x0F)); /* version 7 */
    out_id[8] = (uint8_t)(0x80 | (out_id[8] & 0x3F)); /* variant of RFC 9562 */
}
