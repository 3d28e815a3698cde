/* arena.c - a bump allocator over one block. */
#include "proto/codec.h"

#include <stdalign.h>
#include <stdlib.h>

enum err
arena_init(struct arena *arena, size_t size, struct err_text *why)
{
    *arena = (struct arena){.block = malloc(size), .size = size};
    if (arena->block == NULL)
        return err_set(ERR_MEM, why, "no memory for a message of up to %zu bytes", size);
    return ERR_OK;
}

void
arena_reset(struct arena *arena)
{
    arena->used = 0;
}

void
arena_done(struct arena *arena)
{
    free(arena->block);
    *arena = (struct arena){0};
}

void *
arena_take(struct arena *arena, size_t size)
{
    enum {
        STEP = alignof(max_align_t)
    };
    size_t start = (arena->used + STEP - 1) & ~(size_t)(STEP - 1);
    if (start > arena->size || size > arena->size - start)
        return NULL;
    arena->used = start + size;
    return arena->block + start;
}
