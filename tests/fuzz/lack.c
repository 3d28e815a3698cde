/* lack.c - see lack.h. */
#include "tests/fuzz/lack.h"

#include <stddef.h>

void *__real_malloc(size_t size);
void *__real_calloc(size_t n, size_t size);
void *__real_realloc(void *block, size_t size);
void *__wrap_malloc(size_t size);
void *__wrap_calloc(size_t n, size_t size);
void *__wrap_realloc(void *block, size_t size);

static unsigned left; /* 0: none fails */
static bool failed;

void
lack_at(unsigned n)
{
    left = n;
    failed = false;
}

bool
lack_end(void)
{
    left = 0;
    return failed;
}

static bool
fails(void)
{
    if (left == 0 || --left > 0)
        return false;
    failed = true;
    return true;
}

void *
__wrap_malloc(size_t size)
{
    return fails() ? NULL : __real_malloc(size);
}

void *
__wrap_calloc(size_t n, size_t size)
{
    return fails() ? NULL : __real_calloc(n, size);
}

void *
__wrap_realloc(void *block, size_t size)
{
    return fails() ? NULL : __real_realloc(block, size);
}
