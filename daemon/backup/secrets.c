/* secrets.c - the files of a folder that hold secrets, in a file of their own. */
#include <errno.h>
#include <fcntl.h>
#include <sodium.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "daemon/backup/backup.h"
#include "daemon/backup/whole.h"
#include "daemon/store/kv_error.h"

static const char secrets_magic[PART_MAGIC] = "knockbox keys\n\n";

/* A plain name of this folder: no path, nothing hidden. */
static bool
plain_name(const char *name, size_t len)
{
    return len >= 1 && len <= 64 && name[0] != '.' && memchr(name, '/', len) == NULL &&
           memchr(name, '\0', len) == NULL;
}

static enum err
put_file(struct part_sink *sink, const char *dir, const char *name, size_t *out_n,
         struct err_text *why)
{
    char path[PATH_SIZE];
    char *text = NULL;
    size_t len = 0;
    if (!plain_name(name, strlen(name)))
        return ERR_OK; /* lies elsewhere: not the hub's to keep */
    enum err e = path_join(dir, name, path, why);
    if (e == ERR_OK)
        e = file_read(path, &text, &len, why);
    if (e == ERR_NOT_FOUND)
        return ERR_OK;
    struct part_row row = {.kind = PART_FILES,
                           .key = (const uint8_t *)name,
                           .key_len = strlen(name),
                           .value = (const uint8_t *)text,
                           .value_len = len};
    if (e == ERR_OK)
        e = part_put(sink, &row, why);
    if (text != NULL)
        sodium_memzero(text, len);
    free(text);
    *out_n += e == ERR_OK;
    return e;
}

enum err
secrets_write(const char *dir, const char *const *names, size_t n, const char *file, size_t *out_n,
              struct err_text *why)
{
    struct whole whole;
    struct part_sink *sink = NULL;
    uint8_t check[PART_CHECK];
    *out_n = 0;
    enum err e = whole_open(file, &whole, why);
    if (e == ERR_OK)
        e = part_sink_new(whole.fd, whole.part, secrets_magic, &sink, why);
    for (size_t i = 0; e == ERR_OK && i < n; i++)
        e = put_file(sink, dir, names[i], out_n, why);
    if (e == ERR_OK)
        e = part_finish(sink, check, why);
    if (e == ERR_OK)
        e = whole_commit(&whole, why);
    whole_drop(&whole);
    part_sink_free(sink);
    return e;
}

static enum err
take_file(const char *dir, const struct part_row *row, const char *file, struct err_text *why)
{
    char name[PART_KEY_MOST + 1];
    memcpy(name, row->key, row->key_len);
    name[row->key_len] = '\0';
    if (row->kind != PART_FILES || !plain_name(name, row->key_len))
        return err_set(ERR_DAMAGED, why, "%.300s holds a file that cannot be put back", file);
    return dir != NULL ? file_write(dir, name, row->value, row->value_len, 0600, why) : ERR_OK;
}

enum err
secrets_restore(const char *file, const char *dir, struct err_text *why)
{
    struct part_source *source = NULL;
    struct part_row row;
    enum err e = file_check_secret(file, why);
    int fd = e == ERR_OK ? open(file, O_RDONLY | O_CLOEXEC) : -1;
    if (e != ERR_OK || fd < 0)
        return e != ERR_OK ? e : kv_error_system(errno, "open", file, why);
    e = part_source_new(fd, file, secrets_magic, &source, why);
    while (e == ERR_OK) {
        e = part_next(source, &row, why);
        if (e == ERR_OK)
            e = take_file(dir, &row, file, why);
    }
    part_source_free(source);
    (void)close(fd);
    return e == ERR_NOT_FOUND ? ERR_OK : e;
}
