/* grow.h - room for one more in an array that doubles.
 */
#ifndef DAEMON_LEDGER_GROW_H
#define DAEMON_LEDGER_GROW_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>

/* Makes `items` (of *cap entries of `size` bytes) hold at least n + 1. Returns where it is now,
 * NULL: out of memory, and `items` is still yours. */
static inline void *
grow_room(void *items, size_t n, size_t *cap, size_t size)
{
    if (n < *cap)
        return items;
    size_t more = *cap < 8 ? 16 : *cap * 2;
    if (more > SIZE_MAX / size)
        return NULL;
    void *bigger = realloc(items, more * size);
    if (bigger != NULL)
        *cap = more;
    return bigger;
}

#endif
