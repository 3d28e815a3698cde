/* block.c - see block.h. */
#include "daemon/ledger/block.h"

#include <stdint.h>
#include <stdlib.h>

struct block {
    struct block *next; /* older */
    size_t size, used;
    _Alignas(16) uint8_t bytes[];
};

void *
block_take(struct block **blocks, size_t block_size, size_t size)
{
    struct block *block = *blocks;
    if (block == NULL || block->size - block->used < size) {
        size_t room = size > block_size ? size : block_size;
        block = malloc(sizeof *block + room);
        if (block == NULL)
            return NULL;
        *block = (struct block){*blocks, room, 0};
        *blocks = block;
    }
    void *p = block->bytes + block->used;
    block->used += size;
    return p;
}

void
block_drop(struct block **blocks, bool keep_one)
{
    while (*blocks != NULL && !(keep_one && (*blocks)->next == NULL)) {
        struct block *block = *blocks;
        *blocks = block->next;
        free(block);
    }
    if (*blocks != NULL)
        (*blocks)->used = 0;
}
