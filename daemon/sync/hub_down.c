/* hub_down.c - the hub's own log, filtered for each site, from where the site is.
 *
 * A place in it is an epoch with its chain head. A place that the log does not have means that the
 * hub lost its tail (an old copy was put back): the site gets all again, and the hub goes on in a new
 * epoch so that no number is used twice.
 */
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/base/diag.h"
#include "daemon/sync/branch.h"
#include "daemon/sync/hub_follow.h"
#include "daemon/sync/hub_int.h"

enum {
    SCAN_MOST = 2000,
    SKIP_SAY = 1000
};

static const char *
own_site(const struct hub_machine *m)
{
    return store_site(m->options.store);
}

/* ---------------------------------------------------------------- where a site is */

enum where {
    PLACE_OURS,
    PLACE_NOT_OURS,
    PLACE_UNKNOWN /* it could not be read just now */
};

/* Is the place in our log? */
static enum where
place_in_logs(const struct hub_machine *m, struct store_view *view, const struct log_mark *logs,
              size_t n, const struct log_mark *place)
{
    uint8_t hash[HASH_SIZE];
    for (size_t i = 0; i < n; i++) {
        if (!wire_same_log(&logs[i], place) || place->seq > logs[i].seq)
            continue;
        enum err e = wire_hash_at(view, own_site(m), place, place->seq, hash, NULL);
        if (e != ERR_OK)
            return e == ERR_NOT_FOUND ? PLACE_NOT_OURS : PLACE_UNKNOWN;
        return memcmp(hash, place->hash, HASH_SIZE) == 0 ? PLACE_OURS : PLACE_NOT_OURS;
    }
    return PLACE_NOT_OURS;
}

static void
start_new_epoch(struct hub_machine *m, uint32_t at_least)
{
    struct err_text why = {.s = ""};
    struct store_txn *txn = NULL;
    enum err e = store_begin(m->options.store, &txn, &why);
    if (e == ERR_OK)
        e = store_new_epoch(txn, own_site(m), at_least, &why);
    if (e == ERR_OK)
        e = store_commit(&txn, &why);
    store_abort(&txn);
    if (e != ERR_OK)
        diag_error("sync: no new epoch: %s", why.s);
    else
        diag_warning("sync: a site holds more of this hub's own log than the hub: an old copy "
                     "was put back; going on in a new epoch");
}

void
hub_down_start(struct hub_machine *m, struct hub_conn *conn, const Knockbox__Mark *from,
               struct log_mark *out_from, bool *out_has_from)
{
    struct store_view *view = NULL;
    struct log_mark *logs = NULL, place;
    size_t n = 0;
    uint32_t current = 0;
    conn->has_seen = conn->flying = false;
    *out_has_from = false;
    if (from == NULL || store_look(m->options.store, &view, NULL) != ERR_OK)
        return;
    wire_place(from, &place);
    enum where where = PLACE_UNKNOWN;
    if (wire_logs(view, own_site(m), &logs, &n, NULL) == ERR_OK) {
        where = place_in_logs(m, view, logs, n, &place);
        current = n > 0 ? logs[n - 1].epoch : 0;
    }
    store_done(&view);
    free(logs);
    if (where == PLACE_OURS) {
        conn->seen = *out_from = place;
        conn->has_seen = *out_has_from = true;
    } else if (where == PLACE_NOT_OURS && place.epoch >= current) {
        start_new_epoch(m, place.epoch);
    }
}

/* ---------------------------------------------------------------- what it gets next */

/* One Down message while it is put together. */
struct parcel {
    Knockbox__Link links[WIRE_RECORDS];
    Knockbox__Link *list[WIRE_RECORDS];
    uint8_t prevs[WIRE_RECORDS][HASH_SIZE];
    size_t n, bytes, scanned, skipped;
    struct log_mark upto;
    bool last_went;  /* the record before is in the message */
    uint8_t *copies; /* the bytes of the records: views come and go */
    bool full;
};

static void
pack_record(struct parcel *p, const struct stored *stored, const uint8_t *prev)
{
    Knockbox__Link *link = &p->links[p->n];
    knockbox__link__init(link);
    uint8_t *copy = p->copies + p->bytes;
    memcpy(copy, stored->bytes, stored->len);
    link->has_record = true;
    link->record = (ProtobufCBinaryData){stored->len, copy};
    if (prev != NULL) {
        memcpy(p->prevs[p->n], prev, HASH_SIZE);
        link->has_prev = true;
        link->prev = (ProtobufCBinaryData){HASH_SIZE, p->prevs[p->n]};
    }
    p->list[p->n++] = link;
    p->bytes += stored->len;
}

/* What goes before the record, each with the hash that it hangs on. */
static void
pack_before(struct hub_machine *m, struct store_view *view, struct parcel *p,
            const struct follow *follow)
{
    for (size_t i = 0; i < follow->n; i++) {
        const struct stored *stored = &follow->before[i];
        struct log_mark log = {.epoch = stored->epoch};
        uint8_t prev[HASH_SIZE];
        memcpy(log.mark, stored->mark, MARK_SIZE);
        if (wire_hash_at(view, own_site(m), &log, stored->seq - 1, prev, NULL) == ERR_OK)
            pack_record(p, stored, prev);
    }
}

static bool
has_room(const struct parcel *p, const struct stored *record, const struct follow *follow)
{
    size_t bytes = p->bytes + record->len, n = p->n + 1 + follow->n;
    for (size_t i = 0; i < follow->n; i++)
        bytes += follow->before[i].len;
    return n <= WIRE_RECORDS && bytes <= WIRE_BYTES;
}

/* false: no room any more. */
static bool
take_record(struct hub_machine *m, struct store_view *view, const char *site, struct parcel *p,
            const struct stored *record)
{
    struct follow follow;
    bool goes = hub_follow(view, own_site(m), record, site, &m->arena, &follow);
    if (!goes && hub_follow_never(record, &m->arena))
        quiet_add(&m->quiet, &p->upto, record->seq);
    if (goes && !has_room(p, record, &follow)) {
        if (p->n > 0)
            return false;
        goes = false; /* three records of the largest size never fit: the site stays as it is */
    }
    if (goes) {
        pack_before(m, view, p, &follow);
        pack_record(p, record, p->last_went && follow.n == 0 ? NULL : p->upto.hash);
    } else {
        p->skipped++;
    }
    p->last_went = goes;
    return true;
}

static void
take_records(struct hub_machine *m, struct store_view *view, const char *site, struct parcel *p,
             const struct stored *records, size_t n)
{
    for (size_t i = 0; i < n && !p->full; i++) {
        if (!take_record(m, view, site, p, &records[i])) {
            p->full = true;
            return;
        }
        p->upto.seq = records[i].seq;
        memcpy(p->upto.hash, records[i].hash, HASH_SIZE);
        p->full = p->n == WIRE_RECORDS || ++p->scanned >= SCAN_MOST;
    }
}

/* Past a run of records that nobody gets. */
static enum err
skip_run(struct hub_machine *m, struct store_view *view, const struct log_mark *log,
         struct parcel *p, uint64_t until, struct err_text *why)
{
    p->skipped += (size_t)(until - p->upto.seq);
    p->upto.seq = until;
    p->last_went = false;
    return wire_hash_at(view, own_site(m), log, until, p->upto.hash, why);
}

/* From p->upto on through one epoch. */
static enum err
walk_log(struct hub_machine *m, struct store_view *view, const char *site,
         const struct log_mark *log, struct parcel *p, struct err_text *why)
{
    struct stored records[WIRE_RECORDS];
    while (!p->full && p->upto.seq < log->seq) {
        size_t n = 0;
        uint64_t until = quiet_until(&m->quiet, log, p->upto.seq + 1);
        enum err e = until > 0
                         ? skip_run(m, view, log, p, until, why)
                         : store_read_log(view, own_site(m), log->epoch, log->mark, p->upto.seq + 1,
                                          WIRE_RECORDS, WIRE_BYTES, records, &n, why);
        if (e != ERR_OK)
            return e;
        if (until > 0)
            continue;
        if (n == 0)
            break;
        take_records(m, view, site, p, records, n);
    }
    return ERR_OK;
}

static enum err
fill_parcel(struct hub_machine *m, const struct hub_conn *conn, struct parcel *p,
            struct err_text *why)
{
    struct store_view *view = NULL;
    struct log_mark *logs = NULL;
    size_t n = 0;
    enum err e = store_look(m->options.store, &view, why);
    if (e == ERR_OK)
        e = wire_logs(view, own_site(m), &logs, &n, why);
    for (size_t i = 0; e == ERR_OK && i < n && !p->full; i++) {
        bool before = conn->has_seen && logs[i].epoch < conn->seen.epoch;
        if (before || logs[i].seq == 0)
            continue;
        if (!wire_same_log(&logs[i], &p->upto)) {
            p->upto = logs[i];
            p->upto.seq = 0;
            memset(p->upto.hash, 0, HASH_SIZE);
            p->last_went = false;
        }
        e = walk_log(m, view, conn->row->site, &logs[i], p, why);
    }
    store_done(&view);
    free(logs);
    return e;
}

static void
send_parcel(struct hub_machine *m, struct hub_conn *conn, struct parcel *p)
{
    Knockbox__Wire message = KNOCKBOX__WIRE__INIT;
    Knockbox__Down down = KNOCKBOX__DOWN__INIT;
    Knockbox__Mark after, upto;
    if (conn->has_seen) {
        wire_mark(&conn->seen, &after);
        down.after = &after;
    }
    wire_mark(&p->upto, &upto);
    down.upto = &upto;
    down.n_links = p->n;
    down.links = p->list;
    message.what_case = KNOCKBOX__WIRE__WHAT_DOWN;
    message.down = &down;
    conn->flying = true;
    conn->flown_ms = hub_mono(m);
    hub_send(m, conn, &message);
}

void
hub_down_send(struct hub_machine *m, struct hub_conn *conn)
{
    struct err_text why = {.s = ""};
    struct parcel *p = calloc(1, sizeof *p);
    conn->owed = true;
    if (p != NULL)
        p->copies = malloc(WIRE_BYTES);
    if (p == NULL || p->copies == NULL) {
        free(p);
        return; /* the next tick or write tries again */
    }
    if (conn->has_seen)
        p->upto = conn->seen;
    enum err e = fill_parcel(m, conn, p, &why);
    conn->owed = e == ERR_MEM;
    if (e != ERR_OK)
        diag_warning("sync: %s gets nothing of the hub's log: %s", conn->row->site, why.s);
    else if (p->n > 0 || p->skipped >= SKIP_SAY)
        send_parcel(m, conn, p);
    free(p->copies);
    free(p);
}

/* The site holds other bytes under a number of ours: what we have from there on is written again in
 * a new epoch, under its own ids. */
static void
settle_own_fork(struct hub_machine *m, const struct log_mark *at)
{
    struct err_text why = {.s = ""};
    uint32_t into = 0;
    enum err e = branch_write(m->options.store, own_site(m), at, at->seq, 0, &into, &why);
    if (e == ERR_NOT_FOUND)
        return; /* done before, for another site */
    if (e != ERR_OK)
        diag_error("sync: the hub's own log went two ways at record %" PRIu64 ": %s", at->seq,
                   why.s);
    else
        diag_warning("sync: the hub's own log went two ways at record %" PRIu64 " of epoch "
                     "%" PRIu32 "; this side goes on as epoch %" PRIu32,
                     at->seq, at->epoch, into);
    if (e == ERR_OK)
        hub_machine_wrote(m); /* other sites may hold the other way too */
}

/* Further than what the site was known to have? After a lost ack it may be between two messages. */
static bool
is_ahead(const struct hub_conn *conn, const struct log_mark *place)
{
    if (!conn->has_seen || place->epoch != conn->seen.epoch)
        return !conn->has_seen || place->epoch > conn->seen.epoch;
    return place->seq > conn->seen.seq;
}

static bool
knows_place(struct hub_machine *m, const struct log_mark *place)
{
    struct store_view *view = NULL;
    struct log_mark *logs = NULL;
    size_t n = 0;
    bool known = store_look(m->options.store, &view, NULL) == ERR_OK &&
                 wire_logs(view, own_site(m), &logs, &n, NULL) == ERR_OK &&
                 place_in_logs(m, view, logs, n, place) == PLACE_OURS;
    store_done(&view);
    free(logs);
    return known;
}

void
hub_down_ack(struct hub_machine *m, struct hub_conn *conn, const Knockbox__DownAck *ack)
{
    struct log_mark place;
    if (ack->fork != NULL) {
        wire_place(ack->fork, &place);
        settle_own_fork(m, &place);
    }
    if (ack->upto == NULL)
        return;
    wire_place(ack->upto, &place);
    if (!is_ahead(conn, &place) || !knows_place(m, &place))
        return; /* of an earlier message */
    conn->seen = place;
    conn->has_seen = true;
    conn->flying = false;
    hub_down_send(m, conn);
}
