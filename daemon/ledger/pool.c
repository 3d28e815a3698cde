/* pool.c - see pool.h. */
#include "daemon/ledger/pool.h"

#include <stdlib.h>

enum {
    POOL_ARENA = 256 * 1024,
    POOL_KEPT = 4
};

void
pool_reset(struct pool *pool)
{
    for (; pool->n > POOL_KEPT; pool->n--)
        arena_done(&pool->arenas[pool->n - 1]);
    for (size_t i = 0; i < pool->n; i++)
        arena_reset(&pool->arenas[i]);
    pool->used = 0;
    pool->turn++;
}

void
pool_done(struct pool *pool)
{
    for (size_t i = 0; pool->slots != NULL && i < POOL_SLOTS; i++)
        arena_done(&pool->slots[i].arena);
    free(pool->slots);
    texts_done(&pool->texts.all);
    for (size_t i = 0; i < pool->n; i++)
        arena_done(&pool->arenas[i]);
    free(pool->arenas);
    *pool = (struct pool){.lean = pool->lean};
}

static bool
add_arena(struct pool *pool, size_t size)
{
    if (pool->n == pool->room) {
        size_t room = pool->room * 2 + 4;
        struct arena *arenas = realloc(pool->arenas, room * sizeof *arenas);
        if (arenas == NULL)
            return false;
        pool->arenas = arenas;
        pool->room = room;
    }
    if (arena_init(&pool->arenas[pool->n], size, NULL) != ERR_OK)
        return false;
    pool->n++;
    return true;
}

struct arena *
pool_arena(struct pool *pool, size_t size)
{
    if (pool->used > 0) {
        struct arena *last = &pool->arenas[pool->used - 1];
        if (last->size - last->used >= size)
            return last;
    }
    while (pool->used < pool->n) {
        struct arena *next = &pool->arenas[pool->used++];
        if (next->size >= size)
            return next;
    }
    if (!add_arena(pool, size > POOL_ARENA ? size : POOL_ARENA))
        return NULL;
    pool->used = pool->n;
    return &pool->arenas[pool->n - 1];
}

void *
pool_take(struct pool *pool, size_t size)
{
    struct arena *arena = pool_arena(pool, size + 32);
    return arena != NULL ? arena_take(arena, size) : NULL;
}

static enum err
decode(struct pool *pool, const uint8_t *bytes, size_t len, struct arena *arena,
       Knockbox__Record **out_record, struct err_text *why)
{
    if (pool->lean)
        return lean_decode(bytes, len, &pool->texts, arena, out_record, why);
    return record_decode(bytes, len, false, arena, out_record, why);
}

enum err
pool_decode(struct pool *pool, const uint8_t *bytes, size_t len, Knockbox__Record **out_record,
            struct err_text *why)
{
    /* a repeated field of one-byte entries takes most: a pointer and a text of its own each */
    size_t most = 4096 + len * 40;
    struct arena *arena = pool_arena(pool, most);
    if (arena == NULL)
        return err_set(ERR_MEM, why, "ledger: out of memory");
    return decode(pool, bytes, len, arena, out_record, why);
}

const struct pool_slot *
pool_kept(struct pool *pool, uint64_t lsn)
{
    if (pool->slots == NULL)
        return NULL;
    struct pool_slot *slot = &pool->slots[lsn % POOL_SLOTS];
    if (slot->lsn != lsn)
        return NULL;
    slot->turn = pool->turn;
    return slot;
}

/* A slot that nothing of this turn uses, with room for a record of `len` bytes. NULL: none. */
static struct pool_slot *
free_slot(struct pool *pool, uint64_t lsn, size_t len)
{
    if (len > POOL_SLOT_SIZE / 16)
        return NULL;
    if (pool->slots == NULL)
        pool->slots = calloc(POOL_SLOTS, sizeof *pool->slots);
    if (pool->slots == NULL)
        return NULL;
    struct pool_slot *slot = &pool->slots[lsn % POOL_SLOTS];
    if (slot->lsn != 0 && slot->turn == pool->turn)
        return NULL;
    slot->lsn = 0;
    if (slot->arena.block == NULL && arena_init(&slot->arena, POOL_SLOT_SIZE, NULL) != ERR_OK)
        return NULL;
    arena_reset(&slot->arena);
    return slot;
}

enum err
pool_decode_kept(struct pool *pool, uint64_t lsn, int64_t held_ms, const uint8_t *bytes, size_t len,
                 Knockbox__Record **out_record, struct err_text *why)
{
    struct pool_slot *slot = free_slot(pool, lsn, len);
    if (slot == NULL || decode(pool, bytes, len, &slot->arena, out_record, NULL) != ERR_OK)
        return pool_decode(pool, bytes, len, out_record, why);
    slot->lsn = lsn;
    slot->turn = pool->turn;
    slot->held_ms = held_ms;
    slot->record = *out_record;
    return ERR_OK;
}
