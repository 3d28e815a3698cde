/* pool.h - a row of arenas: decoded records of one fold, all gone at once.
 */
#ifndef DAEMON_LEDGER_POOL_H
#define DAEMON_LEDGER_POOL_H

#include "daemon/ledger/lean.h"
#include "daemon/record/record.h"
#include "proto/codec.h"

/* A decoded record kept from one fold to the next. */
struct pool_slot {
    uint64_t lsn; /* 0: empty */
    uint64_t turn;
    int64_t held_ms;
    struct arena arena;
    Knockbox__Record *record;
};

enum {
    POOL_SLOTS = 256,
    POOL_SLOT_SIZE = 8 * 1024
};

struct pool {
    struct arena *arenas;
    size_t n, used, room;    /* arenas[0..used) hold something; the last of them takes more */
    struct pool_slot *slots; /* POOL_SLOTS of them, by lsn; NULL until wanted */
    uint64_t turn;           /* grows at each reset: what was lent since then stays */
    bool lean;               /* records without what folds do not read */
    struct lean_texts texts;
};

void pool_reset(struct pool *pool);
void pool_done(struct pool *pool);

/* An arena with at least `size` bytes left; lent until the next pool_*. NULL: out of memory. */
struct arena *pool_arena(struct pool *pool, size_t size);
void *pool_take(struct pool *pool, size_t size);
/* Decodes bytes of our own store; lent until pool_reset(). */
enum err pool_decode(struct pool *pool, const uint8_t *bytes, size_t len,
                     Knockbox__Record **out_record, struct err_text *why);

/* The same, kept past resets where there is room, so that records that many subjects share are
 * decoded once. Lent until pool_reset() all the same. */
enum err pool_decode_kept(struct pool *pool, uint64_t lsn, int64_t held_ms, const uint8_t *bytes,
                          size_t len, Knockbox__Record **out_record, struct err_text *why);
/* A record that was kept, NULL when it is not there any more. */
const struct pool_slot *pool_kept(struct pool *pool, uint64_t lsn);

#endif
