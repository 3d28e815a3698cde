/* hub_machine.c - messages of sites to the part that handles them; presence. */
#include "daemon/sync/hub_machine.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/base/diag.h"
#include "daemon/sync/hub_int.h"

enum {
    SEEN_NOTE_MS = 300000,
    DOWN_PATIENCE_MS = 20000
};

enum err
hub_machine_new(const struct hub_machine_options *options, struct hub_machine **out_machine,
                struct err_text *why)
{
    struct hub_machine *m = calloc(1, sizeof *m);
    if (m == NULL)
        return err_set(ERR_MEM, why, "out of memory");
    m->options = *options;
    enum err e = arena_init(&m->arena, ARENA_BIG_RECORD, why);
    if (e == ERR_OK)
        *out_machine = m;
    else
        free(m);
    return e;
}

static void
note_seen(struct hub_machine *m, bool all)
{
    struct store_txn *txn = NULL;
    char name[SITE_SIZE + 16];
    bool wrote = false;
    for (size_t i = 0; i < m->n_rows; i++) {
        struct hub_row *row = m->rows[i];
        int64_t age = row->last_seen_ms - row->noted_seen_ms;
        if (age == 0 || (!all && age < SEEN_NOTE_MS && age > -SEEN_NOTE_MS))
            continue;
        if (txn == NULL && store_begin(m->options.store, &txn, NULL) != ERR_OK)
            return; /* told by the next commit that matters */
        (void)snprintf(name, sizeof name, "sync.seen.%s", row->site);
        wrote |=
            store_note(txn, name, &row->last_seen_ms, sizeof row->last_seen_ms, NULL) == ERR_OK;
        row->noted_seen_ms = row->last_seen_ms;
    }
    if (txn != NULL && wrote)
        (void)store_commit(&txn, NULL);
    else
        store_abort(&txn);
}

void
hub_machine_free(struct hub_machine *m)
{
    if (m == NULL)
        return;
    if (!kv_failed(store_kv(m->options.store)))
        note_seen(m, true);
    while (m->n_conns > 0)
        hub_conn_drop(m, m->conns[m->n_conns - 1]);
    for (size_t i = 0; i < m->n_waiting; i++)
        free(m->waiting[i].records);
    for (size_t i = 0; i < m->n_rows; i++)
        free(m->rows[i]);
    free(m->rows);
    free(m->conns);
    free(m->waiting);
    arena_done(&m->arena);
    backed_done(&m->backed);
    quiet_done(&m->quiet);
    free(m);
}

/* ---------------------------------------------------------------- messages */

static void
take_beat(struct hub_machine *m, struct hub_conn *conn, const Knockbox__Beat *beat)
{
    Knockbox__Wire message = KNOCKBOX__WIRE__INIT;
    Knockbox__Beat answer = KNOCKBOX__BEAT__INIT;
    conn->row->offset_ms = beat->now_ms - hub_now(m);
    conn->row->behind = beat->behind;
    conn->row->disk_low = beat->has_low_disk_mib;
    conn->row->disk_mib = beat->low_disk_mib;
    answer.has_now_ms = answer.has_echo_ms = true;
    answer.now_ms = hub_now(m);
    answer.echo_ms = beat->now_ms;
    message.what_case = KNOCKBOX__WIRE__WHAT_BEAT;
    message.beat = &answer;
    hub_send(m, conn, &message);
}

/* A second gives HUB_SMALL_RATE more, up to HUB_SMALL_BURST. */
static bool
within_rate(struct hub_machine *m, struct hub_conn *conn)
{
    uint64_t now = hub_mono(m);
    uint64_t more = (now - conn->small_ms) * HUB_SMALL_RATE / 1000;
    if (more > 0) {
        uint64_t left = conn->small_left + more;
        conn->small_left = left < HUB_SMALL_BURST ? (unsigned)left : HUB_SMALL_BURST;
        conn->small_ms = now;
    }
    if (conn->small_left == 0)
        return false;
    conn->small_left--;
    return true;
}

/* The hub was restarted, or has forgotten a silent connection: once is enough. */
static void
ask_for_hello(struct hub_machine *m, struct hub_conn *conn)
{
    if (conn->asked_hello)
        return;
    conn->asked_hello = true;
    wire_refuse(&m->options.wire, &conn->peer, ERR_USAGE, "say Hello first");
}

static void
dispatch(struct hub_machine *m, struct hub_conn *conn, const Knockbox__Wire *message)
{
    bool awaited = message->what_case == KNOCKBOX__WIRE__WHAT_DOWN_ACK && conn->flying;
    bool small = message->what_case != KNOCKBOX__WIRE__WHAT_BATCH && !awaited;
    if (small && !within_rate(m, conn)) {
        m->counts.over_limit++;
        return;
    }
    if (message->what_case == KNOCKBOX__WIRE__WHAT_HELLO) {
        hub_hello(m, conn, message->hello);
        return;
    }
    if (conn->refused)
        return;
    if (!conn->welcomed) {
        ask_for_hello(m, conn);
        return;
    }
    switch (message->what_case) {
    case KNOCKBOX__WIRE__WHAT_BATCH:
        hub_take_batch(m, conn, message->batch);
        break;
    case KNOCKBOX__WIRE__WHAT_BEAT:
        take_beat(m, conn, message->beat);
        break;
    case KNOCKBOX__WIRE__WHAT_FETCH:
        hub_fetch(m, conn, message->fetch);
        break;
    case KNOCKBOX__WIRE__WHAT_DOWN_ACK:
        hub_down_ack(m, conn, message->down_ack);
        break;
    default:
        m->counts.malformed++;
    }
}

void
hub_machine_message(struct hub_machine *m, const struct peer *peer, const char *site,
                    const Knockbox__Wire *message)
{
    struct hub_conn *conn = hub_conn_get(m, peer, site);
    if (conn == NULL) {
        m->counts.over_limit++;
        return;
    }
    conn->heard_ms = hub_mono(m);
    conn->row->last_seen_ms = hub_now(m);
    dispatch(m, conn, message);
}

/* ---------------------------------------------------------------- time and what people see */

void
hub_machine_forget(struct hub_machine *m, const char *site)
{
    for (size_t i = m->n_conns; i > 0; i--)
        if (strcmp(m->conns[i - 1]->row->site, site) == 0)
            hub_conn_drop(m, m->conns[i - 1]);
}

void
hub_machine_wrote(struct hub_machine *m)
{
    for (size_t i = 0; i < m->n_conns; i++)
        if (m->conns[i]->welcomed && !m->conns[i]->flying)
            hub_down_send(m, m->conns[i]);
}

void
hub_machine_tick(struct hub_machine *m)
{
    uint64_t now = hub_mono(m);
    for (size_t i = m->n_conns; i > 0; i--) {
        struct hub_conn *conn = m->conns[i - 1];
        if (now - conn->heard_ms > HUB_GONE_MS) {
            hub_conn_drop(m, conn);
            continue;
        }
        bool lost = conn->flying && now - conn->flown_ms > DOWN_PATIENCE_MS;
        if (lost || (conn->owed && !conn->flying && conn->welcomed)) {
            conn->flying = false;
            hub_down_send(m, conn);
        }
    }
    note_seen(m, false);
}

static void
find_online(const struct hub_machine *m)
{
    uint64_t now = hub_mono(m);
    for (size_t i = 0; i < m->n_rows; i++)
        m->rows[i]->online = false;
    for (size_t i = 0; i < m->n_conns; i++)
        if (m->conns[i]->welcomed && now - m->conns[i]->heard_ms <= HUB_GONE_MS)
            m->conns[i]->row->online = true;
}

size_t
hub_machine_sites(const struct hub_machine *m, struct hub_site *out, size_t most)
{
    find_online(m);
    for (size_t i = 0; i < m->n_rows && i < most; i++) {
        const struct hub_row *row = m->rows[i];
        memset(&out[i], 0, sizeof out[i]);
        memcpy(out[i].site, row->site, sizeof out[i].site);
        out[i].online = row->online;
        out[i].last_seen_ms = row->last_seen_ms;
        out[i].behind = row->behind;
        out[i].clock_offset_ms = row->offset_ms;
        out[i].disk_low = row->disk_low;
        out[i].disk_mib = row->disk_mib;
        out[i].forked = row->forked;
    }
    return m->n_rows;
}

struct hub_counts
hub_machine_counts(const struct hub_machine *m)
{
    return m->counts;
}

enum err
hub_machine_settle(struct hub_machine *m, const char *site, struct err_text *why)
{
    struct store_txn *txn = NULL;
    char name[SITE_SIZE + 16];
    struct hub_row *row = hub_row_get(m, site);
    if (row == NULL || !row->forked)
        return ERR_OK;
    (void)snprintf(name, sizeof name, "sync.fork.%s", site);
    enum err e = store_begin(m->options.store, &txn, why);
    if (e == ERR_OK)
        e = store_note(txn, name, NULL, 0, why);
    if (e == ERR_OK)
        e = store_commit(&txn, why);
    store_abort(&txn);
    if (e == ERR_OK)
        row->forked = false;
    return e;
}

void
hub_machine_backed(struct hub_machine *m, struct backed *backed)
{
    backed_done(&m->backed);
    if (memcmp(backed->generation, store_generation(m->options.store), MARK_SIZE) != 0) {
        backed_done(backed);
        return;
    }
    m->backed = *backed;
    memset(backed, 0, sizeof *backed);
}

const struct backed *
hub_machine_backup(const struct hub_machine *m)
{
    return &m->backed;
}

uint64_t
hub_gather_us(uint64_t last_commit_us, size_t sites)
{
    if (sites <= 1)
        return 0;
    return last_commit_us / 10 < 1000 ? last_commit_us / 10 : 1000;
}
