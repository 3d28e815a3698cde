/* hub_batch.c - batches of records: checked on arrival, stored together, then acknowledged. */
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/base/diag.h"
#include "daemon/sync/hub_int.h"

/* Copies records and their bytes into one block, for they outlive the message. */
static bool
copy_records(const Knockbox__Batch *batch, struct hub_batch *out)
{
    size_t bytes = 0;
    for (size_t i = 0; i < batch->n_records; i++)
        bytes += batch->records[i].len;
    struct stored *block = malloc(batch->n_records * sizeof *block + bytes + 1); /* never none */
    if (block == NULL)
        return false;
    uint8_t *at = (uint8_t *)(block + batch->n_records);
    for (size_t i = 0; i < batch->n_records; i++) {
        memset(&block[i], 0, sizeof block[i]);
        if (batch->records[i].len > 0) /* an empty one has no data; it is refused later */
            memcpy(at, batch->records[i].data, batch->records[i].len);
        block[i].bytes = at;
        block[i].len = batch->records[i].len;
        at += block[i].len;
    }
    out->records = block;
    out->n = batch->n_records;
    out->bytes = bytes;
    return true;
}

/* Every record says what its place says. */
static enum err
check_records(struct hub_machine *m, const char *site, struct hub_batch *batch,
              struct err_text *why)
{
    if (batch->n == 0 || batch->n > WIRE_RECORDS || batch->bytes > WIRE_BYTES)
        return err_set(ERR_INPUT, why, "a batch has 1 to %d records of %d bytes in all",
                       WIRE_RECORDS, WIRE_BYTES);
    for (size_t i = 0; i < batch->n; i++) {
        ProtobufCBinaryData bytes = {batch->records[i].len, (uint8_t *)batch->records[i].bytes};
        enum err e = wire_record(&bytes, site, &batch->log, batch->first + i, &m->arena,
                                 &batch->records[i], why);
        if (e != ERR_OK)
            return e;
    }
    return ERR_OK;
}

static bool
room_for_one(struct hub_machine *m)
{
    if (m->n_waiting < m->waiting_room)
        return true;
    size_t room = m->waiting_room * 2 + 32;
    struct hub_batch *moved = realloc(m->waiting, room * sizeof *moved);
    if (moved == NULL)
        return false;
    m->waiting = moved;
    m->waiting_room = room;
    return true;
}

static bool
first_of_site(const struct hub_machine *m, const struct hub_row *row)
{
    for (size_t i = 0; i < m->n_waiting; i++)
        if (m->waiting[i].row == row)
            return false;
    return true;
}

void
hub_take_batch(struct hub_machine *m, struct hub_conn *conn, const Knockbox__Batch *batch)
{
    struct err_text why = {.s = ""};
    struct hub_batch fresh;
    memset(&fresh, 0, sizeof fresh);
    if (conn->queued >= HUB_QUEUE_PEER || !room_for_one(m) || !copy_records(batch, &fresh)) {
        m->counts.over_limit++; /* no ack: the site sends again */
        return;
    }
    fresh.peer = conn->peer;
    fresh.row = conn->row;
    fresh.log.epoch = batch->epoch;
    memcpy(fresh.log.mark, batch->mark.data, MARK_SIZE);
    memcpy(fresh.prev, batch->prev.data, HASH_SIZE);
    fresh.first = batch->first;
    if (check_records(m, conn->row->site, &fresh, &why) != ERR_OK) {
        free(fresh.records);
        m->counts.malformed++;
        diag_warning("sync: a batch of %s is refused: %s", conn->row->site, why.s);
        hub_refuse(m, conn, ERR_INPUT, why.s);
        return;
    }
    m->sums.sites += first_of_site(m, conn->row);
    m->sums.records += fresh.n;
    m->sums.bytes += fresh.bytes;
    m->waiting[m->n_waiting++] = fresh;
    conn->queued++;
    conn->row->behind = batch->left + fresh.n;
}

struct hub_waiting
hub_machine_waiting(const struct hub_machine *m)
{
    return m->sums;
}

bool
hub_machine_full(const struct hub_machine *m)
{
    return m->sums.records + WIRE_RECORDS > m->options.group || m->sums.bytes >= HUB_GROUP_BYTES;
}

/* ---------------------------------------------------------------- one commit */

static enum err
store_batch(struct hub_machine *m, struct store_txn *txn, struct hub_batch *batch,
            struct err_text *why)
{
    enum err e = store_accept(txn, batch->row->site, batch->log.epoch, batch->log.mark,
                              batch->first, batch->prev, batch->records, batch->n, hub_now(m),
                              &batch->result, &batch->held, why);
    if (e != ERR_INPUT)
        return e;
    batch->failed = true; /* this one alone; the others go on */
    m->counts.malformed++;
    diag_warning("sync: a batch of %s is left out: %s", batch->row->site, why->s);
    return ERR_OK;
}

static enum err
store_all(struct hub_machine *m, struct err_text *why)
{
    struct store_txn *txn = NULL;
    enum err e = store_begin(m->options.store, &txn, why);
    for (size_t i = 0; e == ERR_OK && i < m->n_waiting; i++)
        e = store_batch(m, txn, &m->waiting[i], why);
    if (e == ERR_OK)
        e = store_commit(&txn, why);
    store_abort(&txn);
    return e;
}

static void
count_result(struct hub_machine *m, const struct hub_batch *batch)
{
    uint64_t *const counters[] = {
        [ACCEPT_STORED] = &m->counts.stored, [ACCEPT_REPEAT] = &m->counts.repeated,
        [ACCEPT_GAP] = &m->counts.gaps,      [ACCEPT_FORK] = &m->counts.forks,
        [ACCEPT_BROKEN] = &m->counts.forks,
    };
    (*counters[batch->result])++;
    if (batch->result == ACCEPT_STORED)
        m->counts.records += batch->n;
    if (batch->result == ACCEPT_FORK)
        batch->row->forked = true;
}

/* Does a machine go on in an epoch while another one has opened a later one? */
static void
look_for_second(struct hub_machine *m, const struct hub_batch *batch)
{
    struct hub_conn *conn = hub_conn_find(m, &batch->peer);
    if (batch->result != ACCEPT_STORED)
        return;
    if (batch->log.epoch > batch->row->newest)
        batch->row->newest = batch->log.epoch;
    if (conn != NULL && conn->newest < batch->row->newest && batch->log.epoch < batch->row->newest)
        hub_note_second(m, conn, batch->log.epoch);
}

/* Is there a later batch of the same connection and log whose ack says as much? */
static bool
said_later(const struct hub_machine *m, size_t i)
{
    const struct hub_batch *a = &m->waiting[i];
    for (size_t k = i + 1; k < m->n_waiting; k++) {
        const struct hub_batch *b = &m->waiting[k];
        bool same = memcmp(&a->peer, &b->peer, sizeof a->peer) == 0 &&
                    wire_same_log(&a->log, &b->log) && !b->failed;
        if (same && b->result <= ACCEPT_REPEAT && b->held.seq >= a->held.seq)
            return true;
    }
    return false;
}

static void
send_ack(struct hub_machine *m, struct hub_batch *batch)
{
    Knockbox__Wire message = KNOCKBOX__WIRE__INIT;
    Knockbox__Ack ack = KNOCKBOX__ACK__INIT;
    Knockbox__Mark held;
    const struct hub_conn *conn = hub_conn_find(m, &batch->peer);
    if (conn == NULL)
        return;
    batch->held.epoch = batch->log.epoch;
    memcpy(batch->held.mark, batch->log.mark, MARK_SIZE);
    wire_mark(&batch->held, &held);
    ack.held = &held;
    ack.has_gap = ack.gap = batch->result == ACCEPT_GAP;
    ack.has_fork = ack.fork = batch->result == ACCEPT_FORK || batch->result == ACCEPT_BROKEN;
    uint64_t backed = backed_seq(&m->backed, batch->row->site, &batch->log);
    ack.has_backed_up = backed > 0;
    ack.backed_up = backed < batch->held.seq ? backed : batch->held.seq;
    message.what_case = KNOCKBOX__WIRE__WHAT_ACK;
    message.ack = &ack;
    hub_send(m, conn, &message);
}

static void
forget_waiting(struct hub_machine *m)
{
    for (size_t i = 0; i < m->n_waiting; i++) {
        struct hub_conn *conn = hub_conn_find(m, &m->waiting[i].peer);
        if (conn != NULL && conn->queued > 0)
            conn->queued--;
        free(m->waiting[i].records);
    }
    m->n_waiting = 0;
    memset(&m->sums, 0, sizeof m->sums);
}

enum err
hub_machine_flush(struct hub_machine *m, struct err_text *why)
{
    if (m->n_waiting == 0)
        return ERR_OK;
    enum err e = store_all(m, why);
    for (size_t i = 0; e == ERR_OK && i < m->n_waiting; i++) {
        struct hub_batch *batch = &m->waiting[i];
        if (batch->failed)
            continue;
        count_result(m, batch);
        look_for_second(m, batch);
        uint64_t left = batch->row->behind >= batch->n ? batch->row->behind - batch->n : 0;
        batch->row->behind = left;
        if (batch->result > ACCEPT_REPEAT || !said_later(m, i))
            send_ack(m, batch);
    }
    m->counts.commits += e == ERR_OK;
    forget_waiting(m);
    return e;
}
