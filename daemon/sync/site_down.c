/* site_down.c - what the hub lets this site see of the hub's own log, kept in part. */
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/base/diag.h"
#include "daemon/record/record.h"
#include "daemon/store/row.h"
#include "daemon/sync/site_int.h"

static const char down_note[] = "sync.down", fork_note[] = "sync.down-fork";

/* How it stands in the note. */
struct down_place {
    uint64_t seq;
    uint32_t epoch;
    uint8_t mark[MARK_SIZE], generation[MARK_SIZE], hash[HASH_SIZE];
};

/* Where an epoch of the hub's log is held here with other bytes; one after the other in a note. */
struct fork_place {
    uint64_t seq;
    uint32_t epoch;
    uint8_t mark[MARK_SIZE], spare[4];
};

static enum err
load_forks(struct site_machine *m, struct store_view *view, struct err_text *why)
{
    struct fork_place places[DOWN_FORKS];
    size_t len = 0;
    enum err e = store_noted(view, fork_note, places, sizeof places, &len, why);
    if (e != ERR_OK || len % sizeof places[0] != 0)
        return e == ERR_NOT_FOUND ? ERR_OK : e;
    m->n_down_forks = len / sizeof places[0];
    for (size_t i = 0; i < m->n_down_forks; i++) {
        struct log_mark *fork = &m->down_forks[i];
        fork->epoch = places[i].epoch;
        fork->seq = places[i].seq;
        memcpy(fork->mark, places[i].mark, MARK_SIZE);
    }
    return ERR_OK;
}

static enum err
note_forks(const struct site_machine *m, struct store_txn *txn, struct err_text *why)
{
    struct fork_place places[DOWN_FORKS];
    memset(places, 0, sizeof places);
    for (size_t i = 0; i < m->n_down_forks; i++) {
        places[i].epoch = m->down_forks[i].epoch;
        places[i].seq = m->down_forks[i].seq;
        memcpy(places[i].mark, m->down_forks[i].mark, MARK_SIZE);
    }
    return store_note(txn, fork_note, places, m->n_down_forks * sizeof places[0], why);
}

/* Remembers where its epoch went two ways first. false: that is known. */
static bool
add_fork(struct site_machine *m, const struct log_mark *fork)
{
    size_t at = 0;
    while (at < m->n_down_forks && !wire_same_log(&m->down_forks[at], fork))
        at++;
    if (at < m->n_down_forks && m->down_forks[at].seq <= fork->seq)
        return false;
    if (at == DOWN_FORKS)
        memmove(m->down_forks, m->down_forks + 1, --at * sizeof *fork);
    m->down_forks[at] = *fork;
    m->n_down_forks = at < m->n_down_forks ? m->n_down_forks : at + 1;
    return true;
}

enum err
site_load_down(struct site_machine *m, struct store_view *view, struct err_text *why)
{
    struct down_place place;
    size_t len = 0;
    enum err e = load_forks(m, view, why);
    if (e != ERR_OK)
        return e;
    e = store_noted(view, down_note, &place, sizeof place, &len, why);
    if (e == ERR_NOT_FOUND || (e == ERR_OK && len != sizeof place))
        return ERR_OK; /* none yet: all comes again, and repeats are harmless */
    if (e != ERR_OK)
        return e;
    m->down.epoch = place.epoch;
    m->down.seq = place.seq;
    memcpy(m->down.mark, place.mark, MARK_SIZE);
    memcpy(m->down.hash, place.hash, HASH_SIZE);
    memcpy(m->generation, place.generation, MARK_SIZE);
    m->has_down = m->has_generation = true;
    return ERR_OK;
}

static enum err
note_place(struct site_machine *m, struct store_txn *txn, const struct log_mark *upto,
           struct err_text *why)
{
    struct down_place place;
    memset(&place, 0, sizeof place);
    place.epoch = upto->epoch;
    place.seq = upto->seq;
    memcpy(place.mark, upto->mark, MARK_SIZE);
    memcpy(place.hash, upto->hash, HASH_SIZE);
    memcpy(place.generation, m->generation, MARK_SIZE);
    return store_note(txn, down_note, &place, sizeof place, why);
}

/* One record with the hash it hangs on. *out_fork: other bytes are held at *out_at. */
static enum err
take_link(struct site_machine *m, struct store_txn *txn, const Knockbox__Link *link,
          const uint8_t prev[HASH_SIZE], struct log_mark *out_at, bool *out_fork,
          struct err_text *why)
{
    Knockbox__Record *record = NULL;
    struct stored stored;
    enum accept_result result = ACCEPT_STORED;
    arena_reset(&m->arena);
    enum err e = record_decode(link->record.data, link->record.len, true, &m->arena, &record, why);
    if (e != ERR_OK)
        return e;
    if (strcmp(record->site, m->options.hub_site) != 0)
        return err_set(ERR_PEER, why, "the hub sent a record of site %s as its own", record->site);
    memset(&stored, 0, sizeof stored);
    stored.seq = record->seq;
    stored.held_ms = record->has_held_ms ? record->held_ms : 0;
    stored.bytes = link->record.data;
    stored.len = link->record.len;
    memcpy(stored.id, record->id.data, ID_SIZE);
    memset(out_at, 0, sizeof *out_at);
    out_at->epoch = record->epoch;
    out_at->seq = record->seq;
    memcpy(out_at->mark, record->mark.data, MARK_SIZE);
    e = store_accept_part(txn, m->options.hub_site, out_at->epoch, out_at->mark, prev, &stored,
                          site_now(m), &result, why);
    *out_fork = e == ERR_OK && result == ACCEPT_FORK;
    if (e == ERR_OK && result == ACCEPT_BROKEN)
        return err_set(ERR_PEER, why, "the hub sent a record that is not what it says");
    return e;
}

static void
meet_fork(struct site_machine *m, const struct log_mark *at)
{
    if (!add_fork(m, at))
        return;
    m->forks_due = true;
    diag_warning("sync: the hub's own log went two ways at record %" PRIu64 " of epoch %" PRIu32,
                 at->seq, at->epoch);
}

static enum err
take_links(struct site_machine *m, struct store_txn *txn, const Knockbox__Down *down,
           bool *out_forked, struct err_text *why)
{
    uint8_t prev[HASH_SIZE] = {0}, next[HASH_SIZE];
    for (size_t i = 0; i < down->n_links; i++) {
        const Knockbox__Link *link = down->links[i];
        struct log_mark at;
        bool fork = false;
        if (link->has_prev)
            memcpy(prev, link->prev.data, HASH_SIZE);
        else if (i == 0)
            return err_set(ERR_PEER, why, "the hub sent a record without what it hangs on");
        enum err e = take_link(m, txn, link, prev, &at, &fork, why);
        if (e != ERR_OK)
            return e;
        if (fork)
            meet_fork(m, &at);
        *out_forked = *out_forked || fork;
        chain_link(prev, link->record.data, link->record.len, next);
        memcpy(prev, next, HASH_SIZE);
    }
    return ERR_OK;
}

/* `fork` NULL: none to tell. */
static void
send_one_ack(struct site_machine *m, const struct log_mark *fork)
{
    Knockbox__Wire message = KNOCKBOX__WIRE__INIT;
    Knockbox__DownAck ack = KNOCKBOX__DOWN_ACK__INIT;
    Knockbox__Mark upto, at;
    if (m->has_down) {
        wire_mark(&m->down, &upto);
        ack.upto = &upto;
    }
    if (fork != NULL) {
        wire_mark(fork, &at);
        ack.fork = &at;
    }
    message.what_case = KNOCKBOX__WIRE__WHAT_DOWN_ACK;
    message.down_ack = &ack;
    (void)site_send(m, &message); /* lost: the hub sends again, and gets the same answer */
}

/* One answer a fork while they are to be told, else one. */
static void
send_ack(struct site_machine *m)
{
    size_t n = m->tell_forks ? m->n_down_forks : 0;
    for (size_t i = 0; i < n; i++)
        send_one_ack(m, &m->down_forks[i]);
    if (n == 0)
        send_one_ack(m, NULL);
}

void
site_tell_down_forks(struct site_machine *m)
{
    m->tell_forks = m->n_down_forks > 0;
    if (m->tell_forks)
        send_ack(m);
}

/* Does the message begin where we are? */
static bool
begins_here(const struct site_machine *m, const Knockbox__Down *down)
{
    struct log_mark after;
    if (down->after == NULL)
        return !m->has_down;
    wire_place(down->after, &after);
    return m->has_down && wire_same_log(&after, &m->down) && after.seq == m->down.seq;
}

static enum err
store_down(struct site_machine *m, const Knockbox__Down *down, const struct log_mark *upto,
           bool *out_forked, struct err_text *why)
{
    struct store_txn *txn = NULL;
    enum err e = store_begin(m->options.store, &txn, why);
    if (e == ERR_OK)
        e = take_links(m, txn, down, out_forked, why);
    if (e == ERR_OK)
        e = note_place(m, txn, upto, why);
    if (e == ERR_OK && m->forks_due)
        e = note_forks(m, txn, why);
    if (e == ERR_OK)
        e = store_commit(&txn, why);
    store_abort(&txn);
    m->forks_due = m->forks_due && e != ERR_OK;
    return e;
}

enum err
site_take_down(struct site_machine *m, const Knockbox__Down *down, struct err_text *why)
{
    struct log_mark upto;
    bool forked = false;
    if (!begins_here(m, down)) {
        send_ack(m); /* a repeat: says where we are */
        return ERR_OK;
    }
    wire_place(down->upto, &upto);
    enum err e = store_down(m, down, &upto, &forked, why);
    if (e != ERR_OK)
        return e;
    m->down = upto;
    m->has_down = true;
    m->tell_forks = forked; /* this message says that the hub heard what we told before */
    send_ack(m);
    return ERR_OK;
}
