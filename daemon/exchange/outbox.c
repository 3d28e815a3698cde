/* outbox.c - the spool's rows in one table of the store.
 *
 *   'j' id            a job (OutboxJob without contents)
 *   'f' id number     the content of a file of it
 *   'w' instant id    jobs that wait, by their next try
 *   'c' cause         when a cause was last seen
 *   'n' name          a number by name
 */
#include "daemon/exchange/outbox.h"

#include <inttypes.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct outbox {
    struct kv *kv;
    MDB_dbi table;
    struct kv_txn *txn; /* a write, or NULL */
};

struct key {
    uint8_t bytes[480];
    size_t len;
};

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

static uint64_t
get_u64(const uint8_t *from)
{
    uint64_t number = 0;
    for (int i = 0; i < 8; i++)
        number = number << 8 | from[i];
    return number;
}

static struct key
key_number(char class, uint64_t number)
{
    struct key key = {.bytes = {(uint8_t) class}, .len = 9};
    put_u64(key.bytes + 1, number);
    return key;
}

static struct key
key_file(uint64_t id, size_t number)
{
    struct key key = key_number('f', id);
    key.bytes[key.len++] = (uint8_t)number;
    return key;
}

/* Instants before 1970 do not come here. */
static struct key
key_waiting(int64_t next_ms, uint64_t id)
{
    struct key key = key_number('w', (uint64_t)next_ms);
    put_u64(key.bytes + key.len, id);
    key.len += 8;
    return key;
}

static struct key
key_text(char class, const char *text)
{
    struct key key = {.bytes = {(uint8_t) class}};
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

static enum err
finish(struct outbox *outbox, enum err e, struct err_text *why)
{
    if (e == ERR_OK)
        return outbox_commit(outbox, why);
    outbox_abort(outbox);
    return e;
}

/* ---------------------------------------------------------------- rows */

static enum err
put(struct outbox *outbox, const struct key *key, const void *value, size_t len,
    struct err_text *why)
{
    return kv_put(outbox->txn, outbox->table, key->bytes, key->len, value, len, false, why);
}

static enum err
drop(struct outbox *outbox, const struct key *key, struct err_text *why)
{
    return kv_del(outbox->txn, outbox->table, key->bytes, key->len, why);
}

static enum err
unpack(const MDB_val *value, Knockbox__OutboxJob **out_job, struct err_text *why)
{
    *out_job = knockbox__outbox_job__unpack(NULL, value->mv_size, value->mv_data);
    return *out_job != NULL ? ERR_OK
                            : err_set(ERR_DAMAGED, why,
                                      "a row of the outbox is not what was "
                                      "written");
}

static enum err
read_job(struct outbox *outbox, struct kv_txn *txn, uint64_t id, Knockbox__OutboxJob **out_job,
         struct err_text *why)
{
    struct key key = key_number('j', id);
    MDB_val value;
    enum err e = kv_get(txn, outbox->table, key.bytes, key.len, &value, why);
    if (e == ERR_NOT_FOUND)
        return err_set(e, why, "the outbox has no number %" PRIu64, id);
    return e == ERR_OK ? unpack(&value, out_job, why) : e;
}

static enum err
write_job(struct outbox *outbox, const Knockbox__OutboxJob *job, struct err_text *why)
{
    struct key key = key_number('j', job->id);
    size_t len = knockbox__outbox_job__get_packed_size(job);
    uint8_t *bytes = malloc(len + 1);
    if (bytes == NULL)
        return err_set(ERR_MEM, why, "out of memory");
    (void)knockbox__outbox_job__pack(job, bytes);
    enum err e = put(outbox, &key, bytes, len, why);
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
    struct key key = key_file(id, number);
    knockbox__outbox_file__init(kept);
    kept->name = file->name;
    kept->media = file->media;
    kept->has_size = true;
    kept->size = file->content.len;
    (void)crypto_generichash(digest, 32, file->content.data, file->content.len, NULL, 0);
    kept->has_digest = true;
    kept->digest = (ProtobufCBinaryData){32, digest};
    return put(outbox, &key, file->content.data, file->content.len, why);
}

static enum err
add_row(struct outbox *outbox, const Knockbox__OutboxJob *job, uint64_t id, struct err_text *why)
{
    Knockbox__OutboxFile kept[FILES_MOST], *list[FILES_MOST];
    uint8_t digests[FILES_MOST][32];
    Knockbox__OutboxJob row = *job;
    struct key waiting = key_waiting(job->created_ms, id);
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
        e = write_job(outbox, &row, why);
    return e == ERR_OK ? put(outbox, &waiting, "", 0, why) : e;
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
number_at(struct kv_txn *txn, MDB_dbi table, const struct key *key, int64_t *out_number,
          struct err_text *why)
{
    MDB_val value;
    enum err e = kv_get(txn, table, key->bytes, key->len, &value, why);
    if (e == ERR_OK && value.mv_size != 8)
        e = err_set(ERR_DAMAGED, why, "a row of the outbox is not what was written");
    if (e == ERR_OK)
        *out_number = (int64_t)get_u64(value.mv_data);
    return e;
}

enum err
outbox_mark(struct outbox *outbox, const char *name, int64_t number, struct err_text *why)
{
    struct key key = key_text('n', name);
    uint8_t bytes[8];
    put_u64(bytes, (uint64_t)number);
    return put(outbox, &key, bytes, sizeof bytes, why);
}

enum err
outbox_marked(struct outbox *outbox, const char *name, int64_t *out_number, struct err_text *why)
{
    struct key key = key_text('n', name);
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

enum err
outbox_cause(struct outbox *outbox, const char *cause, int64_t seen_ms, bool *out_new,
             struct err_text *why)
{
    struct key key = key_text('c', cause);
    uint8_t bytes[8];
    int64_t before = 0;
    enum err e = number_at(outbox->txn, outbox->table, &key, &before, why);
    if (e != ERR_OK && e != ERR_NOT_FOUND)
        return e;
    *out_new = e == ERR_NOT_FOUND;
    if (!*out_new && seen_ms - before < SEEN_EVERY_MS)
        return ERR_OK;
    put_u64(bytes, (uint64_t)seen_ms);
    return put(outbox, &key, bytes, sizeof bytes, why);
}

enum err
outbox_forget(struct outbox *outbox, const char *prefix, int64_t before_ms, struct err_text *why)
{
    struct key from = key_text('c', prefix), over = {.len = 0};
    do {
        struct kv_walk *walk = NULL;
        MDB_val key, value;
        over.len = 0;
        enum err e = kv_walk_open(outbox->txn, outbox->table, from.bytes, from.len, &walk, why);
        while (e == ERR_OK && over.len == 0 && (e = kv_next(walk, &key, &value, why)) == ERR_OK) {
            if (key.mv_size < from.len || memcmp(key.mv_data, from.bytes, from.len) != 0) {
                e = ERR_NOT_FOUND;
            } else if (value.mv_size == 8 && (int64_t)get_u64(value.mv_data) < before_ms) {
                memcpy(over.bytes, key.mv_data, key.mv_size);
                over.len = key.mv_size;
            }
        }
        kv_walk_close(walk);
        if (e == ERR_OK && over.len > 0)
            e = drop(outbox, &over, why);
        if (e != ERR_OK)
            return e == ERR_NOT_FOUND ? ERR_OK : e;
    } while (over.len > 0);
    return ERR_OK;
}

/* ---------------------------------------------------------------- whose turn it is */

/* Contents into the files of a job, which then owns them. */
static enum err
fill_files(struct outbox *outbox, struct kv_txn *txn, Knockbox__OutboxJob *job,
           struct err_text *why)
{
    for (size_t i = 0; i < job->n_files; i++) {
        struct key key = key_file(job->id, i);
        MDB_val value;
        enum err e = kv_get(txn, outbox->table, key.bytes, key.len, &value, why);
        if (e != ERR_OK)
            return err_set(ERR_DAMAGED, why, "a file of number %" PRIu64 " is gone", job->id);
        uint8_t *copy = malloc(value.mv_size + 1);
        if (copy == NULL)
            return err_set(ERR_MEM, why, "out of memory");
        memcpy(copy, value.mv_data, value.mv_size);
        job->files[i]->has_content = true;
        job->files[i]->content = (ProtobufCBinaryData){value.mv_size, copy};
    }
    return ERR_OK;
}

/* The first row of those that wait which is due and not busy. */
static enum err
find_due(struct outbox *outbox, struct kv_txn *txn, int64_t now_ms, outbox_busy *busy, void *owner,
         Knockbox__OutboxJob **out_job, struct err_text *why)
{
    struct kv_walk *walk = NULL;
    MDB_val key, value;
    bool found = false;
    enum err e = kv_walk_open(txn, outbox->table, "w", 1, &walk, why);
    while (e == ERR_OK && !found && (e = kv_next(walk, &key, &value, why)) == ERR_OK) {
        const uint8_t *bytes = key.mv_data;
        Knockbox__OutboxJob *job = NULL;
        if (key.mv_size != 17 || bytes[0] != 'w' || (int64_t)get_u64(bytes + 1) > now_ms) {
            e = ERR_NOT_FOUND;
            break;
        }
        e = read_job(outbox, txn, get_u64(bytes + 9), &job, why);
        found = e == ERR_OK && !busy(owner, job);
        if (found)
            *out_job = job;
        else
            outbox_job_free(job);
    }
    kv_walk_close(walk);
    return e;
}

enum err
outbox_due(struct outbox *outbox, int64_t now_ms, outbox_busy *busy, void *owner,
           Knockbox__OutboxJob **out_job, struct err_text *why)
{
    struct kv_txn *txn = NULL;
    Knockbox__OutboxJob *job = NULL;
    enum err e = kv_read(outbox->kv, &txn, why);
    if (e == ERR_OK)
        e = find_due(outbox, txn, now_ms, busy, owner, &job, why);
    if (e == ERR_OK)
        e = fill_files(outbox, txn, job, why);
    kv_abort(&txn);
    if (e == ERR_OK)
        *out_job = job;
    else
        outbox_job_free(job);
    return e;
}

/* ---------------------------------------------------------------- steps of a job */

typedef enum err change_fn(void *owner, Knockbox__OutboxJob *job, struct err_text *why);

static void
set_said(Knockbox__OutboxJob *job, const char *said)
{
    free(job->said);
    job->said = said != NULL ? strdup(said) : NULL;
}

static enum err
drop_files(struct outbox *outbox, const Knockbox__OutboxJob *job, struct err_text *why)
{
    enum err e = ERR_OK;
    for (size_t i = 0; i < job->n_files && e == ERR_OK; i++) {
        struct key key = key_file(job->id, i);
        e = drop(outbox, &key, why);
    }
    return e;
}

static bool
needs_files(Knockbox__OutboxState state)
{
    return state == KNOCKBOX__OUTBOX_STATE__OUTBOX_WAITING ||
           state == KNOCKBOX__OUTBOX_STATE__OUTBOX_GIVEN_UP;
}

/* Reads the job, changes it, keeps the list of those that wait in step, drops files that nobody
 * needs any more. */
static enum err
change_row(struct outbox *outbox, uint64_t id, change_fn *change, void *owner, struct err_text *why)
{
    Knockbox__OutboxJob *job = NULL;
    enum err e = read_job(outbox, outbox->txn, id, &job, why);
    if (e != ERR_OK)
        return e;
    struct key old = key_waiting(job->next_ms, id);
    e = change(owner, job, why);
    struct key new = key_waiting(job->next_ms, id);
    if (e == ERR_OK)
        e = drop(outbox, &old, why);
    if (e == ERR_OK && job->state == KNOCKBOX__OUTBOX_STATE__OUTBOX_WAITING)
        e = put(outbox, &new, "", 0, why);
    if (e == ERR_OK && !needs_files(job->state))
        e = drop_files(outbox, job, why);
    if (e == ERR_OK)
        e = write_job(outbox, job, why);
    outbox_job_free(job);
    return e;
}

static enum err
change(struct outbox *outbox, uint64_t id, change_fn *fn, void *owner, struct err_text *why)
{
    enum err e = outbox_begin(outbox, why);
    return e == ERR_OK ? finish(outbox, change_row(outbox, id, fn, owner, why), why) : e;
}

int64_t
outbox_wait_ms(uint32_t attempts, int64_t first_ms)
{
    static const int steps[] = {1, 2, 5, 15, 30, 60, 120, 240, 360};
    size_t n = sizeof steps / sizeof steps[0];
    size_t i = attempts == 0 ? 0 : attempts - 1;
    return first_ms * steps[i < n ? i : n - 1];
}

struct step {
    int64_t now_ms, wait_ms;
    uint32_t files_done;
    const char *said;
    bool never;
};

static enum err
begin_try(void *owner, Knockbox__OutboxJob *job, struct err_text *why)
{
    const struct step *step = owner;
    if (job->state != KNOCKBOX__OUTBOX_STATE__OUTBOX_WAITING)
        return err_set(ERR_INPUT, why, "number %" PRIu64 " does not wait", job->id);
    job->has_attempts = true;
    job->attempts++;
    job->next_ms = step->now_ms + outbox_wait_ms(job->attempts, step->wait_ms);
    return ERR_OK;
}

enum err
outbox_begun(struct outbox *outbox, uint64_t id, int64_t now_ms, int64_t retry_ms,
             struct err_text *why)
{
    struct step step = {.now_ms = now_ms, .wait_ms = retry_ms};
    return change(outbox, id, begin_try, &step, why);
}

static enum err
note_file(void *owner, Knockbox__OutboxJob *job, struct err_text *why)
{
    const struct step *step = owner;
    (void)why;
    job->has_files_done = true;
    job->files_done = step->files_done;
    return ERR_OK;
}

enum err
outbox_file_arrived(struct outbox *outbox, uint64_t id, uint32_t files_done, struct err_text *why)
{
    struct step step = {.files_done = files_done};
    return change(outbox, id, note_file, &step, why);
}

static void
end_job(Knockbox__OutboxJob *job, Knockbox__OutboxState state, int64_t now_ms)
{
    job->state = state;
    job->has_done_ms = true;
    job->done_ms = now_ms;
}

/* Also when a person cancelled it meanwhile: it did arrive. */
static enum err
note_sent(void *owner, Knockbox__OutboxJob *job, struct err_text *why)
{
    const struct step *step = owner;
    (void)why;
    end_job(job, KNOCKBOX__OUTBOX_STATE__OUTBOX_SENT, step->now_ms);
    set_said(job, NULL);
    return ERR_OK;
}

enum err
outbox_sent(struct outbox *outbox, uint64_t id, int64_t now_ms, struct err_text *why)
{
    struct step step = {.now_ms = now_ms};
    return change(outbox, id, note_sent, &step, why);
}

static enum err
note_failed(void *owner, Knockbox__OutboxJob *job, struct err_text *why)
{
    const struct step *step = owner;
    (void)why;
    if (job->state != KNOCKBOX__OUTBOX_STATE__OUTBOX_WAITING)
        return ERR_OK; /* cancelled meanwhile */
    set_said(job, step->said);
    if (step->never || step->now_ms >= job->give_up_ms)
        end_job(job, KNOCKBOX__OUTBOX_STATE__OUTBOX_GIVEN_UP, step->now_ms);
    return ERR_OK;
}

enum err
outbox_failed(struct outbox *outbox, uint64_t id, int64_t now_ms, const char *said, bool never,
              struct err_text *why)
{
    struct step step = {.now_ms = now_ms, .said = said, .never = never};
    return change(outbox, id, note_failed, &step, why);
}

static enum err
refuse(const Knockbox__OutboxJob *job, struct err_text *why)
{
    return err_set(ERR_INPUT, why, "number %" PRIu64 " is %s already", job->id,
                   outbox_state_word(job->state));
}

static enum err
note_cancelled(void *owner, Knockbox__OutboxJob *job, struct err_text *why)
{
    const struct step *step = owner;
    if (!needs_files(job->state))
        return refuse(job, why);
    end_job(job, KNOCKBOX__OUTBOX_STATE__OUTBOX_CANCELLED, step->now_ms);
    return ERR_OK;
}

enum err
outbox_cancel(struct outbox *outbox, uint64_t id, int64_t now_ms, struct err_text *why)
{
    struct step step = {.now_ms = now_ms};
    return change(outbox, id, note_cancelled, &step, why);
}

static enum err
note_again(void *owner, Knockbox__OutboxJob *job, struct err_text *why)
{
    const struct step *step = owner;
    if (!needs_files(job->state))
        return refuse(job, why);
    job->state = KNOCKBOX__OUTBOX_STATE__OUTBOX_WAITING;
    job->has_done_ms = false;
    job->attempts = 0;
    job->next_ms = step->now_ms;
    job->give_up_ms = step->now_ms + step->wait_ms;
    return ERR_OK;
}

enum err
outbox_again(struct outbox *outbox, uint64_t id, int64_t now_ms, int64_t patience_ms,
             struct err_text *why)
{
    struct step step = {.now_ms = now_ms, .wait_ms = patience_ms};
    return change(outbox, id, note_again, &step, why);
}

/* ---------------------------------------------------------------- looking */

static enum err
walk_jobs(struct outbox *outbox, struct kv_txn *txn, outbox_visit *visit, void *owner,
          struct err_text *why)
{
    struct kv_walk *walk = NULL;
    MDB_val key, value;
    bool more = true;
    enum err e = kv_walk_open(txn, outbox->table, "j", 1, &walk, why);
    while (e == ERR_OK && more && (e = kv_next(walk, &key, &value, why)) == ERR_OK) {
        Knockbox__OutboxJob *job = NULL;
        if (key.mv_size != 9 || *(const uint8_t *)key.mv_data != 'j')
            break;
        e = unpack(&value, &job, why);
        more = e == ERR_OK && visit(owner, job);
        outbox_job_free(job);
    }
    kv_walk_close(walk);
    return e == ERR_NOT_FOUND ? ERR_OK : e;
}

enum err
outbox_walk(struct outbox *outbox, outbox_visit *visit, void *owner, struct err_text *why)
{
    struct kv_txn *txn = NULL;
    enum err e = kv_read(outbox->kv, &txn, why);
    if (e == ERR_OK)
        e = walk_jobs(outbox, txn, visit, owner, why);
    kv_abort(&txn);
    return e;
}

enum err
outbox_get(struct outbox *outbox, uint64_t id, Knockbox__OutboxJob **out_job, struct err_text *why)
{
    struct kv_txn *txn = NULL;
    enum err e = kv_read(outbox->kv, &txn, why);
    if (e == ERR_OK)
        e = read_job(outbox, txn, id, out_job, why);
    kv_abort(&txn);
    return e;
}

struct old {
    int64_t before_ms;
    uint64_t ids[256];
    size_t n;
};

static bool
find_old(void *owner, const Knockbox__OutboxJob *job)
{
    struct old *old = owner;
    bool ended = job->state != KNOCKBOX__OUTBOX_STATE__OUTBOX_WAITING;
    if (ended && job->done_ms < old->before_ms)
        old->ids[old->n++] = job->id;
    return old->n < sizeof old->ids / sizeof old->ids[0];
}

static enum err
drop_job(struct outbox *outbox, uint64_t id, struct err_text *why)
{
    struct key key = key_number('j', id);
    Knockbox__OutboxJob *job = NULL;
    enum err e = read_job(outbox, outbox->txn, id, &job, why);
    if (e == ERR_OK)
        e = drop_files(outbox, job, why);
    outbox_job_free(job);
    return e == ERR_OK ? drop(outbox, &key, why) : e;
}

enum err
outbox_prune(struct outbox *outbox, int64_t before_ms, struct err_text *why)
{
    struct old old = {.before_ms = before_ms};
    enum err e = outbox_walk(outbox, find_old, &old, why);
    if (e != ERR_OK || old.n == 0)
        return e;
    e = outbox_begin(outbox, why);
    if (e != ERR_OK)
        return e;
    for (size_t i = 0; i < old.n && e == ERR_OK; i++)
        e = drop_job(outbox, old.ids[i], why);
    return finish(outbox, e, why);
}

const char *
outbox_state_word(Knockbox__OutboxState state)
{
    switch (state) {
    case KNOCKBOX__OUTBOX_STATE__OUTBOX_WAITING:
        return "waiting";
    case KNOCKBOX__OUTBOX_STATE__OUTBOX_SENT:
        return "sent";
    case KNOCKBOX__OUTBOX_STATE__OUTBOX_GIVEN_UP:
        return "given-up";
    case KNOCKBOX__OUTBOX_STATE__OUTBOX_CANCELLED:
        return "cancelled";
    default:
        return "unknown";
    }
}
