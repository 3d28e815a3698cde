/* store.c - opening and closing: is it ours, is it whole, what is in it. */
#include "daemon/store/store.h"

#include <inttypes.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/store/store_int.h"

/* Rows of `meta`. A store whose `format` row is missing was never finished being made. */
static const char format_key[] = "format", reads_from_key[] = "reads_from";
static const char site_key[] = "site", generation_key[] = "generation";
static const char made_ms_key[] = "made_ms", made_by_key[] = "made_by";

static enum err
put_meta_number(struct store *store, struct kv_txn *txn, const char *name, uint64_t n,
                struct err_text *why)
{
    uint8_t value[8];
    put_number(value, n, sizeof value);
    return put_value(store, txn, store->meta, name, value, sizeof value, why);
}

/* ERR_NOT_FOUND: no such row. ERR_DAMAGED. */
static enum err
get_meta_number(struct store *store, struct kv_txn *txn, const char *name, uint64_t *out,
                struct err_text *why)
{
    MDB_val value;
    enum err e = get_value(store, txn, store->meta, name, &value, why);
    if (e == ERR_OK && value.mv_size != 8)
        e = err_set(ERR_DAMAGED, why, "%s: the head row %s is damaged", store->dir, name);
    if (e == ERR_OK)
        *out = get_number(value.mv_data, 8);
    return e;
}

/* The tables beside `meta`, each made when missing only while the store itself is being made. */
static enum err
open_tables(struct store *store, bool make, struct err_text *why)
{
    const struct {
        const char *name;
        MDB_dbi *table;
    } tables[] = {
        {"records", &store->records}, {"runs", &store->runs},   {"by_id", &store->by_id},
        {"logs", &store->log_rows},   {"notes", &store->notes},
    };
    for (size_t i = 0; i < sizeof tables / sizeof tables[0]; i++) {
        enum err e = make ? kv_table(store->kv, tables[i].name, tables[i].table, why)
                          : kv_table_there(store->kv, tables[i].name, tables[i].table, why);
        if (e == ERR_NOT_FOUND)
            return err_set(ERR_DAMAGED, why, "%s: the store has no table %s", store->dir,
                           tables[i].name);
        if (e != ERR_OK)
            return e;
    }
    return ERR_OK;
}

static enum err
write_meta(struct store *store, const char *site, struct kv_txn *txn, struct err_text *why)
{
    static const char program[] = "knockbox " KNOCKBOX_VERSION;
    int64_t now_ms = store->clock.now_ms(store->clock.owner);
    store->clock.random(store->clock.owner, store->generation, sizeof store->generation);
    enum err e = put_value(store, txn, store->meta, site_key, site, strlen(site), why);
    if (e == ERR_OK)
        e = put_value(store, txn, store->meta, generation_key, store->generation,
                      sizeof store->generation, why);
    if (e == ERR_OK)
        e = put_meta_number(store, txn, made_ms_key, (uint64_t)now_ms, why);
    if (e == ERR_OK)
        e = put_value(store, txn, store->meta, made_by_key, program, sizeof program - 1, why);
    if (e == ERR_OK)
        e = put_meta_number(store, txn, reads_from_key, STORE_FORMAT, why);
    if (e == ERR_OK)
        e = put_meta_number(store, txn, format_key, STORE_FORMAT, why);
    return e;
}

/* All rows of `meta` in one transaction, last of all. */
static enum err
make(struct store *store, const struct store_options *options, struct err_text *why)
{
    if (options->read_only)
        return err_set(ERR_NOT_FOUND, why, "%s: holds no finished store", store->dir);
    if (options->site == NULL)
        return err_set(ERR_INPUT, why, "%s: a new store needs the name of its site", store->dir);
    enum err e = kv_table(store->kv, "meta", &store->meta, why);
    if (e == ERR_OK)
        e = open_tables(store, true, why);
    struct kv_txn *txn = NULL;
    if (e == ERR_OK)
        e = kv_write(store->kv, &txn, why);
    if (e != ERR_OK)
        return e;
    e = write_meta(store, options->site, txn, why);
    if (e == ERR_OK)
        return kv_commit(&txn, why);
    kv_abort(&txn);
    return e;
}

/* ---- an existing one */

/* *out_made: whether it was finished. ERR_FORMAT: not ours, or from a newer release. */
static enum err
check_format(struct store *store, struct kv_txn *txn, bool read_only, bool *out_made,
             struct err_text *why)
{
    uint64_t format = 0, reads_from = 0;
    enum err e = get_meta_number(store, txn, format_key, &format, why);
    *out_made = e == ERR_OK;
    if (e != ERR_OK)
        return e == ERR_NOT_FOUND ? ERR_OK : e;
    e = get_meta_number(store, txn, reads_from_key, &reads_from, why);
    if (e == ERR_NOT_FOUND || format == 0)
        return err_set(ERR_DAMAGED, why, "%s: the head rows are damaged", store->dir);
    if (e != ERR_OK || format == STORE_FORMAT)
        return e;
    if (read_only && reads_from <= STORE_FORMAT)
        return ERR_OK;
    return err_set(ERR_FORMAT, why,
                   "%s: the store has format %" PRIu64
                   ", this program (%s) knows formats up to %d: "
                   "nothing was changed; use the newer release",
                   store->dir, format, KNOCKBOX_VERSION, STORE_FORMAT);
}

/* Finds out whether a store is there: *out_made. Only reads. */
static enum err
look_for_store(struct store *store, bool read_only, bool *out_made, struct err_text *why)
{
    bool empty = false;
    struct kv_txn *txn = NULL;
    *out_made = false;
    enum err e = kv_table_there(store->kv, "meta", &store->meta, why);
    if (e == ERR_NOT_FOUND) {
        e = kv_is_empty(store->kv, &empty, why);
        if (e == ERR_OK && !empty)
            e = err_set(ERR_FORMAT, why, "%s: data.mdb was written by another program", store->dir);
        return e;
    }
    if (e == ERR_OK)
        e = kv_read(store->kv, &txn, why);
    if (e != ERR_OK)
        return e;
    e = check_format(store, txn, read_only, out_made, why);
    kv_abort(&txn);
    return e;
}

static enum err
load_meta(struct store *store, const char *want_site, struct kv_txn *txn, struct err_text *why)
{
    MDB_val site, generation;
    enum err e = get_value(store, txn, store->meta, site_key, &site, why);
    if (e == ERR_OK)
        e = get_value(store, txn, store->meta, generation_key, &generation, why);
    if (e != ERR_OK && e != ERR_NOT_FOUND)
        return e;
    if (e == ERR_NOT_FOUND || site.mv_size == 0 || site.mv_size >= SITE_SIZE ||
        generation.mv_size != sizeof store->generation)
        return err_set(ERR_DAMAGED, why, "%s: the head rows are damaged", store->dir);
    memcpy(store->site, site.mv_data, site.mv_size);
    memcpy(store->generation, generation.mv_data, generation.mv_size);
    if (want_site != NULL && strcmp(want_site, store->site) != 0)
        return err_set(ERR_INPUT, why, "%s: is the store of site %s, not of %s", store->dir,
                       store->site, want_site);
    return ERR_OK;
}

/* Does the newest record of a log carry the hash that its head names, and does none follow it?
 * ERR_NOT_FOUND: no. */
static enum err
compare_head(struct store_view *view, const struct log *log, struct err_text *why)
{
    struct row row = {0};
    if (log->mark.seq == 0)
        return ERR_OK;
    enum err e = read_seq(view, log->number, log->mark.seq, &row, why);
    if (e != ERR_OK)
        return e;
    if (memcmp(row.hash, log->mark.hash, HASH_SIZE) != 0)
        return ERR_NOT_FOUND;
    e = read_seq(view, log->number, log->mark.seq + 1, &row, why);
    if (e == ERR_NOT_FOUND)
        return ERR_OK;
    return e == ERR_OK ? ERR_NOT_FOUND : e;
}

static enum err
check_head(struct store_view *view, const struct log *log, struct err_text *why)
{
    enum err e = compare_head(view, log, why);
    if (e != ERR_NOT_FOUND && e != ERR_DAMAGED)
        return e;
    return err_set(ERR_DAMAGED, why,
                   "%s: site %s, epoch %" PRIu32 ": its head does not fit its records near %" PRIu64
                   ": set the store aside, then put a backup in its place or take the records back "
                   "from the hub",
                   view->store->dir, log->mark.site, log->mark.epoch, log->mark.seq);
}

static enum err
check_heads(struct store_view *view, struct err_text *why)
{
    enum err e = ERR_OK;
    for (uint32_t i = 0; i < view->store->n_logs && e == ERR_OK; i++)
        e = check_head(view, view->store->logs[i], why);
    return e;
}

static enum err
load_last(struct store_view *view, struct err_text *why)
{
    struct store *store = view->store;
    struct row row = {0};
    uint64_t lsn = store_last(view);
    enum err e = lsn != 0 ? read_row(view, lsn, &row, why) : ERR_OK;
    if (e == ERR_NOT_FOUND) /* its key is longer than it says */
        return err_set(ERR_DAMAGED, why, "%s: the key of the last record is damaged", store->dir);
    store->last = store->last_now = (struct last){.lsn = lsn, .seq = row.seq, .log = row.log};
    if (e == ERR_OK && lsn != 0) {
        struct log *log = store->logs[row.log - 1];
        logs_lead(&row, row.log, &log->mark);
        log->now = log->mark;
        logs_note_lag(store);
    }
    return e == ERR_OK ? ids_load(view, why) : e;
}

static enum err
load(struct store *store, const char *want_site, struct err_text *why)
{
    struct store_view *view = NULL;
    enum err e = open_tables(store, false, why);
    if (e == ERR_OK)
        e = store_look(store, &view, why);
    if (e != ERR_OK)
        return e;
    e = load_meta(store, want_site, view->txn, why);
    if (e == ERR_OK)
        e = logs_load(store, view->txn, why);
    if (e == ERR_OK)
        e = load_last(view, why);
    if (e == ERR_OK)
        e = check_heads(view, why);
    if (e == ERR_OK)
        e = check_values(view, why);
    store_done(&view);
    return e;
}

/* ---- after a mend */

/* New epochs of all own logs that were written to. */
static enum err
renew_logs(struct store *store, struct store_txn *txn, struct err_text *why)
{
    enum err e = ERR_OK;
    uint32_t n = store->n_logs; /* the new ones come behind */
    for (uint32_t i = 0; i < n && e == ERR_OK; i++) {
        const struct log *log = store->logs[i];
        if (log->mark.own && logs_own(store, log->mark.site) == log)
            e = store_new_epoch(txn, log->mark.site, log->mark.epoch, why);
    }
    return e;
}

/* The last commit may be missing: no number that it may have used is used again, and peers notice
 * by the generation. */
static enum err
renew(struct store *store, struct err_text *why)
{
    struct store_txn *txn = NULL;
    char name[32];
    uint8_t generation[sizeof store->generation];
    store->clock.random(store->clock.owner, generation, sizeof generation);
    enum err e = store_begin(store, &txn, why);
    if (e == ERR_OK)
        e = renew_logs(store, txn, why);
    if (e == ERR_OK)
        e = put_value(store, store_txn_kv(txn), store->meta, generation_key, generation,
                      sizeof generation, why);
    if (e == ERR_OK)
        e = store_commit(&txn, why);
    store_abort(&txn);
    if (e == ERR_OK)
        e = kv_mend_told(store->kv, name, why);
    if (e != ERR_OK)
        return e;
    memcpy(store->generation, generation, sizeof generation);
    (void)snprintf(
        store->mended, sizeof store->mended,
        "%.150s: one of the two head pages was rubbish and was mended from the other: at "
        "most the last commit is missing; own records go on in a new epoch; the bad page "
        "is kept as %s",
        store->dir, name);
    return ERR_OK;
}

/* ---- open, close */

static enum err
new_store(const char *dir, const struct store_options *options, struct store **out_store,
          struct err_text *why)
{
    struct store *store = calloc(1, sizeof *store);
    char *name = strdup(dir);
    uint8_t *buffer = malloc(ROW_MOST);
    if (store == NULL || name == NULL || buffer == NULL) {
        free(store);
        free(name);
        free(buffer);
        return err_set(ERR_MEM, why, "%s: out of memory", dir);
    }
    store->dir = name;
    store->buffer = buffer;
    store->clock = options->clock;
    store->read = (struct store_view){.store = store};
    store->write = (struct store_txn){.store = store, .view = {.store = store, .writes = true}};
    *out_store = store;
    return ERR_OK;
}

static enum err
open_store(struct store *store, const char *dir, const struct store_options *options,
           struct err_text *why)
{
    const struct kv_options kv = {.map_mib = options->map_mib,
                                  .most_mib = options->most_mib,
                                  .ballast_kib = options->ballast_kib,
                                  .read_only = options->read_only};
    bool made = false;
    enum err e = kv_open(dir, &kv, &store->kv, why);
    if (e == ERR_OK)
        e = look_for_store(store, options->read_only, &made, why);
    if (e == ERR_OK && !made)
        e = make(store, options, why);
    if (e == ERR_OK)
        e = load(store, options->site, why);
    if (e == ERR_OK && kv_numbered(store->kv))
        (void)snprintf(
            store->mended, sizeof store->mended,
            "%.150s: one of the two head pages had the number of another commit (a "
            "flipped bit, or a write that failed) and got its own back; nothing is missing",
            store->dir);
    if (e == ERR_OK && kv_mended(store->kv))
        e = renew(store, why);
    if (e == ERR_OK)
        kv_upkeep(store->kv); /* only now: what is not ours stays untouched */
    return e;
}

enum err
store_open(const char *dir, const struct store_options *options, struct store **out_store,
           struct err_text *why)
{
    struct store *store = NULL;
    if (options->site != NULL && !site_name_fits(options->site))
        return err_input(why, "site", options->site, "a name of 1 to 64 bytes");
    if (sodium_init() < 0)
        return err_set(ERR_IO, why, "libsodium cannot start");
    enum err e = new_store(dir, options, &store, why);
    if (e == ERR_OK)
        e = open_store(store, dir, options, why);
    if (e == ERR_OK)
        *out_store = store;
    else
        store_close(store);
    return e;
}

void
store_close(struct store *store)
{
    if (store == NULL)
        return;
    kv_close(store->kv);
    logs_free(store);
    free(store->buffer);
    free(store->dir);
    free(store);
}

struct kv *
store_kv(struct store *store)
{
    return store->kv;
}

const uint8_t *
store_generation(const struct store *store)
{
    return store->generation;
}

const char *
store_site(const struct store *store)
{
    return store->site;
}

const char *
store_mended(const struct store *store)
{
    return store->mended[0] != '\0' ? store->mended : NULL;
}
