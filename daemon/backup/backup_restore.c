/* backup_restore.c - a hub's folder, made from a backup. */
#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "daemon/backup/backup_int.h"
#include "daemon/base/folder.h"
#include "daemon/store/kv.h"
#include "daemon/store/kv_error.h"

/* Stands in the folder until hub.conf does: what is here may be cleared away. */
static const char mark[] = "restoring", half_mark[] = "restoring.new";

enum {
    GROUP_BYTES = 8 << 20, /* of rows in one transaction, */
    GROUP_ROWS = 4000,     /* and so many: ids in no order take a page each */
    TABLES = 7
};

static const char *const table_names[TABLES] = {"meta",   "logs", "notes", "records",
                                                "outbox", "runs", "by_id"};
enum table {
    META,
    LOGS,
    NOTES,
    RECORDS,
    OUTBOX,
    RUNS,
    BY_ID
};

struct restoring {
    const char *dir;
    struct kv *kv;
    MDB_dbi tables[TABLES];
    struct kv_txn *txn;
    size_t bytes, rows; /* in the open transaction */
    uint32_t last_log;  /* of the record before */
    uint64_t last_seq;
    uint8_t generation[MARK_SIZE];   /* the new one */
    uint8_t format[8 + VALUE_CHECK]; /* kept back: the row that finishes a store */
    size_t format_len;
    char *hub_conf; /* kept back likewise */
    size_t hub_conf_len;
};

/* ---------------------------------------------------------------- rows into tables */

static enum err
put(struct restoring *r, enum table table, const void *key, size_t key_len, const void *value,
    size_t value_len, struct err_text *why)
{
    enum err e = r->txn != NULL ? ERR_OK : kv_write(r->kv, &r->txn, why);
    r->bytes += key_len + value_len;
    r->rows++;
    if (e != ERR_OK)
        return e;
    return table == BY_ID
               ? kv_add(r->txn, r->tables[table], key, key_len, value, value_len, NULL, why)
               : kv_put(r->txn, r->tables[table], key, key_len, value, value_len, true, why);
}

static enum err
commit(struct restoring *r, struct err_text *why)
{
    r->bytes = r->rows = 0;
    return r->txn != NULL ? kv_commit(&r->txn, why) : ERR_OK;
}

static bool
is_called(const struct part_row *row, const char *name)
{
    return row->key_len == strlen(name) && memcmp(row->key, name, row->key_len) == 0;
}

/* The store is another one from now on: sites notice, and send again what it lacks. */
static enum err
put_meta(struct restoring *r, const struct part_row *row, struct err_text *why)
{
    uint8_t value[MARK_SIZE + VALUE_CHECK];
    if (is_called(row, "format") && row->value_len <= sizeof r->format) {
        memcpy(r->format, row->value, row->value_len);
        r->format_len = row->value_len;
        return ERR_OK;
    }
    if (!is_called(row, "generation"))
        return put(r, META, row->key, row->key_len, row->value, row->value_len, why);
    memcpy(value, r->generation, MARK_SIZE);
    value_seal(row->key, row->key_len, value, MARK_SIZE);
    return put(r, META, row->key, row->key_len, value, sizeof value, why);
}

/* With its rows in the two indexes. */
static enum err
put_record(struct restoring *r, const struct row *record, const struct part_row *row,
           struct err_text *why)
{
    uint8_t key[RUN_KEY], lsn[LSN_KEY], id[ID_SIZE] = {0}, at[ID_LSN];
    enum err e = put(r, RECORDS, row->key, row->key_len, row->value, row->value_len, why);
    if (e == ERR_OK && (r->last_log != record->log || r->last_seq + 1 != record->seq)) {
        run_key(record->log, record->seq, key);
        put_number(lsn, record->lsn, sizeof lsn);
        e = put(r, RUNS, key, sizeof key, lsn, sizeof lsn, why);
    }
    r->last_log = record->log;
    r->last_seq = record->seq;
    (void)record_id_in(record->bytes, record->len, id); /* without one it is filed under zeros */
    put_number(at, record->lsn, sizeof at);
    return e == ERR_OK ? put(r, BY_ID, id, sizeof id, at, sizeof at, why) : e;
}

/* Only names that a backup has; hub.conf waits for the end. */
static enum err
put_file(struct restoring *r, const struct part_row *row, struct err_text *why)
{
    if (is_called(row, backup_files[0])) {
        free(r->hub_conf);
        r->hub_conf = malloc(row->value_len + 1);
        if (r->hub_conf == NULL)
            return err_set(ERR_MEM, why, "out of memory");
        memcpy(r->hub_conf, row->value, row->value_len);
        r->hub_conf_len = row->value_len;
        return ERR_OK;
    }
    for (size_t i = 1; i < BACKUP_FILES; i++)
        if (is_called(row, backup_files[i]))
            return file_write(r->dir, backup_files[i], row->value, row->value_len, 0600, why);
    return ERR_OK; /* of a later release, and not needed to run */
}

static enum err
take_row(void *owner, const struct content *content, const struct part_row *row,
         struct err_text *why)
{
    struct restoring *r = owner;
    bool full = r->bytes > GROUP_BYTES || r->rows > GROUP_ROWS;
    enum err e = full ? commit(r, why) : ERR_OK;
    if (e != ERR_OK)
        return e;
    switch (row->kind) {
    case PART_META:
        return put_meta(r, row, why);
    case PART_LOGS:
        return put(r, LOGS, row->key, row->key_len, row->value, row->value_len, why);
    case PART_NOTES:
        return put(r, NOTES, row->key, row->key_len, row->value, row->value_len, why);
    case PART_RECORDS:
        return put_record(r, &content->record, row, why);
    case PART_OUTBOX:
        return put(r, OUTBOX, row->key, row->key_len, row->value, row->value_len, why);
    case PART_FILES:
        return put_file(r, row, why);
    default:
        return ERR_OK;
    }
}

static enum err
fill_store(struct restoring *r, int fd, const char *file, const char *path, struct backup *out,
           struct err_text *why)
{
    const struct kv_options options = {.ballast_kib = 4}; /* the daemon makes its own */
    enum err e = kv_open(path, &options, &r->kv, why);
    for (size_t i = 0; e == ERR_OK && i < TABLES; i++)
        e = kv_table(r->kv, table_names[i], &r->tables[i], why);
    if (e == ERR_OK)
        e = backup_scan(fd, file, take_row, r, out, why);
    if (e == ERR_OK)
        e = commit(r, why);
    if (e == ERR_OK) /* the row that says it is finished, last of all */
        e = put(r, META, "format", strlen("format"), r->format, r->format_len, why);
    if (e == ERR_OK)
        e = commit(r, why);
    if (r->txn != NULL)
        kv_abort(&r->txn);
    kv_close(r->kv);
    r->kv = NULL;
    return e;
}

/* ---------------------------------------------------------------- what is ours goes on anew */

/* The hub that was may have written on: its numbers are never used again. */
static enum err
new_epochs(struct store *store, const struct content *content, struct err_text *why)
{
    struct store_txn *txn = NULL;
    enum err e = store_begin(store, &txn, why);
    for (uint32_t i = 0; e == ERR_OK && i < content->n_logs; i++) {
        const struct log_mark *log = &content->logs[i].head;
        bool last = log->own;
        for (uint32_t k = 0; last && k < content->n_logs; k++) {
            const struct log_mark *other = &content->logs[k].head;
            last = !other->own || strcmp(other->site, log->site) != 0 ||
                   other->epoch < log->epoch || (other->epoch == log->epoch && k <= i);
        }
        if (last)
            e = store_new_epoch(txn, log->site, log->epoch, why);
    }
    if (e == ERR_OK)
        e = store_commit(&txn, why);
    store_abort(&txn);
    return e;
}

static enum err
finish_store(const char *path, const struct content *content, const struct clock *clock,
             struct err_text *why)
{
    struct store *store = NULL;
    uint64_t checked = 0;
    struct store_options options = {.clock = *clock};
    enum err e = store_open(path, &options, &store, why);
    if (e == ERR_OK)
        e = new_epochs(store, content, why);
    if (e == ERR_OK)
        e = store_verify(store, &checked, why);
    store_close(store);
    return e;
}

/* ---------------------------------------------------------------- the folder */

/* Everything in a folder of ours, which has no folders of more depth than `store` and `codes`. */
static enum err
clear_folder(const char *dir, unsigned depth, struct err_text *why)
{
    char path[PATH_SIZE];
    DIR *folder = opendir(dir);
    if (folder == NULL)
        return kv_error_system(errno, "read", dir, why);
    enum err e = ERR_OK;
    struct dirent *file = NULL;
    while (e == ERR_OK && (file = readdir(folder)) != NULL) {
        if (strcmp(file->d_name, ".") == 0 || strcmp(file->d_name, "..") == 0 ||
            strcmp(file->d_name, mark) == 0)
            continue;
        e = path_join(dir, file->d_name, path, why);
        if (e == ERR_OK && unlinkat(dirfd(folder), file->d_name, 0) == 0)
            continue;
        if (e == ERR_OK && depth > 0)
            e = clear_folder(path, depth - 1, why);
        if (e == ERR_OK && unlinkat(dirfd(folder), file->d_name, AT_REMOVEDIR) != 0)
            e = kv_error_system(errno, "remove", path, why);
    }
    (void)closedir(folder);
    return e;
}

/* Is anything in it but the beginning of a mark? */
static enum err
look_into(const char *dir, bool *out_empty, struct err_text *why)
{
    DIR *folder = opendir(dir);
    *out_empty = true;
    if (folder == NULL)
        return kv_error_system(errno, "read", dir, why);
    struct dirent *file = NULL;
    while ((file = readdir(folder)) != NULL)
        if (strcmp(file->d_name, ".") != 0 && strcmp(file->d_name, "..") != 0 &&
            strcmp(file->d_name, half_mark) != 0)
            *out_empty = false;
    (void)closedir(folder);
    return ERR_OK;
}

/* The folder, empty but for the mark. *out_made: it was not there before. */
static enum err
prepare(const char *dir, bool *out_made, struct err_text *why)
{
    bool empty = true;
    *out_made = access(dir, F_OK) != 0;
    enum err e = folder_check_owner(dir, why);
    if (e == ERR_OK)
        e = folder_make(dir, 0700, why);
    if (e == ERR_OK)
        e = look_into(dir, &empty, why);
    if (e != ERR_OK)
        return e;
    if (!empty && (!file_there(dir, mark) || file_there(dir, backup_files[0])))
        return err_set(ERR_BUSY, why, "%.300s is not empty: give a folder that is new or empty",
                       dir);
    if (empty)
        return file_write(dir, mark, "", 0, 0600, why);
    return clear_folder(dir, 1, why); /* of a restore that was cut short */
}

static void
undo(const char *dir, bool made)
{
    (void)clear_folder(dir, 1, NULL);
    (void)file_remove(dir, mark, NULL);
    if (made)
        (void)rmdir(dir);
}

static enum err
restore_into(struct restoring *r, int fd, const char *file, const struct clock *clock,
             struct backup *out, struct err_text *why)
{
    char path[PATH_SIZE];
    enum err e = path_join(r->dir, "store", path, why);
    if (e == ERR_OK)
        e = folder_make(path, 0700, why);
    clock->random(clock->owner, r->generation, sizeof r->generation);
    if (e == ERR_OK)
        e = fill_store(r, fd, file, path, out, why);
    if (e == ERR_OK)
        e = finish_store(path, &out->content, clock, why);
    if (e == ERR_OK && r->hub_conf == NULL)
        e = err_set(ERR_DAMAGED, why, "%.300s has no %s", file, backup_files[0]);
    return e;
}

enum err
backup_restore(const char *file, const char *dir, const struct clock *clock, backup_more *more,
               void *owner, struct backup *out, struct err_text *why)
{
    struct restoring r;
    bool made = false;
    memset(&r, 0, sizeof r);
    r.dir = dir;
    enum err e = backup_read(file, out, why); /* all of it, before anything is made */
    if (e != ERR_OK)
        return e;
    backup_done(out);
    int fd = open(file, O_RDONLY | O_CLOEXEC);
    if (fd < 0)
        return kv_error_system(errno, "open", file, why);
    e = prepare(dir, &made, why);
    if (e == ERR_OK) {
        e = restore_into(&r, fd, file, clock, out, why);
        if (e == ERR_OK && more != NULL)
            e = more(owner, dir, why);
        if (e == ERR_OK)
            e = file_write(dir, backup_files[0], r.hub_conf, r.hub_conf_len, 0600, why);
        if (e != ERR_OK)
            undo(dir, made);
        else
            (void)file_remove(dir, mark, NULL); /* a hub is there: it means nothing any more */
    } else if (made) {
        (void)rmdir(dir);
    }
    free(r.hub_conf);
    (void)close(fd);
    return e;
}
