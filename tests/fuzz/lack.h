/* lack.h - the n-th allocation of our own code fails, once. Link the library `lack`, which wraps
 * malloc, calloc and realloc for everything that is linked as an archive.
 */
#ifndef TESTS_FUZZ_LACK_H
#define TESTS_FUZZ_LACK_H

#include <stdbool.h>

void lack_at(unsigned n); /* counted from now, the first is 1 */
bool lack_end(void);      /* no more; true: one has failed */

#endif
