/* progress.c - how far a long command is. */
#include "client/progress.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

enum {
    FIRST_MS = 1000,
    STEP_MS = 200
};

static int64_t
mono_ms(void)
{
    struct timespec now;
    (void)clock_gettime(CLOCK_MONOTONIC, &now);
    return (int64_t)now.tv_sec * 1000 + now.tv_nsec / 1000000;
}

void
progress_begin(struct progress *progress, bool quiet)
{
    const char *term = getenv("TERM"), *no_color = getenv("NO_COLOR");
    bool plain =
        (no_color != NULL && no_color[0] != '\0') || term == NULL || strcmp(term, "dumb") == 0;
    *progress = (struct progress){.on = !quiet && !plain && isatty(STDERR_FILENO) == 1};
    progress->start_ms = progress->last_ms = mono_ms();
}

void
progress_tell(struct progress *progress, size_t n, const char *words)
{
    if (!progress->on)
        return;
    int64_t now = mono_ms();
    if (now - progress->start_ms < FIRST_MS || now - progress->last_ms < STEP_MS)
        return;
    (void)fprintf(stderr, "\r%zu %s\033[K", n, words);
    (void)fflush(stderr);
    progress->last_ms = now;
    progress->shown = true;
}

void
progress_end(struct progress *progress)
{
    if (progress->shown)
        (void)fputs("\r\033[K", stderr);
    progress->shown = false;
}
