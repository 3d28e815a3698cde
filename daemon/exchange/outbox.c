/* outbox.c - the spool's rows in one table of the store: taking in, causes, numbers.
 *
 *   'j' id            a job (OutboxJob without contents)
 *   'f' id number     the content of a file of it
 *   'w' instant id    jobs that wait, by their next try
 *   'c' cause         when a cause was last seen
 *   'n' name          a number by name
 */
#include "daemon/exchange/outbox_int.h"

#include <inttypes.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum {
    SEEN_EVERY_MS = 600000, /* a cause that goes on is written down again this often */
    FILES_MOST = 255
};

/* ---------------------------------------------------------------- keys and numbers */

static void
put_u64(uint8_t out[8], uint64_t number)
{
    for (int i = 0; i < 8; i++)
        out[i] = (uint8_t)(number >> (56 - 8 * i));
}

uint64_t
outbox_u64(const uint8_t *from)
{
    uint64_t number = 0;
    for (int i = 0; i < 8; i++)
        number = number << 8 | from[i];
    return number;
}

struct outbox_key
outbox_key(char class, uint64_t number)
{
    struct outbox_key key = {.bytes = {(uint8_t) class}, .len = 9};
    put_u64(key.bytes + 1, number);
    return key;
}

struct outbox_key
outbox_key_file(uint64_t id, size_t number)
{
    struct outbox_key key = outbox_key('f', id);
    key.bytes[key.len++] = (uint8_t)number;
    return key;
}

/* Instants before 1970 do not come here. */
struct outbox_key
outbox_key_waiting(int64_t next_ms, uint64_t id)
{
    struct outbox_key key = outbox_key('w', (uint64_t)next_ms);
    put_u64(key.bytes + key.len, id);
    key.len += 8;
    return key;
}

static struct outbox_key
key_text(char class, const char *text)
{
    struct outbox_key key = {.bytes = {(uint8_t) class}};
    size_t len = strnlen(text, OUTBOX_CAUSE);
    memcpy(key.bytes + 1, text, len);
    key.len = len + 1;
    return key;
}

/* ---------------------------------------------------------------- open, begin, commit */

enum err
outbox_open(struct kv *kv, struct outbox **out_outbox, struct err_text *why)
{
    struct outbox *outbox = calloc(1, sizeof *outbox);
    if (outbox == NULL)
        return err_set(ERR_MEM, why, "out of memory");
    outbox->kv = kv;
    enum err e = kv_table(kv, "outbox", &outbox->table, why);
    if (e == ERR_OK)
        *out_outbox = outbox;
    else
        free(outbox);
    return e;
}

void
outbox_close(struct outbox *outbox)
{
    if (outbox != NULL)
        outbox_abort(outbox);
    free(outbox);
}

enum err
outbox_begin(struct outbox *outbox, struct err_text *why)
{
    return kv_write(outbox->kv, &outbox->txn, why);
}

enum err
outbox_commit(struct outbox *outbox, struct err_text *why)
{
    return kv_commit(&outbox->txn, why);
}

void
outbox_abort(struct outbox *outbox)
{
    kv_abort(&outbox->txn);
}

/* ---------------------------------------------------------------- rows */

enum err
outbox_row_put(struct outbox *outbox, const struct outbox_key *key, const void *value, size_t len,
               struct err_text *why)
{
    return kv_put(outbox->txn, outbox->table, key->bytes, key->len, value, len, false, why);
}

enum err
outbox_row_drop(struct outbox *outbox, const struct outbox_key *key, struct err_text *why)
{
    return kv_del(outbox->txn, outbox->table, key->bytes, key->len, why);
}

enum err
outbox_row_unpack(const MDB_val *value, Knockbox__OutboxJob **out_job, struct err_text *why)
{
    *out_job = knockbox__outbox_job__unpack(NULL, value->mv_size, value->mv_data);
    return *out_job != NULL ? ERR_OK
                            : err_set(ERR_DAMAGED, why,
                                      "a row of the outbox is not what was "
                                      "written");
}

enum err
outbox_row_read(struct outbox *outbox, struct kv_txn *txn, uint64_t id,
                Knockbox__OutboxJob **out_job, struct err_text *why)
{
    struct outbox_key key = outbox_key('j', id);
    MDB_val value;
    enum err e = kv_get(txn, outbox->table, key.bytes, key.len, &value, why);
    if (e == ERR_NOT_FOUND)
        return err_set(e, why, "the outbox has no number %" PRIu64, id);
    return e == ERR_OK ? outbox_row_unpack(&value, out_job, why) : e;
}

enum err
outbox_row_write(struct outbox *outbox, const Knockbox__OutboxJob *job, struct err_text *why)
{
    struct outbox_key key = outbox_key('j', job->id);
    size_t len = knockbox__outbox_job__get_packed_size(job);
    uint8_t *bytes = malloc(len + 1);
    if (bytes == NULL)
        return err_set(ERR_MEM, why, "out of memory");
    (void)knockbox__outbox_job__pack(job, bytes);
    enum err e = outbox_row_put(outbox, &key, bytes, len, why);
    free(bytes);
    return e;
}

void
outbox_job_free(Knockbox__OutboxJob *job)
{
    if (job != NULL)
        knockbox__outbox_job__free_unpacked(job, NULL);
}

/* ---------------------------------------------------------------- taking in */

static enum err
next_id(struct outbox *outbox, uint64_t *out_id, struct err_text *why)
{
    int64_t last = 0;
    enum err e = outbox_marked(outbox, "id", &last, why);
    if (e != ERR_OK && e != ERR_NOT_FOUND)
        return e;
    *out_id = (uint64_t)last + 1;
    return outbox_mark(outbox, "id", last + 1, why);
}

/* The file's bytes into a row of their own; what stays in the job's row has their digest. */
static enum err
add_file(struct outbox *outbox, uint64_t id, size_t number, const Knockbox__OutboxFile *file,
         Knockbox__OutboxFile *kept, uint8_t digest[32], struct err_text *why)
{
    struct outbox_key key = outbox_key_file(id, number);
    knockbox__outbox_file__init(kept);
    kept->name = file->name;
    kept->media = file->media;
    kept->has_tables = file->has_tables;
    kept->tables = file->tables;
    kept->has_size = true;
    kept->size = file->content.len;
    (void)crypto_generichash(digest, 32, file->content.data, file->content.len, NULL, 0);
    kept->has_digest = true;
    kept->digest = (ProtobufCBinaryData){32, digest};
    return outbox_row_put(outbox, &key, file->content.data, file->content.len, why);
}

static enum err
add_row(struct outbox *outbox, const Knockbox__OutboxJob *job, uint64_t id, struct err_text *why)
{
    Knockbox__OutboxFile kept[FILES_MOST], *list[FILES_MOST];
    uint8_t digests[FILES_MOST][32];
    Knockbox__OutboxJob row = *job;
    struct outbox_key waiting = outbox_key_waiting(job->created_ms, id);
    enum err e = ERR_OK;
    for (size_t i = 0; i < job->n_files && e == ERR_OK; i++) {
        e = add_file(outbox, id, i, job->files[i], &kept[i], digests[i], why);
        list[i] = &kept[i];
    }
    row.has_id = row.has_state = row.has_next_ms = true;
    row.id = id;
    row.state = KNOCKBOX__OUTBOX_STATE__OUTBOX_WAITING;
    row.next_ms = job->created_ms;
    row.files = list;
    if (e == ERR_OK)
        e = outbox_row_write(outbox, &row, why);
    return e == ERR_OK ? outbox_row_put(outbox, &waiting, "", 0, why) : e;
}

enum err
outbox_add(struct outbox *outbox, const Knockbox__OutboxJob *job, uint64_t *out_id,
           struct err_text *why)
{
    uint64_t id = 0;
    if (job->n_files > FILES_MOST || job->created_ms < 0)
        return err_set(ERR_INPUT, why, "more files than one delivery may have");
    enum err e = next_id(outbox, &id, why);
    if (e == ERR_OK)
        e = add_row(outbox, job, id, why);
    if (e == ERR_OK)
        *out_id = id;
    return e;
}

/* ---------------------------------------------------------------- causes and numbers */

static enum err
number_at(struct kv_txn *txn, MDB_dbi table, const struct outbox_key *key, int64_t *out_number,
          struct err_text *why)
{
    MDB_val value;
    enum err e = kv_get(txn, table, key->bytes, key->len, &value, why);
    if (e == ERR_OK && value.mv_size != 8)
        e = err_set(ERR_DAMAGED, why, "a row of the outbox is not what was written");
    if (e == ERR_OK)
        *out_number = (int64_t)outbox_u64(value.mv_data);
    return e;
}

enum err
outbox_mark(struct outbox *outbox, const char *name, int64_t number, struct err_text *why)
{
    struct outbox_key key = key_text('n', name);
    uint8_t bytes[8];
    put_u64(bytes, (uint64_t)number);
    return outbox_row_put(outbox, &key, bytes, sizeof bytes, why);
}

enum err
outbox_marked(struct outbox *outbox, const char *name, int64_t *out_number, struct err_text *why)
{
    struct outbox_key key = key_text('n', name);
    struct kv_txn *txn = NULL;
    if (outbox->txn != NULL)
        return number_at(outbox->txn, outbox->table, &key, out_number, why);
    enum err e = kv_read(outbox->kv, &txn, why);
    if (e != ERR_OK)
        return e;
    e = number_at(txn, outbox->table, &key, out_number, why);
    kv_abort(&txn);
    return e;
}

static enum err
put_seen(struct outbox *outbox, const struct outbox_key *key, int64_t seen_ms, struct err_text *why)
{
    uint8_t bytes[8];
    put_u64(bytes, (uint64_t)seen_ms);
    return outbox_row_put(outbox, key, bytes, sizeof bytes, why);
}

enum err
outbox_keep(struct outbox *outbox, const char *cause, int64_t seen_ms, struct err_text *why)
{
    struct outbox_key key = key_text('c', cause);
    int64_t before = 0;
    enum err e = number_at(outbox->txn, outbox->table, &key, &before, why);
    if (e == ERR_OK && seen_ms - before >= SEEN_EVERY_MS)
        e = put_seen(outbox, &key, seen_ms, why);
    return e == ERR_NOT_FOUND ? ERR_OK : e;
}

enum err
outbox_cause(struct outbox *outbox, const char *cause, int64_t seen_ms, bool *out_new,
             struct err_text *why)
{
    struct outbox_key key = key_text('c', cause);
    int64_t before = 0;
    enum err e = number_at(outbox->txn, outbox->table, &key, &before, why);
    if (e != ERR_OK && e != ERR_NOT_FOUND)
        return e;
    *out_new = e == ERR_NOT_FOUND;
    if (!*out_new && seen_ms - before < SEEN_EVERY_MS)
        return ERR_OK;
    return put_seen(outbox, &key, seen_ms, why);
}

enum err
outbox_forget(struct outbox *outbox, const char *prefix, int64_t before_ms, struct err_text *why)
{
    struct outbox_key from = key_text('c', prefix), over = {.len = 0};
    do {
        struct kv_walk *walk = NULL;
        MDB_val key, value;
        over.len = 0;
        enum err e = kv_walk_open(outbox->txn, outbox->table, from.bytes, from.len, &walk, why);
        while (e == ERR_OK && over.len == 0 && (e = kv_next(walk, &key, &value, why)) == ERR_OK) {
            if (key.mv_size < from.len || memcmp(key.mv_data, from.bytes, from.len) != 0) {
                e = ERR_NOT_FOUND;
            } else if (value.mv_size == 8 && (int64_t)outbox_u64(value.mv_data) < before_ms) {
                memcpy(over.bytes, key.mv_data, key.mv_size);
                over.len = key.mv_size;
            }
        }
        kv_walk_close(walk);
        if (e == ERR_OK && over.len > 0)
            e = outbox_row_drop(outbox, &over, why);
        if (e != ERR_OK)
            return e == ERR_NOT_FOUND ? ERR_OK : e;
    } while (over.len > 0);
    return ERR_OK;
}
