/* backup_read.c - a backup, read from end to end. */
#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <unistd.h>

#include "daemon/backup/backup_int.h"
#include "daemon/store/kv_error.h"

void
backup_done(struct backup *backup)
{
    content_done(&backup->content);
}

static void
note_file(struct backup *backup, const struct part_row *row)
{
    size_t used = strlen(backup->files);
    if (row->kind != PART_FILES || used + row->key_len + 2 > sizeof backup->files)
        return;
    if (used > 0)
        backup->files[used++] = ' ';
    memcpy(backup->files + used, row->key, row->key_len);
    backup->files[used + row->key_len] = '\0';
}

enum err
backup_scan(int fd, const char *name, backup_visit *visit, void *owner, struct backup *out,
            struct err_text *why)
{
    struct part_source *source = NULL;
    struct part_row row;
    memset(out, 0, sizeof *out);
    content_init(&out->content, name);
    enum err e = part_source_new(fd, name, backup_magic, &source, why);
    while (e == ERR_OK) {
        e = part_next(source, &row, why);
        if (e == ERR_OK)
            e = content_row(&out->content, &row, why);
        if (e == ERR_OK)
            note_file(out, &row);
        if (e == ERR_OK && visit != NULL)
            e = visit(owner, &out->content, &row, why);
    }
    if (e == ERR_NOT_FOUND)
        e = content_end(&out->content, why);
    if (e == ERR_OK) {
        memcpy(out->check, part_check(source), PART_CHECK);
        out->bytes = part_bytes(source);
    }
    part_source_free(source);
    return e;
}

enum err
backup_read(const char *file, struct backup *out, struct err_text *why)
{
    memset(out, 0, sizeof *out);
    int fd = open(file, O_RDONLY | O_CLOEXEC);
    if (fd < 0)
        return kv_error_system(errno, "open", file, why);
    enum err e = backup_scan(fd, file, NULL, NULL, out, why);
    (void)close(fd);
    return e;
}
