/* slurp.c - a whole file in memory. */
#include "daemon/plan/slurp.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum {
    MOST = 256 * 1024 * 1024
};

/* Doubles the room. */
static enum err
grow(char **bytes, size_t *room, struct err_text *why)
{
    if (*room >= MOST)
        return err_set(ERR_INPUT, why, "is over 256 MiB");
    *room = *room == 0 ? (size_t)64 * 1024 : *room * 2;
    char *more = realloc(*bytes, *room + 1);
    if (more == NULL)
        return err_set(ERR_MEM, why, "no memory for the file");
    *bytes = more;
    return ERR_OK;
}

static enum err
read_all(FILE *f, char **bytes, size_t *len, struct err_text *why)
{
    size_t room = 0;
    *len = 0;
    do {
        if (*len == room) {
            enum err e = grow(bytes, &room, why);
            if (e != ERR_OK)
                return e;
        }
        *len += fread(*bytes + *len, 1, room - *len, f);
    } while (*len == room);
    (*bytes)[*len] = '\0';
    return ferror(f) ? err_set(ERR_IO, why, "%s", strerror(errno)) : ERR_OK;
}

enum err
slurp_stream(FILE *f, char **out_bytes, size_t *out_len, struct err_text *why)
{
    char *bytes = NULL;
    size_t len = 0;
    enum err e = read_all(f, &bytes, &len, why);
    if (e != ERR_OK) {
        free(bytes);
        return e;
    }
    *out_bytes = bytes;
    *out_len = len;
    return ERR_OK;
}

enum err
slurp_file(const char *path, char **out_bytes, size_t *out_len, struct err_text *why)
{
    FILE *f = fopen(path, "rbe");
    if (f == NULL)
        return err_set(ERR_IO, why, "%s: %s", path, strerror(errno));
    enum err e = slurp_stream(f, out_bytes, out_len, why);
    (void)fclose(f); /* was only read */
    if (e != ERR_OK)
        err_prefix(why, "%s: ", path);
    return e;
}
