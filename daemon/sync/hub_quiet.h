/* hub_quiet.h - runs of the hub's own records that no site ever gets.
 *
 * Enrolments, prices and the like go to nobody, and there are as many of them as cafés: whoever
 * connects would else have them read and decoded again, each for itself. In memory, learnt while
 * reading; forgetting all of it costs time only.
 */
#ifndef DAEMON_SYNC_HUB_QUIET_H
#define DAEMON_SYNC_HUB_QUIET_H

#include "daemon/store/store.h"

/* first..last of one epoch. */
struct quiet_run {
    struct log_mark log; /* epoch and mark */
    uint64_t first, last;
};

/* In order of epoch, mark and first; no two runs touch. All zero: nothing is known. */
struct quiet {
    struct quiet_run *runs;
    size_t n, room;
};

/* The last record of the run that has `seq`; 0: nothing is known of it. */
uint64_t quiet_until(const struct quiet *quiet, const struct log_mark *log, uint64_t seq);

/* Nobody gets this record, now or later. Without memory, or with too many runs: no effect. */
void quiet_add(struct quiet *quiet, const struct log_mark *log, uint64_t seq);

void quiet_done(struct quiet *quiet);

#endif
