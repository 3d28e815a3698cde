/* read_lines.c - a small file as lines. */
#include "client/read_lines.h"

#include <errno.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void
lines_free(char **lines)
{
    for (size_t i = 0; lines != NULL && lines[i] != NULL; i++)
        free(lines[i]);
    free(lines);
}

/* Adds a copy behind the last; false: no memory, the list is whole. */
static bool
add_line(char ***lines, size_t n, const char *text)
{
    char **grown = realloc(*lines, (n + 2) * sizeof *grown);
    if (grown == NULL)
        return false;
    *lines = grown;
    grown[n] = strdup(text);
    grown[n + 1] = NULL;
    return grown[n] != NULL;
}

static enum err
read_all(FILE *f, char ***lines, size_t *n, struct err_text *why)
{
    char *line = NULL;
    size_t room = 0;
    ssize_t len;
    enum err e = ERR_OK;
    while (e == ERR_OK && (len = getline(&line, &room, f)) >= 0) {
        while (len > 0 && (line[len - 1] == '\n' || line[len - 1] == '\r'))
            line[--len] = '\0';
        if (line[strspn(line, " \t")] == '\0')
            continue;
        if (add_line(lines, *n, line))
            (*n)++;
        else
            e = err_set(ERR_MEM, why, "no memory for the file");
    }
    free(line);
    return e;
}

enum err
read_lines(const char *name, char ***out_lines, size_t *out_n, struct err_text *why)
{
    FILE *f = strcmp(name, "-") == 0 ? stdin : fopen(name, "re");
    char **lines = NULL;
    size_t n = 0;
    if (f == NULL)
        return err_set(ERR_USAGE, why, "%s: %s", name, strerror(errno));
    enum err e = read_all(f, &lines, &n, why);
    if (f != stdin)
        (void)fclose(f);
    if (e != ERR_OK) {
        lines_free(lines);
        return e;
    }
    *out_lines = lines;
    *out_n = n;
    return ERR_OK;
}
