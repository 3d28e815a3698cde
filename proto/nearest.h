/* nearest.h - "did you mean": the word of a list that is nearest to what was typed.
 */
#ifndef PROTO_NEAREST_H
#define PROTO_NEAREST_H

#include <stddef.h>

struct nearest {
    const char *typed;
    const char *best; /* NULL as long as nothing is near */
    size_t distance;
};

/* Begin with { typed, NULL, 0 } and offer word after word. A word is near when at most a third of
 * its letters (and one at least) have to be changed, added, left out or swapped with a neighbour. */
void nearest_offer(struct nearest *nearest, const char *word);

#endif
