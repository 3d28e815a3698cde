/* branch.h - a log that went two ways: this machine's way is written again in a new epoch.
 *
 * A record carries its number in its bytes, so two records of one number cannot both be kept under
 * it. The ones that came second are appended to a new epoch with the same id, body and times; the
 * same id counts once. What was settled so is noted, and told to the hub in each Hello.
 */
#ifndef DAEMON_SYNC_BRANCH_H
#define DAEMON_SYNC_BRANCH_H

#include "daemon/store/store.h"

struct branch {
    uint32_t epoch;
    uint8_t mark[MARK_SIZE];
    uint64_t seq; /* first record that stands again in `into` */
    uint32_t into;
};

enum {
    BRANCHES_MOST = 256
};

/* Opens a new epoch of `site`'s own log, with a number over `above`, appends the records of `log`
 * from `seq` on, and notes it; one transaction. ERR_NOT_FOUND: a branch at or before `seq` of this
 * log is noted already. */
enum err branch_write(struct store *store, const char *site, const struct log_mark *log,
                      uint64_t seq, uint32_t above, uint32_t *out_into, struct err_text *why);

/* All that are noted, oldest first, at most BRANCHES_MOST. */
enum err branch_list(struct store_view *view, struct branch out[BRANCHES_MOST], size_t *out_n,
                     struct err_text *why);

/* The number of records of this log that still stand (those before a branch): at most log->seq. */
uint64_t branch_standing(const struct branch *branches, size_t n, const struct log_mark *log);

#endif
