/* block.h - small pieces of memory out of large blocks, given back all at once.
 */
#ifndef DAEMON_LEDGER_BLOCK_H
#define DAEMON_LEDGER_BLOCK_H

#include <stdbool.h>
#include <stddef.h>

struct block;

/* `size` bytes of the newest of `*blocks` (NULL: none yet), or of a new one of `block_size` bytes or
 * more. The first piece of a block is aligned to 16 bytes; those after it are when all sizes are
 * multiples of that. NULL: out of memory, nothing changed. */
void *block_take(struct block **blocks, size_t block_size, size_t size);
/* Gives all back; `keep_one`: the oldest stays, empty, for what comes next. */
void block_drop(struct block **blocks, bool keep_one);

#endif
