/* hub_quiet.c - see hub_quiet.h. */
#include "daemon/sync/hub_quiet.h"

#include <stdlib.h>
#include <string.h>

enum {
    RUNS_MOST = 65536
};

static int
compare(const struct quiet_run *run, const struct log_mark *log, uint64_t seq)
{
    if (run->log.epoch != log->epoch)
        return run->log.epoch < log->epoch ? -1 : 1;
    int mark = memcmp(run->log.mark, log->mark, MARK_SIZE);
    if (mark != 0)
        return mark;
    return run->first <= seq ? -1 : 1;
}

/* How many runs begin at `seq` or before it. */
static size_t
runs_before(const struct quiet *quiet, const struct log_mark *log, uint64_t seq)
{
    size_t low = 0, high = quiet->n;
    while (low < high) {
        size_t middle = (low + high) / 2;
        if (compare(&quiet->runs[middle], log, seq) < 0)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

static bool
is_of(const struct quiet_run *run, const struct log_mark *log)
{
    return run->log.epoch == log->epoch && memcmp(run->log.mark, log->mark, MARK_SIZE) == 0;
}

uint64_t
quiet_until(const struct quiet *quiet, const struct log_mark *log, uint64_t seq)
{
    size_t at = runs_before(quiet, log, seq);
    if (at == 0 || !is_of(&quiet->runs[at - 1], log) || quiet->runs[at - 1].last < seq)
        return 0;
    return quiet->runs[at - 1].last;
}

static void
insert(struct quiet *quiet, size_t at, const struct log_mark *log, uint64_t seq)
{
    if (quiet->n == RUNS_MOST)
        return;
    if (quiet->n == quiet->room) {
        size_t room = quiet->room * 2 + 16;
        struct quiet_run *moved = realloc(quiet->runs, room * sizeof *moved);
        if (moved == NULL)
            return;
        quiet->runs = moved;
        quiet->room = room;
    }
    memmove(&quiet->runs[at + 1], &quiet->runs[at], (quiet->n - at) * sizeof quiet->runs[0]);
    quiet->runs[at] = (struct quiet_run){*log, seq, seq};
    quiet->n++;
}

void
quiet_add(struct quiet *quiet, const struct log_mark *log, uint64_t seq)
{
    size_t at = runs_before(quiet, log, seq);
    struct quiet_run *before = at > 0 ? &quiet->runs[at - 1] : NULL;
    struct quiet_run *after = at < quiet->n ? &quiet->runs[at] : NULL;
    bool joins_before = before != NULL && is_of(before, log) && before->last + 1 >= seq;
    bool joins_after = after != NULL && is_of(after, log) && after->first == seq + 1;
    if (joins_before && before->last >= seq)
        return;
    if (joins_before && joins_after) {
        before->last = after->last;
        quiet->n--;
        memmove(after, after + 1, (quiet->n - at) * sizeof *after);
    } else if (joins_before) {
        before->last = seq;
    } else if (joins_after) {
        after->first = seq;
    } else {
        insert(quiet, at, log, seq);
    }
}

void
quiet_done(struct quiet *quiet)
{
    free(quiet->runs);
    memset(quiet, 0, sizeof *quiet);
}
