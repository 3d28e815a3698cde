/* draft.c - what was typed into a close that was left. */
#include "client/draft.h"

#include <fcntl.h>
#include <limits.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>
#include "client/read_lines.h"
#include "proto/when.h"

static bool
folder(char out[PATH_MAX])
{
    const char *state = getenv("XDG_STATE_HOME"), *home = getenv("HOME");
    int n;
    if (state != NULL && state[0] == '/')
        n = snprintf(out, PATH_MAX, "%s/knockbox", state);
    else if (home != NULL && home[0] == '/')
        n = snprintf(out, PATH_MAX, "%s/.local/state/knockbox", home);
    else
        return false;
    return n > 0 && n < PATH_MAX - 80;
}

/* A site's code may hold a slash; a file's name may not. */
static bool
file_name(const char *site, char out[PATH_MAX])
{
    if (!folder(out))
        return false;
    size_t used = strlen(out);
    (void)snprintf(out + used, PATH_MAX - used, "/close-%s", site);
    for (char *c = out + used + 1; *c != '\0'; c++)
        if (*c == '/')
            *c = '_';
    return true;
}

static void
make_folders(const char *path)
{
    char part[PATH_MAX];
    for (const char *slash = strchr(path + 1, '/'); slash != NULL; slash = strchr(slash + 1, '/')) {
        (void)snprintf(part, sizeof part, "%.*s", (int)(slash - path), path);
        (void)mkdir(part, 0700); /* may be there */
    }
}

void
draft_save(const char *site, int32_t day, const char *const *lines, size_t n)
{
    char path[PATH_MAX], text[DAY_TEXT];
    if (n == 0 || !file_name(site, path))
        return;
    make_folders(path);
    int fd = open(path, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0600);
    FILE *f = fd >= 0 ? fdopen(fd, "w") : NULL;
    if (f == NULL)
        return;
    (void)fprintf(f, "%s\n", day_print(day, text));
    for (size_t i = 0; i < n;
         i++) /* a blank answer is kept as a dot, for blank lines are skipped */
        (void)fprintf(f, "%s%s\n", lines[i], lines[i][0] == '\0' ? "." : "");
    (void)fclose(f);
}

char **
draft_load(const char *site, int32_t day)
{
    char path[PATH_MAX], text[DAY_TEXT], **lines = NULL;
    size_t n = 0;
    struct err_text ignored; /* no draft is no failure */
    if (!file_name(site, path) || read_lines(path, &lines, &n, &ignored) != ERR_OK)
        return NULL;
    if (n < 2 || strcmp(lines[0], day_print(day, text)) != 0) {
        lines_free(lines);
        return NULL;
    }
    free(lines[0]);
    memmove(lines, lines + 1, n * sizeof *lines);
    for (size_t i = 0; lines[i] != NULL; i++)
        if (strcmp(lines[i], ".") == 0)
            lines[i][0] = '\0';
    return lines;
}

void
draft_drop(const char *site)
{
    char path[PATH_MAX];
    if (file_name(site, path))
        (void)unlink(path); /* may not be there */
}
