/* hub_hello.c - the first words on a connection, and a site's own records given back. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/base/diag.h"
#include "daemon/sync/hub_int.h"

/* Notes a fork of the site under its own name, once: *out_fresh. People see it until they settle it. */
static enum err
note_fork(struct hub_machine *m, struct hub_row *row, const char *name, bool *out_fresh,
          struct err_text *why)
{
    char fork[SITE_SIZE + 16], known[8];
    struct store_txn *txn = NULL;
    size_t len = 0;
    *out_fresh = false;
    enum err e = store_begin(m->options.store, &txn, why);
    if (e != ERR_OK)
        return e;
    (void)snprintf(fork, sizeof fork, "sync.fork.%s", row->site);
    if (store_noted(store_txn_view(txn), name, known, sizeof known, &len, NULL) == ERR_OK) {
        store_abort(&txn);
        return ERR_OK;
    }
    e = store_note(txn, name, "1", 1, why);
    if (e == ERR_OK)
        e = store_note(txn, fork, "1", 1, why);
    if (e == ERR_OK)
        e = store_commit(&txn, why);
    store_abort(&txn);
    row->forked = row->forked || e == ERR_OK;
    *out_fresh = e == ERR_OK;
    return e;
}

/* A fork that the site has settled on its side. */
static enum err
note_branch(struct hub_machine *m, struct hub_row *row, const Knockbox__Branch *branch,
            struct err_text *why)
{
    char name[SITE_SIZE + 64];
    bool fresh = false;
    (void)snprintf(name, sizeof name, "sync.branch.%s.%" PRIu32 ".%" PRIu64 ".%" PRIu32, row->site,
                   branch->epoch, branch->seq, branch->into);
    enum err e = note_fork(m, row, name, &fresh, why);
    if (fresh)
        diag_warning("sync: site %s: epoch %" PRIu32 " went two ways at record %" PRIu64
                     " (cloned card or old image); both are kept, the second as epoch %" PRIu32,
                     row->site, branch->epoch, branch->seq, branch->into);
    return e;
}

void
hub_note_second(struct hub_machine *m, struct hub_conn *conn, uint32_t epoch)
{
    char fork[SITE_SIZE + 16];
    bool fresh = false;
    struct err_text why = {.s = ""};
    struct hub_row *row = conn->row;
    (void)snprintf(fork, sizeof fork, "sync.fork.%s", row->site);
    if (note_fork(m, row, fork, &fresh, &why) != ERR_OK) {
        diag_warning("sync: site %s: a second machine cannot be noted: %s", row->site, why.s);
        return; /* its next batch says it again */
    }
    if (fresh)
        diag_warning("sync: site %s goes on in epoch %" PRIu32 " although it has epoch %" PRIu32
                     ": two machines write as this site, or an older image of it is back; both "
                     "are kept",
                     row->site, epoch, row->newest);
    conn->newest = row->newest;
}

/* How many records of the site the hub lacks, and whether they go two ways. */
static void
compare_marks(struct hub_machine *m, struct store_view *view, struct hub_row *row,
              const Knockbox__Hello *hello, const struct log_mark *held, size_t n_held)
{
    uint8_t hash[HASH_SIZE];
    struct log_mark place;
    (void)m;
    for (size_t i = 0; i < hello->n_marks; i++) {
        wire_place(hello->marks[i], &place);
        for (size_t k = 0; k < n_held; k++) {
            if (!wire_same_log(&held[k], &place) || place.seq > held[k].seq)
                continue;
            if (wire_hash_at(view, row->site, &held[k], place.seq, hash, NULL) == ERR_OK &&
                memcmp(hash, place.hash, HASH_SIZE) != 0)
                row->forked = true; /* the site will say where */
        }
    }
}

/* The highest epoch on either side. */
static void
compare_newest(struct hub_machine *m, struct hub_conn *conn, const Knockbox__Hello *hello,
               const struct log_mark *held, size_t n_held)
{
    struct hub_row *row = conn->row;
    conn->newest = 0;
    for (size_t i = 0; i < hello->n_marks; i++)
        if (hello->marks[i]->epoch > conn->newest)
            conn->newest = hello->marks[i]->epoch;
    for (size_t k = 0; k < n_held; k++)
        if (held[k].seq > 0 && held[k].epoch > row->newest)
            row->newest = held[k].epoch;
    if (conn->newest > 0 && conn->newest < row->newest)
        hub_note_second(m, conn, conn->newest);
}

static void
send_welcome(struct hub_machine *m, struct hub_conn *conn, const Knockbox__Hello *hello,
             const struct log_mark *held, size_t n_held)
{
    Knockbox__Wire message = KNOCKBOX__WIRE__INIT;
    Knockbox__Welcome welcome = KNOCKBOX__WELCOME__INIT;
    Knockbox__Mark *marks = calloc(n_held + 1, sizeof marks[0]);
    Knockbox__Mark **list = calloc(n_held + 1, sizeof list[0]);
    Knockbox__Mark down;
    struct log_mark from;
    bool has_from = false;
    if (marks == NULL || list == NULL)
        goto out; /* no answer: the site asks again */
    for (size_t i = 0; i < n_held; i++) {
        wire_mark(&held[i], &marks[i]);
        list[i] = &marks[i];
    }
    hub_down_start(m, conn, hello->down, &from, &has_from);
    if (has_from) {
        wire_mark(&from, &down);
        welcome.down = &down;
    }
    welcome.has_version = welcome.has_generation = welcome.has_now_ms = welcome.has_echo_ms = true;
    welcome.version = hello->version < WIRE_VERSION ? hello->version : WIRE_VERSION;
    welcome.generation.data = (uint8_t *)store_generation(m->options.store);
    welcome.generation.len = MARK_SIZE;
    welcome.n_marks = n_held;
    welcome.marks = list;
    welcome.now_ms = hub_now(m);
    welcome.echo_ms = hello->now_ms;
    message.what_case = KNOCKBOX__WIRE__WHAT_WELCOME;
    message.welcome = &welcome;
    hub_send(m, conn, &message);
    hub_down_send(m, conn);
out:
    free(marks);
    free(list);
}

/* An acknowledgement of the place in `log` up to which it stands in a backup. */
static void
send_backed(struct hub_machine *m, const struct hub_conn *conn, const struct log_mark *log,
            uint64_t seq)
{
    Knockbox__Wire message = KNOCKBOX__WIRE__INIT;
    Knockbox__Ack ack = KNOCKBOX__ACK__INIT;
    Knockbox__Mark held;
    struct store_view *view = NULL;
    struct log_mark place = *log;
    place.seq = seq;
    enum err e = store_look(m->options.store, &view, NULL);
    if (e == ERR_OK)
        e = wire_hash_at(view, conn->row->site, &place, seq, place.hash, NULL);
    store_done(&view);
    if (e != ERR_OK)
        return;
    wire_mark(&place, &held);
    ack.held = &held;
    ack.has_backed_up = true;
    ack.backed_up = seq;
    message.what_case = KNOCKBOX__WIRE__WHAT_ACK;
    message.ack = &ack;
    hub_send(m, conn, &message);
}

/* Of the epochs that the site has and we have; never over what stands there: a site takes a place
 * that it does not have for a fork. */
static void
tell_backed(struct hub_machine *m, const struct hub_conn *conn, const Knockbox__Hello *hello,
            const struct log_mark *held, size_t n_held)
{
    struct log_mark place;
    for (size_t i = 0; i < hello->n_marks; i++) {
        wire_place(hello->marks[i], &place);
        uint64_t seq = backed_seq(&m->backed, conn->row->site, &place);
        for (size_t k = 0; seq > 0 && seq <= place.seq && k < n_held; k++)
            if (wire_same_log(&held[k], &place) && seq <= held[k].seq)
                send_backed(m, conn, &held[k], seq);
    }
}

static enum err
check_hello(const struct hub_conn *conn, const Knockbox__Hello *hello, struct err_text *why)
{
    enum err e = wire_check_version(hello->version, "the café", why);
    if (e != ERR_OK)
        return e;
    if (strcmp(hello->site, conn->row->site) != 0)
        return err_set(ERR_DENIED, why, "this key belongs to site %s, not to %s", conn->row->site,
                       hello->site);
    if (hello->n_marks > WIRE_MARKS || hello->n_branches > WIRE_MARKS)
        return err_set(ERR_INPUT, why, "more than %d epochs", WIRE_MARKS);
    return ERR_OK;
}

void
hub_hello(struct hub_machine *m, struct hub_conn *conn, const Knockbox__Hello *hello)
{
    struct err_text why = {.s = ""};
    struct store_view *view = NULL;
    struct log_mark *held = NULL;
    size_t n = 0;
    enum err e = check_hello(conn, hello, &why);
    conn->refused = conn->asked_hello = false;
    if (e != ERR_OK) {
        m->counts.foreign += e == ERR_DENIED;
        diag_warning("sync: %s refused: %s", conn->row->site, why.s);
        hub_refuse(m, conn, e, why.s);
        return;
    }
    for (size_t i = 0; i < hello->n_branches && e == ERR_OK; i++)
        e = note_branch(m, conn->row, hello->branches[i], &why);
    if (e == ERR_OK)
        e = store_look(m->options.store, &view, &why);
    if (e == ERR_OK)
        e = wire_logs(view, conn->row->site, &held, &n, &why);
    if (e == ERR_OK && n > WIRE_MARKS)
        e = err_set(ERR_INPUT, &why, "more than %d epochs", WIRE_MARKS);
    if (e == ERR_OK)
        compare_marks(m, view, conn->row, hello, held, n);
    store_done(&view);
    if (e == ERR_OK) {
        conn->welcomed = true;
        conn->row->behind = hello->behind;
        conn->row->offset_ms = hello->now_ms - hub_now(m);
        conn->row->disk_low = hello->has_low_disk_mib;
        conn->row->disk_mib = hello->low_disk_mib;
        compare_newest(m, conn, hello, held, n);
        send_welcome(m, conn, hello, held, n);
        tell_backed(m, conn, hello, held, n);
    } else {
        diag_warning("sync: %s gets no answer: %s", conn->row->site, why.s);
    }
    free(held);
}

/* ---------------------------------------------------------------- own records back */

static void
send_fetched(struct hub_machine *m, const struct hub_conn *conn, const struct log_mark *log,
             uint64_t first, uint8_t prev[HASH_SIZE], const struct stored *records, size_t n)
{
    Knockbox__Wire message = KNOCKBOX__WIRE__INIT;
    Knockbox__Fetched fetched = KNOCKBOX__FETCHED__INIT;
    Knockbox__Batch batch = KNOCKBOX__BATCH__INIT;
    ProtobufCBinaryData bytes[WIRE_RECORDS];
    for (size_t i = 0; i < n; i++)
        bytes[i] = (ProtobufCBinaryData){records[i].len, (uint8_t *)records[i].bytes};
    batch.has_epoch = batch.has_mark = batch.has_first = batch.has_prev = true;
    batch.epoch = log->epoch;
    batch.mark = (ProtobufCBinaryData){MARK_SIZE, (uint8_t *)log->mark};
    batch.first = first;
    batch.prev = (ProtobufCBinaryData){HASH_SIZE, prev};
    batch.n_records = n;
    batch.records = bytes;
    fetched.batch = &batch;
    fetched.has_end = true;
    fetched.end = first + n > log->seq;
    message.what_case = KNOCKBOX__WIRE__WHAT_FETCHED;
    message.fetched = &fetched;
    hub_send(m, conn, &message);
}

void
hub_fetch(struct hub_machine *m, struct hub_conn *conn, const Knockbox__Fetch *fetch)
{
    struct err_text why = {.s = ""};
    struct store_view *view = NULL;
    struct stored records[WIRE_RECORDS];
    struct log_mark *held = NULL, *log = NULL, want = {.epoch = fetch->epoch};
    uint8_t prev[HASH_SIZE];
    size_t n_held = 0, n = 0;
    memcpy(want.mark, fetch->mark.data, MARK_SIZE);
    enum err e = store_look(m->options.store, &view, &why);
    if (e == ERR_OK)
        e = wire_logs(view, conn->row->site, &held, &n_held, &why);
    for (size_t i = 0; e == ERR_OK && i < n_held; i++)
        if (wire_same_log(&held[i], &want))
            log = &held[i];
    if (e == ERR_OK && (log == NULL || fetch->first > log->seq + 1))
        e = err_set(ERR_NOT_FOUND, &why, "epoch %" PRIu32 " is not held that far", fetch->epoch);
    if (e == ERR_OK)
        e = wire_hash_at(view, conn->row->site, log, fetch->first - 1, prev, &why);
    if (e == ERR_OK)
        e = store_read_log(view, conn->row->site, log->epoch, log->mark, fetch->first, WIRE_RECORDS,
                           WIRE_BYTES, records, &n, &why);
    if (e == ERR_OK)
        send_fetched(m, conn, log, fetch->first, prev, records, n);
    else
        diag_warning("sync: %s gets no records back: %s", conn->row->site, why.s);
    store_done(&view);
    free(held);
}
