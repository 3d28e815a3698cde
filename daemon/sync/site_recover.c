/* site_recover.c - the hub's marks against ours: what it has is acknowledged, what we lack is taken
 * back, and where the same numbers hold other bytes this side's records go into a new epoch.
 */
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/base/diag.h"
#include "daemon/sync/site_int.h"

/* ---------------------------------------------------------------- Welcome */

static const char hub_note[] = "sync.hub";

/* Which hub this was, and when it last was another one than before: for people, over restarts. */
struct hub_place {
    int64_t other_ms; /* 0: never */
    uint8_t generation[MARK_SIZE];
};

enum err
site_load_hub(struct site_machine *m, struct store_view *view, struct err_text *why)
{
    struct hub_place place;
    size_t len = 0;
    enum err e = store_noted(view, hub_note, &place, sizeof place, &len, why);
    if (e != ERR_OK || len != sizeof place)
        return e == ERR_NOT_FOUND ? ERR_OK : e;
    memcpy(m->generation, place.generation, MARK_SIZE);
    m->has_generation = true;
    m->other_hub_ms = place.other_ms;
    return ERR_OK;
}

static enum err
write_hub_note(struct site_machine *m, struct err_text *why)
{
    struct store_txn *txn = NULL;
    struct hub_place place = {.other_ms = m->other_hub_ms};
    memcpy(place.generation, m->generation, MARK_SIZE);
    enum err e = store_begin(m->options.store, &txn, why);
    if (e == ERR_OK)
        e = store_note(txn, hub_note, &place, sizeof place, why);
    if (e == ERR_OK)
        e = store_commit(&txn, why);
    store_abort(&txn);
    return e == ERR_FULL ? ERR_OK : e; /* a full disk is told elsewhere */
}

/* Has the hub less than it has acknowledged? A hub that only restarts never has. */
static bool
hub_lacks(const struct site_machine *m, struct store_view *view, const Knockbox__Welcome *welcome)
{
    for (size_t i = 0; i < m->n_logs; i++) {
        const struct site_log *log = &m->logs[i];
        struct log_mark hub = {.seq = 0}, found = {.seq = 0};
        uint64_t noted = site_noted_acked(view, &log->now);
        for (size_t k = 0; k < welcome->n_marks; k++) {
            wire_place(welcome->marks[k], &hub);
            if (wire_same_log(&hub, &log->now))
                found = hub;
        }
        if (found.seq < (noted > log->acked ? noted : log->acked))
            return true;
    }
    return false;
}

/* Two copies of one store have one generation, but the one lacks what the other acknowledged or
 * wrote itself (`lacks`). */
static enum err
take_generation(struct site_machine *m, const Knockbox__Welcome *welcome, bool lacks,
                struct err_text *why)
{
    bool fresh =
        !m->has_generation || memcmp(m->generation, welcome->generation.data, MARK_SIZE) != 0;
    bool other = lacks || (fresh && m->has_generation);
    memcpy(m->generation, welcome->generation.data, MARK_SIZE);
    m->has_generation = true;
    if (other) {
        diag_warning("sync: the hub's store is another one than before, or an older copy "
                     "(restored, or a second hub with its key); it gets again what it lacks, and "
                     "nothing is deleted here");
        m->other_hub_ms = site_now(m);
    }
    return fresh || other ? write_hub_note(m, why) : ERR_OK;
}

static void
add_task(struct site_machine *m, const struct log_mark *hub, uint64_t next)
{
    struct site_task *task = &m->tasks[m->n_tasks++];
    task->hub = *hub;
    task->next = next;
    task->restarted = false;
}

/* One epoch as the hub has it. */
static enum err
take_mark(struct site_machine *m, struct store_view *view, const struct log_mark *hub,
          struct err_text *why)
{
    uint8_t hash[HASH_SIZE];
    struct site_log *log = site_log_find(m, hub);
    if (log == NULL) {
        if (hub->seq > 0)
            add_task(m, hub, 1); /* ours, but not here: an old image, or a machine before us */
        return ERR_OK;
    }
    bool branched = log->standing < log->now.seq;
    uint64_t common = hub->seq < log->standing ? hub->seq : log->standing;
    if (hub->seq > log->standing && !branched) {
        add_task(m, hub, log->now.seq + 1);
        return ERR_OK;
    }
    enum err e = wire_hash_at(view, site_own(m), hub, common, hash, why);
    if (e != ERR_OK)
        return e;
    if (hub->seq <= log->standing && memcmp(hash, hub->hash, HASH_SIZE) != 0) {
        uint64_t agreed = site_noted_acked(view, hub);
        add_task(m, hub, (agreed < common ? agreed : common - 1) + 1);
        return ERR_OK;
    }
    site_set_acked(log, common, hash);
    return ERR_OK;
}

static enum err
take_marks(struct site_machine *m, const Knockbox__Welcome *welcome, bool *out_lacks,
           struct err_text *why)
{
    static const uint8_t none[HASH_SIZE];
    struct store_view *view = NULL;
    struct log_mark hub;
    if (welcome->n_marks > WIRE_MARKS)
        return err_set(ERR_PEER, why, "the hub has more than %d epochs of this site", WIRE_MARKS);
    enum err e = store_look(m->options.store, &view, why);
    *out_lacks = e == ERR_OK && hub_lacks(m, view, welcome);
    for (size_t i = 0; i < m->n_logs; i++) {
        site_set_acked(&m->logs[i], 0, none);
        m->logs[i].backed = 0; /* this hub declares its own backups, or none */
    }
    m->n_tasks = m->task = 0;
    for (size_t i = 0; e == ERR_OK && i < welcome->n_marks; i++) {
        wire_place(welcome->marks[i], &hub);
        e = take_mark(m, view, &hub, why);
    }
    store_done(&view);
    return e;
}

static void
send_fetch(struct site_machine *m)
{
    Knockbox__Wire message = KNOCKBOX__WIRE__INIT;
    Knockbox__Fetch fetch = KNOCKBOX__FETCH__INIT;
    struct site_task *task = &m->tasks[m->task];
    fetch.has_epoch = fetch.has_mark = fetch.has_first = true;
    fetch.epoch = task->hub.epoch;
    fetch.mark = (ProtobufCBinaryData){MARK_SIZE, task->hub.mark};
    fetch.first = task->next;
    message.what_case = KNOCKBOX__WIRE__WHAT_FETCH;
    message.fetch = &fetch;
    m->asked_ms = site_mono(m);
    (void)site_send(m, &message); /* lost: the late answer makes a new Hello */
}

enum err
site_take_welcome(struct site_machine *m, const Knockbox__Welcome *welcome, struct err_text *why)
{
    enum err e = wire_check_version(welcome->version, "the hub", why);
    if (e != ERR_OK)
        return e;
    bool lacks = false, lost_place = m->has_down && welcome->down == NULL;
    m->has_down = m->has_down && welcome->down != NULL;
    e = take_marks(m, welcome, &lacks, why);
    if (e == ERR_OK)
        e = take_generation(m, welcome, lacks || lost_place, why);
    if (e != ERR_OK)
        return e;
    if (m->n_tasks > 0) {
        m->state = SITE_RECOVER;
        send_fetch(m);
        return ERR_OK;
    }
    m->state = SITE_RUN;
    m->note_due = true;
    site_tell_down_forks(m);
    return site_pump(m, why);
}

/* ---------------------------------------------------------------- records of ours, from the hub */

/* The log of the task as it is here now; seq 0 when it is not. */
static struct log_mark
local_log(struct site_machine *m, const struct site_task *task, uint64_t *out_standing)
{
    struct log_mark none = task->hub;
    const struct site_log *log = site_log_find(m, &task->hub);
    none.seq = 0;
    none.own = false;
    *out_standing = log != NULL ? log->standing : 0;
    return log != NULL ? log->now : none;
}

enum found {
    FOUND_SAME,
    FOUND_OTHER
};

/* Are the records that both sides have the same? *out_seq: the first that is not. */
static enum err
compare_records(struct site_machine *m, struct store_view *view, const Knockbox__Batch *batch,
                const struct log_mark *local, enum found *out_found, uint64_t *out_seq,
                struct err_text *why)
{
    *out_found = FOUND_SAME;
    for (size_t i = 0; i < batch->n_records && batch->first + i <= local->seq; i++) {
        struct stored mine;
        uint64_t lsn = 0, seq = batch->first + i;
        enum err e = store_find_seq(view, site_own(m), local->epoch, local->mark, seq, &lsn, why);
        if (e == ERR_OK)
            e = store_get(view, lsn, &mine, why);
        if (e != ERR_OK)
            return e;
        const ProtobufCBinaryData *theirs = &batch->records[i];
        if (mine.len == theirs->len && memcmp(mine.bytes, theirs->data, mine.len) == 0)
            continue;
        *out_found = FOUND_OTHER;
        *out_seq = seq;
        return ERR_OK;
    }
    return ERR_OK;
}

/* Stores the records that are not here yet. *out_result as store_accept() says. */
static enum err
accept_rest(struct site_machine *m, const Knockbox__Batch *batch, const struct log_mark *local,
            enum accept_result *out_result, struct err_text *why)
{
    struct stored records[WIRE_RECORDS];
    struct store_txn *txn = NULL;
    struct log_mark log = {.epoch = batch->epoch}, held;
    memcpy(log.mark, batch->mark.data, MARK_SIZE);
    *out_result = ACCEPT_REPEAT;
    if (batch->first + batch->n_records <= local->seq + 1)
        return ERR_OK;
    enum err e = batch->n_records <= WIRE_RECORDS
                     ? ERR_OK
                     : err_set(ERR_PEER, why, "the hub sent a batch that is too large");
    for (size_t i = 0; e == ERR_OK && i < batch->n_records; i++)
        e = wire_record(&batch->records[i], site_own(m), &log, batch->first + i, &m->arena,
                        &records[i], why);
    if (e == ERR_OK)
        e = store_begin(m->options.store, &txn, why);
    if (e == ERR_OK)
        e = store_accept(txn, site_own(m), log.epoch, log.mark, batch->first, batch->prev.data,
                         records, batch->n_records, site_now(m), out_result, &held, why);
    if (e == ERR_OK && *out_result == ACCEPT_STORED)
        e = store_commit(&txn, why);
    store_abort(&txn);
    return e;
}

/* Do we write to this log? Not when we have opened a later one: a twin may go on in it, and each of
 * its records must not cost an epoch. */
static bool
is_written_to(const struct site_machine *m, const struct log_mark *local)
{
    for (size_t i = 0; i < m->n_logs; i++)
        if (m->logs[i].now.own && m->logs[i].now.epoch > local->epoch)
            return false;
    return local->own;
}

/* The highest number among the epochs that the hub has and we have not, or not as far. */
static uint32_t
hub_newest(const struct site_machine *m)
{
    uint32_t most = 0;
    for (size_t i = 0; i < m->n_tasks; i++)
        most = m->tasks[i].hub.epoch > most ? m->tasks[i].hub.epoch : most;
    return most;
}

/* A new epoch, for the one that we wrote to had gone on elsewhere. */
static enum err
start_new_epoch(struct site_machine *m, struct err_text *why)
{
    struct store_txn *txn = NULL;
    enum err e = store_begin(m->options.store, &txn, why);
    if (e == ERR_OK)
        e = store_new_epoch(txn, site_own(m), hub_newest(m), why);
    if (e == ERR_OK)
        e = store_commit(&txn, why);
    store_abort(&txn);
    if (e == ERR_OK)
        diag_warning("sync: this site's store was an old copy; it has its records back from the "
                     "hub and goes on in a new epoch");
    return e;
}

static enum err
branch_from(struct site_machine *m, const struct log_mark *local, uint64_t seq,
            struct err_text *why)
{
    uint32_t into = 0;
    enum err e = branch_write(m->options.store, site_own(m), local, seq, hub_newest(m), &into, why);
    if (e == ERR_NOT_FOUND)
        return ERR_OK; /* settled before */
    if (e != ERR_OK)
        return e;
    diag_warning("sync: epoch %" PRIu32 " of this site went two ways at record %" PRIu64
                 " (cloned card or old image); the records made here go on as epoch %" PRIu32,
                 local->epoch, seq, into);
    return ERR_OK;
}

/* An image from before the first record, or a twin, opened an epoch under a number that the hub has
 * with another mark. What it wrote there goes on under a number of its own, as long as the hub has
 * nothing of it. */
static enum err
branch_same_numbers(struct site_machine *m, struct err_text *why)
{
    enum err e = ERR_OK;
    for (size_t k = 0; k < m->n_tasks; k++)
        for (size_t i = 0; e == ERR_OK && i < m->n_logs; i++) {
            const struct site_log *log = &m->logs[i];
            if (log->now.own && log->now.epoch == m->tasks[k].hub.epoch && log->acked == 0 &&
                log->standing > 0 && !wire_same_log(&log->now, &m->tasks[k].hub))
                e = branch_from(m, &log->now, 1, why);
        }
    return e;
}

/* The task is done: the next one, or Hello with what we are now. */
static enum err
next_task(struct site_machine *m, struct err_text *why)
{
    m->task++;
    if (m->task < m->n_tasks) {
        send_fetch(m);
        return ERR_OK;
    }
    enum err e = branch_same_numbers(m, why);
    if (e == ERR_OK && m->extended)
        e = start_new_epoch(m, why);
    return e == ERR_OK ? site_hello(m, why) : e;
}

static enum err
branch_off(struct site_machine *m, const struct log_mark *local, uint64_t seq, struct err_text *why)
{
    enum err e = branch_from(m, local, seq, why);
    return e == ERR_OK ? next_task(m, why) : e;
}

/* What the hub sent begins where our chain does not: compare from the start. */
static enum err
start_over(struct site_machine *m, struct site_task *task, struct err_text *why)
{
    if (task->restarted || task->next == 1)
        return err_set(ERR_PEER, why, "the hub gives back records that do not fit each other");
    task->restarted = true;
    task->next = 1;
    send_fetch(m);
    return ERR_OK;
}

static enum err
look_at_batch(struct site_machine *m, const Knockbox__Batch *batch, struct log_mark *out_local,
              bool *out_prev_fits, enum found *out_found, uint64_t *out_seq, struct err_text *why)
{
    struct store_view *view = NULL;
    uint64_t standing = 0;
    uint8_t hash[HASH_SIZE];
    enum err e = store_look(m->options.store, &view, why);
    if (e == ERR_OK)
        e = site_load_logs(m, view, why); /* staff may have written meanwhile */
    *out_local = local_log(m, &m->tasks[m->task], &standing);
    *out_prev_fits = false;
    if (e == ERR_OK && batch->first <= out_local->seq + 1) {
        e = wire_hash_at(view, site_own(m), out_local, batch->first - 1, hash, why);
        *out_prev_fits = e == ERR_OK && memcmp(hash, batch->prev.data, HASH_SIZE) == 0;
    }
    if (e == ERR_OK && *out_prev_fits)
        e = compare_records(m, view, batch, out_local, out_found, out_seq, why);
    store_done(&view);
    return e;
}

enum err
site_take_fetched(struct site_machine *m, const Knockbox__Fetched *fetched, struct err_text *why)
{
    const Knockbox__Batch *batch = fetched->batch;
    struct site_task *task = &m->tasks[m->task];
    struct log_mark local, asked = {.epoch = batch->epoch};
    enum accept_result result = ACCEPT_REPEAT;
    enum found found = FOUND_SAME;
    bool fits = false;
    uint64_t seq = 0;
    memcpy(asked.mark, batch->mark.data, MARK_SIZE);
    if (!wire_same_log(&asked, &task->hub) || batch->first != task->next)
        return ERR_OK; /* the answer to an older question */
    enum err e = look_at_batch(m, batch, &local, &fits, &found, &seq, why);
    if (e != ERR_OK)
        return e;
    if (!fits)
        return start_over(m, task, why);
    if (found == FOUND_OTHER)
        return branch_off(m, &local, seq, why);
    e = accept_rest(m, batch, &local, &result, why);
    if (e != ERR_OK)
        return e;
    if (result != ACCEPT_STORED && result != ACCEPT_REPEAT)
        return err_set(ERR_PEER, why, "the hub gives back records that do not fit each other");
    m->extended = m->extended || (result == ACCEPT_STORED && is_written_to(m, &local));
    task->next = batch->first + batch->n_records;
    if ((fetched->has_end && fetched->end) || batch->n_records == 0)
        return next_task(m, why);
    send_fetch(m);
    return ERR_OK;
}
