/* backup_write.c - one snapshot of a hub's store, beside its running daemon, into a file. */
#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "daemon/backup/backup_int.h"
#include "daemon/base/folder.h"
#include "daemon/backup/whole.h"
#include "daemon/store/kv.h"
#include "daemon/store/kv_error.h"

const char *const backup_files[BACKUP_FILES] = {"hub.conf", "delivery.conf", "revoked"};

/* Tables of the store that are no derivation, in the order of the file. */
static const struct {
    const char *name;
    enum part_kind kind;
    bool may_miss;
} tables[] = {
    {"meta", PART_META, false},       {"logs", PART_LOGS, false},    {"notes", PART_NOTES, false},
    {"records", PART_RECORDS, false}, {"outbox", PART_OUTBOX, true},
};
enum {
    TABLES = sizeof tables / sizeof tables[0]
};

struct writing {
    struct kv *kv;
    MDB_dbi tables[TABLES];
    bool there[TABLES];
    struct kv_txn *txn;
    struct part_sink *sink;
    struct content content; /* what is written is judged as it goes by */
};

static enum err
put_row(struct writing *w, const struct part_row *row, struct err_text *why)
{
    enum err e = content_row(&w->content, row, why);
    return e == ERR_OK ? part_put(w->sink, row, why) : e;
}

static enum err
put_about(struct writing *w, const char *name, const char *text, struct err_text *why)
{
    struct part_row row = {.kind = PART_ABOUT,
                           .key = (const uint8_t *)name,
                           .key_len = strlen(name),
                           .value = (const uint8_t *)text,
                           .value_len = strlen(text)};
    return put_row(w, &row, why);
}

static enum err
write_about(struct writing *w, const struct clock *clock, struct err_text *why)
{
    char text[32];
    uint64_t records = 0;
    (void)snprintf(text, sizeof text, "%" PRId64, clock->now_ms(clock->owner));
    enum err e = put_about(w, ABOUT_MADE, text, why);
    if (e == ERR_OK)
        e = put_about(w, ABOUT_BY, "knockbox " KNOCKBOX_VERSION, why);
    if (e == ERR_OK)
        e = kv_count(w->txn, w->tables[3], &records, why);
    (void)snprintf(text, sizeof text, "%" PRIu64, records);
    return e == ERR_OK ? put_about(w, ABOUT_RECORDS, text, why) : e;
}

static enum err
write_table(struct writing *w, size_t table, struct err_text *why)
{
    struct kv_walk *walk = NULL;
    MDB_val key, value;
    if (!w->there[table])
        return ERR_OK;
    enum err e = kv_walk_open(w->txn, w->tables[table], NULL, 0, &walk, why);
    while (e == ERR_OK) {
        e = kv_next(walk, &key, &value, why);
        struct part_row row = {.kind = tables[table].kind};
        if (e != ERR_OK)
            break;
        row.key = key.mv_data;
        row.key_len = key.mv_size;
        row.value = value.mv_data;
        row.value_len = value.mv_size;
        e = put_row(w, &row, why);
    }
    kv_walk_close(walk);
    return e == ERR_NOT_FOUND ? ERR_OK : e;
}

static enum err
write_files(struct writing *w, const char *dir, struct err_text *why)
{
    enum err e = ERR_OK;
    for (size_t i = 0; i < BACKUP_FILES && e == ERR_OK; i++) {
        char path[PATH_SIZE];
        char *text = NULL;
        size_t len = 0;
        if (i > 0 && !file_there(dir, backup_files[i]))
            continue;
        e = path_join(dir, backup_files[i], path, why);
        if (e == ERR_OK)
            e = file_read(path, &text, &len, why);
        struct part_row row = {.kind = PART_FILES,
                               .key = (const uint8_t *)backup_files[i],
                               .key_len = strlen(backup_files[i]),
                               .value = (const uint8_t *)text,
                               .value_len = len};
        if (e == ERR_OK)
            e = put_row(w, &row, why);
        free(text);
    }
    return e;
}

/* The tables first: their handles are made outside the snapshot. */
static enum err
open_snapshot(struct writing *w, const char *dir, struct err_text *why)
{
    char path[PATH_SIZE];
    const struct kv_options options = {.beside = true};
    enum err e = path_join(dir, "store", path, why);
    if (e == ERR_OK)
        e = kv_open(path, &options, &w->kv, why);
    for (size_t i = 0; e == ERR_OK && i < TABLES; i++) {
        e = kv_table_there(w->kv, tables[i].name, &w->tables[i], why);
        w->there[i] = e == ERR_OK;
        if (e == ERR_NOT_FOUND && tables[i].may_miss)
            e = ERR_OK;
    }
    return e == ERR_OK ? kv_read(w->kv, &w->txn, why) : e;
}

static enum err
write_all(struct writing *w, const char *dir, const struct whole *file, const struct clock *clock,
          struct err_text *why)
{
    uint8_t check[PART_CHECK];
    enum err e = part_sink_new(file->fd, file->part, backup_magic, &w->sink, why);
    if (e == ERR_OK)
        e = open_snapshot(w, dir, why);
    if (e == ERR_OK)
        e = write_about(w, clock, why);
    for (size_t i = 0; i < TABLES && e == ERR_OK; i++)
        e = write_table(w, i, why);
    if (w->txn != NULL)
        kv_abort(&w->txn); /* the hub's file need not wait for the rest */
    if (e == ERR_OK)
        e = content_end(&w->content, why);
    if (e == ERR_OK)
        e = write_files(w, dir, why);
    return e == ERR_OK ? part_finish(w->sink, check, why) : e;
}

/* What stands on the disk, not in memory, is what counts. */
static enum err
read_back(const struct whole *file, const char *name, struct backup *out, struct err_text *why)
{
    if (fsync(file->fd) != 0)
        return kv_error_system(errno, "flush", file->part, why);
    (void)posix_fadvise(file->fd, 0, 0, POSIX_FADV_DONTNEED); /* a wish */
    if (lseek(file->fd, 0, SEEK_SET) != 0)
        return kv_error_system(errno, "read", file->part, why);
    return backup_scan(file->fd, name, NULL, NULL, out, why);
}

enum err
backup_write(const char *dir, const char *file, const struct clock *clock, struct backup *out,
             struct err_text *why)
{
    struct whole whole;
    struct writing w;
    memset(&w, 0, sizeof w);
    memset(out, 0, sizeof *out);
    content_init(&w.content, dir);
    enum err e = whole_open(file, &whole, why);
    if (e != ERR_OK)
        return e;
    e = write_all(&w, dir, &whole, clock, why);
    kv_close(w.kv);
    part_sink_free(w.sink);
    content_done(&w.content);
    if (e == ERR_OK)
        e = read_back(&whole, file, out, why);
    if (e == ERR_OK)
        e = whole_commit(&whole, why);
    whole_drop(&whole);
    return e;
}
