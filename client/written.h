/* written.h - what a write came to, in words and numbers.
 */
#ifndef CLIENT_WRITTEN_H
#define CLIENT_WRITTEN_H

#include <jansson.h>

enum {
    WRITTEN_TEXT = 160
};

/* "Written, numbers 1841 to 1843." or "Written, number 7." out of a write's answer; several logs
 * are named. "" when nothing was written. Returns `out`. */
char *written_words(const json_t *answer, char out[WRITTEN_TEXT]);

#endif
