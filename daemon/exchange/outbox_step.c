/* outbox_step.c - the way of a job: whose turn it is, tries, ends; looking at all, dropping old. */
#include "daemon/exchange/outbox_int.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

static enum err
finish(struct outbox *outbox, enum err e, struct err_text *why)
{
    if (e == ERR_OK)
        return outbox_commit(outbox, why);
    outbox_abort(outbox);
    return e;
}

/* ---------------------------------------------------------------- whose turn it is */

/* Contents into the files of a job, which then owns them. */
static enum err
fill_files(struct outbox *outbox, struct kv_txn *txn, Knockbox__OutboxJob *job,
           struct err_text *why)
{
    for (size_t i = 0; i < job->n_files; i++) {
        struct outbox_key key = outbox_key_file(job->id, i);
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
        if (key.mv_size != 17 || bytes[0] != 'w' || (int64_t)outbox_u64(bytes + 1) > now_ms) {
            e = ERR_NOT_FOUND;
            break;
        }
        e = outbox_row_read(outbox, txn, outbox_u64(bytes + 9), &job, why);
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
        struct outbox_key key = outbox_key_file(job->id, i);
        e = outbox_row_drop(outbox, &key, why);
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
    enum err e = outbox_row_read(outbox, outbox->txn, id, &job, why);
    if (e != ERR_OK)
        return e;
    struct outbox_key old = outbox_key_waiting(job->next_ms, id);
    e = change(owner, job, why);
    struct outbox_key new = outbox_key_waiting(job->next_ms, id);
    if (e == ERR_OK)
        e = outbox_row_drop(outbox, &old, why);
    if (e == ERR_OK && job->state == KNOCKBOX__OUTBOX_STATE__OUTBOX_WAITING)
        e = outbox_row_put(outbox, &new, "", 0, why);
    if (e == ERR_OK && !needs_files(job->state))
        e = drop_files(outbox, job, why);
    if (e == ERR_OK)
        e = outbox_row_write(outbox, job, why);
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
        e = outbox_row_unpack(&value, &job, why);
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
        e = outbox_row_read(outbox, txn, id, out_job, why);
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
    struct outbox_key key = outbox_key('j', id);
    Knockbox__OutboxJob *job = NULL;
    enum err e = outbox_row_read(outbox, outbox->txn, id, &job, why);
    if (e == ERR_OK)
        e = drop_files(outbox, job, why);
    outbox_job_free(job);
    return e == ERR_OK ? outbox_row_drop(outbox, &key, why) : e;
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
