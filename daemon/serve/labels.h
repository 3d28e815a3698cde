/* labels.h - which tub labels exist, as 64-bit marks: a quick "surely new" before a tub is written.
 *
 * A miss is certain; a hit is looked up in the ledger. So taking a new tub costs no fold.
 */
#ifndef DAEMON_SERVE_LABELS_H
#define DAEMON_SERVE_LABELS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Open addressing; a filled-with-zeros struct is empty. n <= room / 2, room a power of two. */
struct labels {
    uint64_t *marks;
    size_t n, room;
    bool loaded; /* holds all that the ledger has */
};

bool labels_add(struct labels *labels, const char *label); /* false: no memory, unchanged */
bool labels_has(const struct labels *labels, const char *label);
void labels_done(struct labels *labels);

#endif
