/* pool.h - a row of arenas: decoded records of one fold, all gone at once.
 */
#ifndef DAEMON_LEDGER_POOL_H
#define DAEMON_LEDGER_POOL_H

#include "daemon/record/record.h"
#include "proto/codec.h"

struct pool {
    struct arena *arenas;
    size_t n, used, room; /* arenas[0..used) hold something; the last of them takes more */
};

void pool_reset(struct pool *pool);
void pool_done(struct pool *pool);

/* An arena with at least `size` bytes left; lent until the next pool_*. NULL: out of memory. */
struct arena *pool_arena(struct pool *pool, size_t size);
void *pool_take(struct pool *pool, size_t size);
/* Decodes bytes of our own store; lent until pool_reset(). */
enum err pool_decode(struct pool *pool, const uint8_t *bytes, size_t len,
                     Knockbox__Record **out_record, struct err_text *why);

#endif
