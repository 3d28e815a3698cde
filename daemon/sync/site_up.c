/* site_up.c - own records up: a window of batches, acknowledged by number and hash. */
#include <stdlib.h>
#include <string.h>

#include "daemon/base/diag.h"
#include "daemon/sync/site_int.h"

enum {
    REWIND_AGAIN_MS = 1000
};

static const char acked_note[] = "sync.acked"; /* struct acked after struct acked */

struct acked {
    uint64_t seq;
    uint32_t epoch;
    uint8_t mark[MARK_SIZE];
};

/* ---------------------------------------------------------------- what there is */

static void
merge_log(struct site_machine *m, const struct log_mark *now, size_t at, struct site_log *fresh)
{
    const struct site_log *old = site_log_find(m, now);
    if (old != NULL)
        fresh[at] = *old;
    else
        memset(&fresh[at], 0, sizeof fresh[at]);
    fresh[at].now = *now;
    fresh[at].standing = branch_standing(m->branches, m->n_branches, now);
    if (fresh[at].sent > fresh[at].standing) /* a branch took them: they go in its epoch */
        fresh[at].sent = fresh[at].acked = 0;
}

/* The own epochs into m->logs; `marks` and `fresh` have room for n. */
static enum err
read_logs(struct site_machine *m, struct store_view *view, struct log_mark *marks,
          struct site_log *fresh, size_t n, struct err_text *why)
{
    enum err e = branch_list(view, m->branches, &m->n_branches, why);
    if (e == ERR_OK)
        e = store_marks(view, site_own(m), marks, n, &n, why);
    if (e != ERR_OK)
        return e;
    for (size_t i = 0; i < n; i++)
        merge_log(m, &marks[i], i, fresh);
    return ERR_OK;
}

enum err
site_load_logs(struct site_machine *m, struct store_view *view, struct err_text *why)
{
    size_t n = 0;
    enum err e = store_marks(view, site_own(m), NULL, 0, &n, why);
    if (e == ERR_OK && n > WIRE_MARKS)
        e = err_set(ERR_FULL, why, "more than %d epochs of this site", WIRE_MARKS);
    if (e != ERR_OK)
        return e;
    struct log_mark *marks = calloc(n + 1, sizeof *marks);
    struct site_log *fresh = calloc(n + 1, sizeof *fresh);
    if (marks == NULL || fresh == NULL)
        e = err_set(ERR_MEM, why, "out of memory");
    else
        e = read_logs(m, view, marks, fresh, n, why);
    free(marks);
    if (e != ERR_OK) {
        free(fresh);
        return e;
    }
    free(m->logs);
    m->logs = fresh;
    m->n_logs = n;
    return ERR_OK;
}

uint64_t
site_behind(const struct site_machine *m)
{
    uint64_t behind = 0;
    for (size_t i = 0; i < m->n_logs; i++)
        behind += m->logs[i].standing - m->logs[i].acked;
    return behind;
}

void
site_set_acked(struct site_log *log, uint64_t seq, const uint8_t hash[HASH_SIZE])
{
    log->acked = log->sent = seq;
    memcpy(log->sent_hash, hash, HASH_SIZE);
}

/* ---------------------------------------------------------------- sending */

static bool
send_batch(struct site_machine *m, const struct site_log *log, const struct stored *records,
           size_t n)
{
    Knockbox__Wire message = KNOCKBOX__WIRE__INIT;
    Knockbox__Batch batch = KNOCKBOX__BATCH__INIT;
    ProtobufCBinaryData bytes[WIRE_RECORDS];
    uint64_t behind = site_behind(m);
    uint64_t ahead = log->sent - log->acked + n; /* on their way with this one, of this epoch */
    for (size_t i = 0; i < n; i++)
        bytes[i] = (ProtobufCBinaryData){records[i].len, (uint8_t *)records[i].bytes};
    batch.has_epoch = batch.has_mark = batch.has_first = batch.has_prev = batch.has_left = true;
    batch.epoch = log->now.epoch;
    batch.mark = (ProtobufCBinaryData){MARK_SIZE, (uint8_t *)log->now.mark};
    batch.first = log->sent + 1;
    batch.prev = (ProtobufCBinaryData){HASH_SIZE, (uint8_t *)log->sent_hash};
    batch.left = behind > ahead ? behind - ahead : 0;
    batch.n_records = n;
    batch.records = bytes;
    message.what_case = KNOCKBOX__WIRE__WHAT_BATCH;
    message.batch = &batch;
    return site_send(m, &message);
}

/* The next batch of one epoch. *out_sent false: the line takes none, or there is none. */
static enum err
pump_log(struct site_machine *m, struct store_view *view, size_t at, bool *out_sent,
         struct err_text *why)
{
    struct site_log *log = &m->logs[at];
    struct stored records[WIRE_RECORDS];
    uint64_t left = log->standing - log->sent;
    size_t most = left < WIRE_RECORDS ? (size_t)left : WIRE_RECORDS, n = 0;
    enum err e = store_read_log(view, site_own(m), log->now.epoch, log->now.mark, log->sent + 1,
                                most, WIRE_BYTES, records, &n, why);
    *out_sent = e == ERR_OK && n > 0 && send_batch(m, log, records, n);
    if (!*out_sent)
        return e;
    if (m->n_flights == 0)
        m->flown_ms = site_mono(m);
    log->sent = records[n - 1].seq;
    memcpy(log->sent_hash, records[n - 1].hash, HASH_SIZE);
    m->flights[m->n_flights++] = (struct site_flight){at, log->sent};
    return ERR_OK;
}

enum err
site_pump(struct site_machine *m, struct err_text *why)
{
    struct store_view *view = NULL;
    enum err e = ERR_OK;
    for (size_t i = 0; e == ERR_OK && i < m->n_logs; i++) {
        bool sent = true;
        while (e == ERR_OK && sent && m->n_flights < m->options.window &&
               m->logs[i].sent < m->logs[i].standing) {
            if (view == NULL)
                e = store_look(m->options.store, &view, why);
            if (e == ERR_OK)
                e = pump_log(m, view, i, &sent, why);
        }
    }
    store_done(&view);
    return e;
}

/* ---------------------------------------------------------------- acknowledgements */

static void
drop_flights(struct site_machine *m, size_t log, uint64_t upto)
{
    size_t kept = 0;
    for (size_t i = 0; i < m->n_flights; i++)
        if (m->flights[i].log != log || m->flights[i].last > upto)
            m->flights[kept++] = m->flights[i];
    if (kept < m->n_flights)
        m->flown_ms = site_mono(m);
    m->n_flights = kept;
}

/* Several batches behind a lost one all say "gap": going back once is enough. */
static void
go_back(struct site_machine *m, struct site_log *log, const struct log_mark *held)
{
    uint64_t now = site_mono(m);
    bool again =
        log->rewound && log->rewound_seq == held->seq && now - log->rewound_ms < REWIND_AGAIN_MS;
    if (again)
        return;
    log->rewound = true;
    log->rewound_seq = held->seq;
    log->rewound_ms = now;
    site_set_acked(log, held->seq, held->hash);
    drop_flights(m, (size_t)(log - m->logs), UINT64_MAX);
}

static enum err
hash_is_ours(struct site_machine *m, const struct log_mark *held, bool *out_ours,
             struct err_text *why)
{
    struct store_view *view = NULL;
    uint8_t hash[HASH_SIZE];
    enum err e = store_look(m->options.store, &view, why);
    if (e == ERR_OK)
        e = wire_hash_at(view, site_own(m), held, held->seq, hash, why);
    store_done(&view);
    *out_ours = e == ERR_OK && memcmp(hash, held->hash, HASH_SIZE) == 0;
    return e == ERR_NOT_FOUND ? ERR_OK : e;
}

enum err
site_take_ack(struct site_machine *m, const Knockbox__Ack *ack, struct err_text *why)
{
    struct log_mark held;
    bool ours = false;
    wire_place(ack->held, &held);
    struct site_log *log = site_log_find(m, &held);
    if (log == NULL)
        return ERR_OK;
    enum err e = hash_is_ours(m, &held, &ours, why);
    if (e != ERR_OK)
        return e;
    if ((ack->has_fork && ack->fork) || !ours || held.seq > log->standing)
        return site_hello(m, why); /* the answer shows where we part */
    if (ack->has_gap && ack->gap) {
        go_back(m, log, &held);
    } else if (held.seq > log->acked) {
        log->acked = held.seq;
        if (held.seq > log->sent)
            site_set_acked(log, held.seq, held.hash);
        drop_flights(m, (size_t)(log - m->logs), held.seq);
    } else {
        drop_flights(m, (size_t)(log - m->logs), held.seq);
    }
    if (ack->has_backed_up && ack->backed_up > log->backed)
        log->backed = ack->backed_up < held.seq ? ack->backed_up : held.seq;
    m->note_due = true;
    return site_pump(m, why);
}

/* ---------------------------------------------------------------- what the hub has, noted */

enum err
site_note_acked(struct site_machine *m, struct err_text *why)
{
    struct store_txn *txn = NULL;
    struct acked *rows = calloc(m->n_logs + 1, sizeof *rows);
    if (rows == NULL)
        return err_set(ERR_MEM, why, "out of memory");
    for (size_t i = 0; i < m->n_logs; i++) {
        rows[i].seq = m->logs[i].acked;
        rows[i].epoch = m->logs[i].now.epoch;
        memcpy(rows[i].mark, m->logs[i].now.mark, MARK_SIZE);
    }
    enum err e = store_begin(m->options.store, &txn, why);
    if (e == ERR_OK)
        e = store_note(txn, acked_note, rows, m->n_logs * sizeof *rows, why);
    if (e == ERR_OK)
        e = store_commit(&txn, why);
    store_abort(&txn);
    free(rows);
    m->noted_ms = site_mono(m);
    m->note_due = m->note_due && e != ERR_OK;
    return e == ERR_FULL ? ERR_OK : e; /* a full disk is told elsewhere */
}

uint64_t
site_noted_acked(struct store_view *view, const struct log_mark *log)
{
    struct acked *rows = calloc(WIRE_MARKS, sizeof *rows);
    uint64_t seq = 0;
    size_t len = 0;
    if (rows == NULL)
        return 0;
    if (store_noted(view, acked_note, rows, WIRE_MARKS * sizeof *rows, &len, NULL) == ERR_OK)
        for (size_t i = 0; i < len / sizeof *rows; i++)
            if (rows[i].epoch == log->epoch && memcmp(rows[i].mark, log->mark, MARK_SIZE) == 0)
                seq = rows[i].seq;
    free(rows);
    return seq;
}
