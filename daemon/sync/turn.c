/* turn.c - see turn.h. */
#include "daemon/sync/turn.h"

static const int64_t burst = (int64_t)TURN_BURST_MS * 1000 * 100;

void
turn_init(struct turn *turn, uint64_t now_us)
{
    *turn = (struct turn){burst, now_us};
}

static void
fill(struct turn *turn, unsigned share_pct, uint64_t now_us)
{
    uint64_t passed = now_us - turn->at_us, most = (uint64_t)(2 * burst);
    int64_t more = (int64_t)((passed < most ? passed : most) * share_pct);
    turn->left = turn->left + more < burst ? turn->left + more : burst;
    turn->at_us = now_us;
}

uint64_t
turn_wait_us(struct turn *turn, unsigned share_pct, uint64_t now_us)
{
    fill(turn, share_pct, now_us);
    return turn->left >= 0 ? 0 : ((uint64_t)-turn->left + share_pct - 1) / share_pct;
}

void
turn_take(struct turn *turn, unsigned share_pct, uint64_t us, uint64_t now_us)
{
    int64_t least = -(int64_t)TURN_DEBT_MS * 1000 * share_pct;
    uint64_t most = (uint64_t)(2 * burst);
    fill(turn, share_pct, now_us);
    turn->left -= (int64_t)(us < most ? us : most) * 100;
    if (turn->left < least)
        turn->left = least;
}

bool
turn_full(struct turn *turn, unsigned share_pct, uint64_t now_us)
{
    fill(turn, share_pct, now_us);
    return turn->left == burst;
}
