/* warm.c - see warm.h. */
#include "daemon/ledger/warm.h"

#include <stdlib.h>

struct period {
    int64_t from, to;
};

static int
compare(const void *a, const void *b)
{
    const struct period *p = a, *q = b;
    return p->from < q->from ? -1 : p->from > q->from;
}

/* Length of the union of periods, each cut to [from, to). */
static int64_t
covered(const struct period *periods, size_t n, int64_t from, int64_t to)
{
    int64_t sum = 0, end = from;
    for (size_t i = 0; i < n; i++) {
        int64_t first = periods[i].from > end ? periods[i].from : end;
        int64_t last = periods[i].to < to ? periods[i].to : to;
        if (last > first) {
            sum += last - first;
            end = last;
        }
    }
    return sum;
}

static bool
wanted(const struct fact *fact, bool warm)
{
    if (fact->record->body_case != KNOCKBOX__RECORD__BODY_SHIFT)
        return false;
    const Knockbox__Shift *shift = fact->record->shift;
    if (warm)
        return !shift->has_state;
    return shift->has_state && shift->state != KNOCKBOX__SHIFT_STATE__SHIFT_STATE_THAWING;
}

static size_t
gather(const struct fact *facts, size_t n, bool warm, struct period *out)
{
    size_t k = 0;
    for (size_t i = 0; i < n; i++)
        if (wanted(&facts[i], warm))
            out[k++] =
                (struct period){facts[i].record->shift->from_ms, facts[i].record->shift->to_ms};
    if (k > 1)
        qsort(out, k, sizeof *out, compare);
    return k;
}

enum err
warm_time(const Knockbox__Tub *tub, const struct fact *facts, size_t n, int64_t *out_warm_ms)
{
    size_t shifts = 0;
    for (size_t i = 0; i < n; i++)
        shifts += facts[i].record->body_case == KNOCKBOX__RECORD__BODY_SHIFT;
    int64_t from = tub->first_knock_ms, to = tub->frozen_ms;
    *out_warm_ms = to > from ? to - from : 0;
    if (shifts == 0)
        return ERR_OK;
    struct period *periods = malloc(shifts * sizeof *periods);
    if (periods == NULL)
        return ERR_MEM;
    size_t cold = gather(facts, n, false, periods);
    *out_warm_ms -= covered(periods, cold, from, to);
    size_t warm = gather(facts, n, true, periods);
    *out_warm_ms += covered(periods, warm, INT64_MIN, from) + covered(periods, warm, to, INT64_MAX);
    free(periods);
    return ERR_OK;
}
