/* accept.c - are these records new, known, ahead of us, or another history? */
#include "daemon/store/accept.h"

static const uint64_t most_seq = 1000000000000; /* record.proto: Record.seq */

enum accept_result
accept_decide(const struct accept_facts *f)
{
    if (!f->claims_fit || f->first == 0 || f->first > most_seq || f->n > most_seq - f->first + 1)
        return ACCEPT_BROKEN;
    if (f->first > f->have + 1)
        return ACCEPT_GAP;
    if (!f->prev_fits)
        return f->first == 1 ? ACCEPT_BROKEN : ACCEPT_FORK; /* every chain begins with zeros */
    if (!f->same)
        return ACCEPT_FORK;
    return f->first + f->n <= f->have + 1 ? ACCEPT_REPEAT : ACCEPT_STORED;
}

enum accept_result
accept_part_decide(const struct accept_part_facts *f)
{
    if (!f->claims_fit || f->seq == 0 || f->seq > most_seq)
        return ACCEPT_BROKEN;
    if (f->seq == 1 && !f->prev_is_zero)
        return ACCEPT_BROKEN;
    if (f->held)
        return f->same ? ACCEPT_REPEAT : ACCEPT_FORK;
    return f->before_fits && f->after_fits ? ACCEPT_STORED : ACCEPT_FORK;
}
