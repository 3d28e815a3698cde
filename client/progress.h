/* progress.h - how far a long command is, on stderr at a terminal.
 *
 * Shows nothing in the first second, no more than five times a second, and not at all in a pipe,
 * with NO_COLOR, TERM=dumb or --quiet.
 */
#ifndef CLIENT_PROGRESS_H
#define CLIENT_PROGRESS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct progress {
    bool on, shown;
    int64_t start_ms, last_ms;
};

void progress_begin(struct progress *progress, bool quiet);
/* "12000 lines sent"; cheap to call often. */
void progress_tell(struct progress *progress, size_t n, const char *words);
void progress_end(struct progress *progress); /* clears the line */

#endif
