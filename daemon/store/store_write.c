/* store_write.c - transactions: append, accept, epochs, notes. */
#include <inttypes.h>
#include <string.h>
#include "daemon/store/accept.h"
#include "daemon/store/store_int.h"

static const int64_t most_ms = ((int64_t)1 << 48) - 1; /* six bytes */

enum err
store_begin(struct store *store, struct store_txn **out_txn, struct err_text *why)
{
    struct store_txn *txn = &store->write;
    enum err e = kv_write(store->kv, &txn->view.txn, why);
    if (e != ERR_OK)
        return e;
    struct kv_sizes sizes = kv_sizes(store->kv);
    txn->low = sizes.disk_free < sizes.disk_keep;
    txn->ids_added = false;
    store->last_now = store->last;
    store->ids_now = store->ids;
    *out_txn = txn;
    return ERR_OK;
}

static void
settle(struct store *store, bool committed)
{
    logs_settle(store, committed);
    if (committed) {
        store->last = store->last_now;
        store->ids = store->ids_now;
    } else {
        store->last_now = store->last;
        store->ids_now = store->ids;
    }
}

enum err
store_commit(struct store_txn **txn_at, struct err_text *why)
{
    struct store_txn *txn = *txn_at;
    struct store *store = txn->store;
    *txn_at = NULL;
    end_reread(&txn->view);
    enum err e = logs_write(store, txn->view.txn, why);
    if (e == ERR_OK)
        e = kv_commit(&txn->view.txn, why);
    else
        kv_abort(&txn->view.txn);
    settle(store, e == ERR_OK);
    return e;
}

void
store_abort(struct store_txn **txn_at)
{
    struct store_txn *txn = *txn_at;
    *txn_at = NULL;
    if (txn == NULL)
        return;
    end_reread(&txn->view);
    kv_abort(&txn->view.txn);
    settle(txn->store, false);
}

struct kv_txn *
store_txn_kv(struct store_txn *txn)
{
    return txn->view.txn;
}

struct store_view *
store_txn_view(struct store_txn *txn)
{
    return &txn->view;
}

/* ---- one record into all tables */

static enum err
put_run(struct store_txn *txn, const struct row *row, struct err_text *why)
{
    struct store *store = txn->store;
    uint8_t key[RUN_KEY], lsn[LSN_KEY];
    if (store->last_now.log == row->log && store->last_now.seq + 1 == row->seq)
        return ERR_OK; /* goes on where the record before it stands */
    run_key(row->log, row->seq, key);
    put_number(lsn, row->lsn, sizeof lsn);
    return kv_put(txn->view.txn, store->runs, key, sizeof key, lsn, sizeof lsn, true, why);
}

/* Gives the row its arrival number and moves the log's head. */
static enum err
put_record(struct store_txn *txn, struct log *log, struct row *row, const uint8_t id[ID_SIZE],
           struct err_text *why)
{
    struct store *store = txn->store;
    uint8_t key[LSN_KEY];
    row->lsn = store->last_now.lsn + 1;
    row->log = log->number;
    put_number(key, row->lsn, sizeof key);
    size_t len = row_pack(row, store->buffer);
    enum err e =
        kv_put(txn->view.txn, store->records, key, sizeof key, store->buffer, len, true, why);
    if (e == ERR_OK)
        e = put_run(txn, row, why);
    if (e == ERR_OK)
        e = ids_put(txn, row->lsn, id, why);
    if (e != ERR_OK)
        return e;
    store->last_now = (struct last){.lsn = row->lsn, .seq = row->seq, .log = row->log};
    if (row->seq > log->now.seq) {
        log->now.seq = row->seq;
        memcpy(log->now.hash, row->hash, HASH_SIZE);
    }
    logs_touch(store, log);
    return ERR_OK;
}

static int64_t
held_of(bool has, int64_t claimed_ms, int64_t now_ms)
{
    int64_t held = has && claimed_ms <= now_ms ? claimed_ms : now_ms;
    held = held > 0 ? held : 0; /* a clock before 1970 */
    return held < most_ms ? held : most_ms;
}

/* ---- own records */

static enum err
new_epoch(struct store_txn *txn, const char *site, uint32_t at_least, struct log **out_log,
          struct err_text *why)
{
    struct store *store = txn->store;
    struct log_mark mark = {.own = true};
    if (!site_name_fits(site))
        return err_input(why, "site", site, "a name of 1 to 64 bytes");
    uint32_t known = logs_last_epoch(store, site);
    mark.epoch = (known > at_least ? known : at_least) + 1;
    memcpy(mark.site, site, strlen(site));
    store->clock.random(store->clock.owner, mark.mark, sizeof mark.mark);
    return logs_add(store, &mark, true, out_log, why);
}

enum err
store_new_epoch(struct store_txn *txn, const char *site, uint32_t at_least, struct err_text *why)
{
    return new_epoch(txn, site, at_least, NULL, why);
}

/* What may still be written when the disk is nearly full: the day can be closed. */
static bool
closes_a_day(const Knockbox__Record *record)
{
    return record->body_case == KNOCKBOX__RECORD__BODY_CLOSE;
}

static enum err
refuse_low(const struct store *store, struct err_text *why)
{
    struct kv_sizes sizes = kv_sizes(store->kv);
    return err_set(ERR_FULL, why,
                   "%s: the disk has %" PRIu64 " KiB left, %" PRIu64 " KiB are kept for closing "
                   "the day and for sync: make room; this record was not written",
                   store->dir, sizes.disk_free / 1024, sizes.disk_keep / 1024);
}

static enum err
check_own(const struct store_txn *txn, const Knockbox__Record *record, size_t len,
          struct err_text *why)
{
    const struct kind *kind = kind_by_number(record->body_case);
    size_t most = kind != NULL && kind->big ? RECORD_BIG_MAX : RECORD_MAX;
    if (record->id.data == NULL || record->id.len != ID_SIZE)
        return err_input(why, "id", NULL, "16 bytes");
    if (len > most)
        return err_set(ERR_INPUT, why, "the record has %zu bytes: expected at most %zu", len, most);
    if (txn->low && !closes_a_day(record))
        return refuse_low(txn->store, why);
    return ERR_OK;
}

static void
fill_envelope(Knockbox__Record *record, struct log *log)
{
    record->site = log->now.site;
    record->has_epoch = record->has_mark = record->has_seq = 1;
    record->epoch = log->now.epoch;
    record->mark = (ProtobufCBinaryData){.len = MARK_SIZE, .data = log->now.mark};
    record->seq = log->now.seq + 1;
}

/* `bytes` is where the record is packed; row_pack() copies it into the buffer. */
static enum err
append_to(struct store_txn *txn, struct log *log, Knockbox__Record *record,
          struct stored *out_stored, struct err_text *why)
{
    struct store *store = txn->store;
    uint8_t bytes[RECORD_BIG_MAX], hash[HASH_SIZE];
    fill_envelope(record, log);
    size_t len = knockbox__record__get_packed_size(record);
    enum err e = check_own(txn, record, len, why);
    if (e != ERR_OK)
        return e;
    (void)knockbox__record__pack(record, bytes);
    chain_link(log->now.hash, bytes, len, hash);
    int64_t now_ms = store->clock.now_ms(store->clock.owner);
    struct row row = {.seq = record->seq,
                      .held_ms = held_of(record->has_held_ms, record->held_ms, now_ms),
                      .hash = hash,
                      .bytes = bytes,
                      .len = len};
    e = put_record(txn, log, &row, record->id.data, why);
    if (e != ERR_OK || out_stored == NULL)
        return e;
    row.bytes = store->buffer + ROW_HEAD; /* the same bytes, until the next write */
    stored_of(store, &row, out_stored);
    return ERR_OK;
}

enum err
store_append(struct store_txn *txn, const char *site, Knockbox__Record *record,
             struct stored *out_stored, struct err_text *why)
{
    struct log *log = logs_own(txn->store, site);
    enum err e = log != NULL ? ERR_OK : new_epoch(txn, site, 0, &log, why);
    return e == ERR_OK ? append_to(txn, log, record, out_stored, why) : e;
}

/* ---- records of others */

/* The log of another machine, made when it is not known. ERR_INPUT: it is held the other way. */
static enum err
other_log(struct store_txn *txn, const char *site, uint32_t epoch, const uint8_t mark[MARK_SIZE],
          bool partial, struct log **out_log, struct err_text *why)
{
    struct log_mark fresh = {.epoch = epoch, .partial = partial};
    struct log *log = logs_find(txn->store, site, epoch, mark);
    if (log != NULL && log->now.partial != partial)
        return err_set(ERR_INPUT, why, "site %s, epoch %" PRIu32 ": is held %s here", site, epoch,
                       partial ? "as a whole" : "in part");
    if (log != NULL) {
        *out_log = log;
        return ERR_OK;
    }
    memcpy(fresh.site, site, strlen(site));
    memcpy(fresh.mark, mark, MARK_SIZE);
    return logs_add(txn->store, &fresh, true, out_log, why);
}

static const uint8_t zero_hash[HASH_SIZE];

/* What a record says of itself, where it says it, fits. */
static bool
claims_fit(const struct stored *record, uint64_t seq, const uint8_t hash[HASH_SIZE])
{
    return (record->seq == 0 || record->seq == seq) && record->len <= RECORD_BIG_MAX &&
           (memcmp(record->hash, zero_hash, HASH_SIZE) == 0 ||
            memcmp(record->hash, hash, HASH_SIZE) == 0);
}

/* The hash that is held at `seq` of a log; zeros at 0. ERR_NOT_FOUND. */
static enum err
hash_at(struct store_txn *txn, uint32_t log, uint64_t seq, uint8_t out[HASH_SIZE],
        struct err_text *why)
{
    struct row row;
    if (seq == 0) {
        memset(out, 0, HASH_SIZE);
        return ERR_OK;
    }
    enum err e = read_seq(&txn->view, log, seq, &row, why);
    if (e == ERR_OK)
        memcpy(out, row.hash, HASH_SIZE);
    return e;
}

/* What is offered to a log. */
struct offer {
    uint64_t first;
    const uint8_t *prev;
    const struct stored *records;
    size_t n;
};

/* Looks at what is held and what is offered; writes nothing. `log` NULL: nothing is held. */
static enum err
gather(struct store_txn *txn, const struct log *log, const struct offer *offer,
       struct accept_facts *facts, struct err_text *why)
{
    uint8_t hash[HASH_SIZE], held[HASH_SIZE] = {0};
    enum err e = ERR_OK;
    *facts = (struct accept_facts){.have = log != NULL ? log->now.seq : 0,
                                   .first = offer->first,
                                   .n = offer->n,
                                   .claims_fit = true,
                                   .same = true};
    bool follows = offer->first >= 1 && offer->first <= facts->have + 1;
    if (follows && log != NULL)
        e = hash_at(txn, log->number, offer->first - 1, held, why);
    facts->prev_fits = memcmp(held, offer->prev, HASH_SIZE) == 0;
    memcpy(hash, offer->prev, HASH_SIZE);
    for (size_t i = 0; i < offer->n && e == ERR_OK; i++) {
        const struct stored *record = &offer->records[i];
        chain_link(hash, record->bytes, record->len, hash);
        facts->claims_fit = facts->claims_fit && claims_fit(record, offer->first + i, hash);
        if (!follows || offer->first + i > facts->have)
            continue;
        e = hash_at(txn, log->number, offer->first + i, held, why);
        facts->same = facts->same && memcmp(held, hash, HASH_SIZE) == 0;
    }
    return e == ERR_NOT_FOUND ? err_set(ERR_DAMAGED, why, "%s: a record that was there is missing",
                                        txn->store->dir)
                              : e;
}

/* Stores those of the offer that are not held yet. */
static enum err
put_new(struct store_txn *txn, struct log *log, const struct offer *offer, int64_t now_ms,
        struct err_text *why)
{
    enum err e = ERR_OK;
    for (size_t i = (size_t)(log->now.seq + 1 - offer->first); i < offer->n && e == ERR_OK; i++) {
        const struct stored *record = &offer->records[i];
        uint8_t hash[HASH_SIZE];
        chain_link(log->now.hash, record->bytes, record->len, hash);
        struct row row = {.seq = offer->first + i,
                          .held_ms = held_of(record->held_ms > 0, record->held_ms, now_ms),
                          .hash = hash,
                          .bytes = record->bytes,
                          .len = record->len};
        e = put_record(txn, log, &row, record->id, why);
    }
    return e;
}

static void
mark_of_nothing(const char *site, uint32_t epoch, const uint8_t mark[MARK_SIZE],
                struct log_mark *out)
{
    *out = (struct log_mark){.epoch = epoch};
    memcpy(out->site, site, strlen(site));
    memcpy(out->mark, mark, MARK_SIZE);
}

enum err
store_accept(struct store_txn *txn, const char *site, uint32_t epoch, const uint8_t mark[MARK_SIZE],
             uint64_t first, const uint8_t prev[HASH_SIZE], const struct stored *records, size_t n,
             int64_t now_ms, enum accept_result *out_result, struct log_mark *out_mark,
             struct err_text *why)
{
    const struct offer offer = {first, prev, records, n};
    struct accept_facts facts;
    if (!site_name_fits(site))
        return err_input(why, "site", site, "a name of 1 to 64 bytes");
    struct log *log = logs_find(txn->store, site, epoch, mark);
    enum err e = log != NULL ? other_log(txn, site, epoch, mark, false, &log, why) : ERR_OK;
    if (e == ERR_OK)
        e = gather(txn, log, &offer, &facts, why);
    if (e != ERR_OK)
        return e;
    enum accept_result result = accept_decide(&facts);
    if (result == ACCEPT_STORED) {
        e = other_log(txn, site, epoch, mark, false, &log, why);
        if (e == ERR_OK)
            e = put_new(txn, log, &offer, now_ms, why);
    }
    if (e != ERR_OK)
        return e;
    *out_result = result;
    if (log != NULL)
        *out_mark = log->now;
    else
        mark_of_nothing(site, epoch, mark, out_mark);
    return ERR_OK;
}

/* Is `hash` what is held at `seq`, or is nothing held there? */
static enum err
fits_neighbour(struct store_txn *txn, const struct log *log, uint64_t seq, const uint8_t *hash,
               bool *out_fits, struct err_text *why)
{
    uint8_t held[HASH_SIZE];
    *out_fits = true;
    if (seq == 0)
        return ERR_OK;
    enum err e = hash_at(txn, log->number, seq, held, why);
    if (e == ERR_OK)
        *out_fits = memcmp(held, hash, HASH_SIZE) == 0;
    return e == ERR_NOT_FOUND ? ERR_OK : e;
}

/* Does the record after `seq`, if held, hang on `hash`? */
static enum err
fits_after(struct store_txn *txn, const struct log *log, uint64_t seq, const uint8_t *hash,
           bool *out_fits, struct err_text *why)
{
    struct row row;
    *out_fits = true;
    enum err e = read_seq(&txn->view, log->number, seq + 1, &row, why);
    if (e == ERR_OK)
        *out_fits = memcmp(row.prev, hash, HASH_SIZE) == 0;
    return e == ERR_NOT_FOUND ? ERR_OK : e;
}

static enum err
gather_part(struct store_txn *txn, const struct log *log, const uint8_t prev[HASH_SIZE],
            const struct stored *record, const uint8_t hash[HASH_SIZE], struct accept_part_facts *f,
            struct err_text *why)
{
    uint8_t held[HASH_SIZE];
    *f = (struct accept_part_facts){.seq = record->seq,
                                    .claims_fit = claims_fit(record, record->seq, hash),
                                    .before_fits = true,
                                    .after_fits = true,
                                    .prev_is_zero = memcmp(prev, zero_hash, HASH_SIZE) == 0};
    if (log == NULL || record->seq == 0)
        return ERR_OK;
    enum err e = hash_at(txn, log->number, record->seq, held, why);
    f->held = e == ERR_OK;
    f->same = f->held && memcmp(held, hash, HASH_SIZE) == 0;
    if (e == ERR_OK || e == ERR_NOT_FOUND)
        e = fits_neighbour(txn, log, record->seq - 1, prev, &f->before_fits, why);
    if (e == ERR_OK)
        e = fits_after(txn, log, record->seq, hash, &f->after_fits, why);
    return e;
}

static enum err
put_part(struct store_txn *txn, struct log *log, const uint8_t prev[HASH_SIZE],
         const struct stored *record, const uint8_t hash[HASH_SIZE], int64_t now_ms,
         struct err_text *why)
{
    struct row row = {.seq = record->seq,
                      .held_ms = held_of(record->held_ms > 0, record->held_ms, now_ms),
                      .hash = hash,
                      .prev = prev,
                      .bytes = record->bytes,
                      .len = record->len};
    return put_record(txn, log, &row, record->id, why);
}

enum err
store_accept_part(struct store_txn *txn, const char *site, uint32_t epoch,
                  const uint8_t mark[MARK_SIZE], const uint8_t prev[HASH_SIZE],
                  const struct stored *record, int64_t now_ms, enum accept_result *out_result,
                  struct err_text *why)
{
    uint8_t hash[HASH_SIZE];
    struct accept_part_facts facts;
    if (!site_name_fits(site))
        return err_input(why, "site", site, "a name of 1 to 64 bytes");
    struct log *log = logs_find(txn->store, site, epoch, mark);
    enum err e = log != NULL ? other_log(txn, site, epoch, mark, true, &log, why) : ERR_OK;
    chain_link(prev, record->bytes, record->len, hash);
    if (e == ERR_OK)
        e = gather_part(txn, log, prev, record, hash, &facts, why);
    if (e != ERR_OK)
        return e;
    enum accept_result result = accept_part_decide(&facts);
    if (result == ACCEPT_STORED) {
        e = other_log(txn, site, epoch, mark, true, &log, why);
        if (e == ERR_OK)
            e = put_part(txn, log, prev, record, hash, now_ms, why);
    }
    if (e == ERR_OK)
        *out_result = result;
    return e;
}
