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
}

void
pool_done(struct pool *pool)
{
    for (size_t i = 0; i < pool->n; i++)
        arena_done(&pool->arenas[i]);
    free(pool->arenas);
    *pool = (struct pool){NULL, 0, 0, 0};
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

enum err
pool_decode(struct pool *pool, const uint8_t *bytes, size_t len, Knockbox__Record **out_record,
            struct err_text *why)
{
    /* a repeated field of one-byte entries takes most: a pointer and a text of its own each */
    size_t most = 4096 + len * 40;
    struct arena *arena = pool_arena(pool, most);
    if (arena == NULL)
        return err_set(ERR_MEM, why, "ledger: out of memory");
    return record_decode(bytes, len, false, arena, out_record, why);
}
