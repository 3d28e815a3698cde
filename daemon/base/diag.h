/* diag.h - what the daemons say to their log: one line on stderr a call.
 *
 * Lines begin with `<n>`, the level that systemd's journal reads. Whatever stands in the text, a
 * line stays one line and moves no cursor: control characters, bytes that are not UTF-8 and marks
 * that turn the direction of text come out as \xNN. Never hand a key or a code to these.
 */
#ifndef DAEMON_BASE_DIAG_H
#define DAEMON_BASE_DIAG_H

#include <stddef.h>

enum diag_level {
    DIAG_ERROR = 3,
    DIAG_WARNING = 4,
    DIAG_NOTICE = 5,
    DIAG_INFO = 6
};

enum {
    DIAG_LINE = 1024
}; /* longer lines are cut */

void diag_say(enum diag_level level, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* For what happens again and again: says a line only when it differs from the last one said with
 * this memory, or DIAG_AGAIN_MS later. `mono_ms` is any monotonic clock. Begin with {0}. */
struct diag_memory {
    unsigned long long said; /* a digest of the text, 0: nothing yet */
    unsigned long long at_ms;
};
enum {
    DIAG_AGAIN_MS = 600000
};
void diag_changed(struct diag_memory *memory, unsigned long long mono_ms, enum diag_level level,
                  const char *format, ...) __attribute__((format(printf, 4, 5)));
void diag_fine(struct diag_memory *memory); /* it works again: the next trouble is news */

#define diag_error(...) diag_say(DIAG_ERROR, __VA_ARGS__)
#define diag_warning(...) diag_say(DIAG_WARNING, __VA_ARGS__)
#define diag_notice(...) diag_say(DIAG_NOTICE, __VA_ARGS__)
#define diag_info(...) diag_say(DIAG_INFO, __VA_ARGS__)

/* Copies `text` made harmless into `out` of `size`, cut to fit. Returns the length. */
size_t diag_clean(const char *text, char *out, size_t size);

#endif
