/* residue_pool.h - the residue that waits at its batches, and which `residue` record took what.
 *
 * Report rule W2: residue waits at its batch until a `residue` record puts it into a stream; one
 * that names no batch takes the oldest of its site. A batch's residue waits at the site that
 * strained it first, whoever strains or takes it later: so the pool of a site is made of
 *   - every `strain` of the batches that were first strained there,
 *   - every `residue` that names such a batch, in whichever site's log, and
 *   - every `residue` without a batch in the site's own log,
 * in the order of T5. Pure; a site that needs another's pool makes it from that site's facts.
 */
#ifndef DAEMON_LEDGER_RESIDUE_POOL_H
#define DAEMON_LEDGER_RESIDUE_POOL_H

#include <stddef.h>
#include <stdint.h>
#include "daemon/ledger/fold.h"
#include "proto/err.h"

struct residue_take {
    const struct fact *fact; /* the `residue` record */
    const char *batch;       /* whose residue; "" for what nobody had booked (W3) */
    int64_t mass_g;          /* over 0 */
};

struct residue_wait {
    const struct fact *fact; /* the `strain` record */
    const char *batch;
    int64_t mass_g; /* still at the batch; may be 0 */
    size_t next;    /* the batch's next wait, SIZE_MAX: none */
};

/* Where a batch's waits begin (those before hold nothing) and end; SIZE_MAX: none. */
struct residue_chain {
    const char *batch; /* NULL: an empty place of the table */
    size_t head, tail;
};

struct residue_pool {
    char *site;
    struct residue_take *takes; /* in the order of their facts, oldest residue first */
    size_t n_takes, cap_takes;
    struct residue_wait *waits; /* oldest first */
    size_t n_waits, cap_waits;
    size_t oldest;                /* waits before it hold nothing */
    struct residue_chain *chains; /* a hash table of `n_chains` places, a power of two */
    size_t n_chains;
};

/* The site where a batch's residue waits: that of its first `strain`; NULL: nobody strained it.
 * Lent until the fold returns. */
const char *residue_home(const struct fold_input *input, const char *batch);

/* The pool of `site` at the end of its facts. End it with residue_pool_done(), also after an
 * error. ERR_MEM. */
enum err residue_pool_make(const struct fold_input *input, const char *site,
                           struct residue_pool *out_pool, struct err_text *why);
void residue_pool_done(struct residue_pool *pool);

/* The takes of one record: *out_n of them (0: none), lent by the pool. */
const struct residue_take *residue_pool_takes(const struct residue_pool *pool,
                                              const struct fact *fact, size_t *out_n);

#endif
