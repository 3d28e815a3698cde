/* turn.h - how much of a daemon's time one person takes: a bucket of microseconds.
 *
 * An answer takes its time out; each microsecond that passes puts a share back. Who is in debt waits.
 * So a person may ask much at once, and then a share of the time goes to that person at most, save that
 * nobody waits longer than TURN_DEBT_MS for one answer, however long the one before took. Pure.
 */
#ifndef DAEMON_SYNC_TURN_H
#define DAEMON_SYNC_TURN_H

#include <stdbool.h>
#include <stdint.h>

enum {
    TURN_BURST_MS = 2000, /* at once, after a while of asking nothing */
    TURN_DEBT_MS = 1000,  /* longest wait */
};

struct turn {
    int64_t left;   /* hundredths of a microsecond; below 0: in debt */
    uint64_t at_us; /* monotonic, when that was so */
};

void turn_init(struct turn *turn, uint64_t now_us); /* full */

/* How long the person has to wait, 0: not at all. `share_pct`: 1 .. 100.
 * By hand: 100 ms in debt, 25 %: 400 ms. */
uint64_t turn_wait_us(struct turn *turn, unsigned share_pct, uint64_t now_us);
/* An answer took `us` until now. */
void turn_take(struct turn *turn, unsigned share_pct, uint64_t us, uint64_t now_us);
/* Nothing was taken for so long that a fresh one is the same. */
bool turn_full(struct turn *turn, unsigned share_pct, uint64_t now_us);

#endif
