/* cafe_rescue.c - sets a damaged store aside and saves what can be read of it. */
#include "daemon/cafe_rescue.h"

#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "daemon/base/folder.h"
#include "daemon/box.h"
#include "daemon/store/kv_dir.h"
#include "daemon/store/row.h"
#include "daemon/store/salvage.h"

#define FRESH "store.fresh"

enum {
    GROUP = 500, /* records in one commit */
    ASIDE_MOST = 1000
};

static void
aside_name(int n, char out[32])
{
    (void)snprintf(out, 32, "store.damaged.%d", n);
}

static enum err
said(const char *what, const char *dir, struct err_text *why)
{
    return err_set(ERR_IO, why, "cannot %s in %.300s: %s", what, dir, strerror(errno));
}

/* ---------------------------------------------------------------- is it damaged? */

/* ERR_OK: it is whole, and *out_store is open. ERR_DAMAGED: its file or what is in it. */
static enum err
look(const char *dir, const struct config *config, struct store **out_store, struct err_text *why)
{
    char path[PATH_SIZE];
    struct kv *kv = NULL;
    uint64_t checked = 0;
    const struct kv_options options = {.read_only = true};
    enum err e = path_join(dir, "store", path, why);
    if (e == ERR_OK)
        e = kv_open(path, &options, &kv, why);
    kv_close(kv);
    bool bad_file = e == ERR_DAMAGED || e == ERR_FORMAT; /* LMDB's; the start may mend it */
    if (e == ERR_OK || bad_file)
        e = box_store(dir, config, false, out_store, why);
    if (bad_file && e == ERR_FORMAT)
        e = ERR_DAMAGED;
    if (e == ERR_OK)
        e = store_verify(*out_store, &checked, why);
    if (e != ERR_OK) {
        store_close(*out_store);
        *out_store = NULL;
    }
    return e;
}

/* ---------------------------------------------------------------- a new store of what is there */

static bool
same_log(const struct stored *a, const struct stored *b)
{
    return a->epoch == b->epoch && memcmp(a->mark, b->mark, MARK_SIZE) == 0;
}

/* How many records from the i-th on are seq 1, 2, 3 ... of one log and hang on each other. */
static size_t
chained(const struct salvage *s, size_t i)
{
    uint8_t hash[HASH_SIZE] = {0};
    size_t n = 0;
    const struct stored *first = salvage_at(s, i);
    for (; i + n < salvage_count(s); n++) {
        const struct stored *record = salvage_at(s, i + n);
        if (!same_log(first, record) || record->seq != n + 1)
            break;
        chain_link(hash, record->bytes, record->len, hash);
        if (memcmp(hash, record->hash, HASH_SIZE) != 0)
            break;
    }
    return n;
}

/* The `n` from the i-th on, a group a commit. */
static enum err
put_chain(struct store *store, const struct salvage *s, size_t i, size_t n, struct err_text *why)
{
    static const uint8_t zeros[HASH_SIZE];
    struct clock clock = clock_system();
    enum err e = ERR_OK;
    for (size_t done = 0; done < n && e == ERR_OK;) {
        size_t group = n - done < GROUP ? n - done : GROUP;
        const struct stored *first = salvage_at(s, i + done);
        struct store_txn *txn = NULL;
        struct log_mark mark;
        enum accept_result result = ACCEPT_BROKEN;
        e = store_begin(store, &txn, why);
        if (e == ERR_OK)
            e = store_accept(txn, first->site, first->epoch, first->mark, first->seq,
                             done > 0 ? salvage_at(s, i + done - 1)->hash : zeros, first, group,
                             clock.now_ms(clock.owner), &result, &mark, why);
        if (e == ERR_OK && result != ACCEPT_STORED)
            e = err_set(ERR_DAMAGED, why, "what was read does not fit together");
        if (e == ERR_OK)
            e = store_commit(&txn, why);
        store_abort(&txn);
        done += group;
    }
    return e;
}

/* Numbers of one log that could not be read, up to the highest that could: "17, 20 to 22". */
static void
say_missing(const struct salvage *s, size_t i, size_t end)
{
    uint64_t next = 1;
    bool any = false;
    for (; i < end; i++) {
        const struct stored *record = salvage_at(s, i);
        if (record->seq > next) {
            if (!any)
                (void)printf("epoch %" PRIu32 ": not readable: record ", record->epoch);
            (void)printf("%s%" PRIu64, any ? ", " : "", next);
            if (record->seq - 1 > next)
                (void)printf(" to %" PRIu64, record->seq - 1);
            any = true;
        }
        next = record->seq + 1;
    }
    if (any)
        (void)printf("\n");
}

/* All logs, each as far as its chain goes; then the epoch to go on in. */
static enum err
fill(struct store *store, const struct salvage *s, uint64_t *out_put, struct err_text *why)
{
    struct store_txn *txn = NULL;
    uint32_t most = 0;
    enum err e = ERR_OK;
    for (size_t i = 0, end = 0; i < salvage_count(s) && e == ERR_OK; i = end) {
        const struct stored *first = salvage_at(s, i);
        for (end = i; end < salvage_count(s) && same_log(first, salvage_at(s, end));)
            end++;
        size_t n = chained(s, i);
        e = put_chain(store, s, i, n, why);
        most = first->epoch > most ? first->epoch : most;
        *out_put += n;
        say_missing(s, i, end);
    }
    if (e == ERR_OK)
        e = store_begin(store, &txn, why);
    if (e == ERR_OK)
        e = store_new_epoch(txn, store_site(store), most, why);
    if (e == ERR_OK)
        e = store_commit(&txn, why);
    store_abort(&txn);
    return e;
}

/* ---------------------------------------------------------------- folders */

/* Gives DIR/NAME the first name store.damaged.N that is free. */
static enum err
put_aside(const char *dir, const char *name, char out_name[32], struct err_text *why)
{
    char from[PATH_SIZE], to[PATH_SIZE];
    int n = 1;
    for (aside_name(n, out_name); file_there(dir, out_name) && n < ASIDE_MOST;)
        aside_name(++n, out_name);
    enum err e = path_join(dir, name, from, why);
    if (e == ERR_OK)
        e = path_join(dir, out_name, to, why);
    if (e == ERR_OK && renameat2(AT_FDCWD, from, AT_FDCWD, to, RENAME_NOREPLACE) != 0)
        e = said("rename the store", dir, why);
    return e == ERR_OK ? folder_sync(dir, why) : e;
}

/* The fresh one takes the place of the damaged one in one step; there is no moment without a store. */
static enum err
swap(const char *dir, char out_name[32], struct err_text *why)
{
    char old[PATH_SIZE], fresh[PATH_SIZE];
    enum err e = path_join(dir, "store", old, why);
    if (e == ERR_OK)
        e = path_join(dir, FRESH, fresh, why);
    if (e == ERR_OK && renameat2(AT_FDCWD, old, AT_FDCWD, fresh, RENAME_EXCHANGE) != 0)
        e = said("exchange the stores", dir, why);
    if (e == ERR_OK)
        e = folder_sync(dir, why);
    return e == ERR_OK ? put_aside(dir, FRESH, out_name, why) : e;
}

static enum err
make_fresh(const char *dir, const struct config *config, const struct salvage *s, uint64_t *out_put,
           struct err_text *why)
{
    char path[PATH_SIZE];
    struct store *store = NULL;
    struct store_options options = {
        .site = config_text(config, "site.name"),
        .map_mib = (uint64_t)config_number(config, "store.map_mib"),
        .most_mib = (uint64_t)config_number(config, "store.most_mib"),
        .clock = clock_system(),
    };
    uint64_t checked = 0;
    enum err e = path_join(dir, FRESH, path, why);
    if (e == ERR_OK)
        e = folder_make(path, 0700, why);
    if (e == ERR_OK)
        e = store_open(path, &options, &store, why);
    if (e == ERR_OK)
        e = fill(store, s, out_put, why);
    if (e == ERR_OK)
        e = store_verify(store, &checked, why);
    store_close(store);
    return e;
}

static enum err
replace(const char *dir, const struct config *config, struct err_text *why)
{
    char path[PATH_SIZE], name[32];
    struct salvage *s = NULL;
    struct kv_dir lock = {.fd = -1, .lock_fd = -1};
    uint64_t put = 0;
    enum err e = path_join(dir, "store", path, why);
    if (e == ERR_OK) /* a supervisor may start the daemon at any moment */
        e = kv_dir_open(path, true, 0, &lock, why);
    if (e == ERR_OK)
        e = salvage_read(path, config_text(config, "site.name"), &s, why);
    if (e == ERR_OK && file_there(dir, FRESH)) /* of a rescue that was cut short */
        e = put_aside(dir, FRESH, name, why);
    if (e == ERR_OK)
        e = make_fresh(dir, config, s, &put, why);
    if (e == ERR_OK)
        e = swap(dir, name, why);
    kv_dir_close(&lock);
    if (e == ERR_OK) {
        (void)printf("set aside as %s\n%zu own records read, %" PRIu64
                     " of them stand in a new store\n",
                     name, salvage_count(s), put);
        (void)fprintf(stderr,
                      "knockbox-cafe: start it now: it takes from the hub what is missing. When "
                      "`knockbox status` shows that the hub has answered, stop it and say `rescue` "
                      "again: what only the old store had is written then\n");
    }
    salvage_free(s);
    return e;
}

/* ---------------------------------------------------------------- what only the old store had */

/* Is it not in the store, under any number? */
static enum err
is_lacking(struct store *store, const struct stored *record, bool *out_lacking,
           struct err_text *why)
{
    struct store_view *view = NULL;
    uint64_t lsn = 0;
    enum err e = store_look(store, &view, why);
    if (e == ERR_OK)
        e = store_find_id(view, record->id, &lsn, why);
    store_done(&view);
    *out_lacking = e == ERR_NOT_FOUND;
    return e == ERR_NOT_FOUND ? ERR_OK : e;
}

static enum err
append_again(struct store *store, const struct stored *record, struct arena *arena,
             struct err_text *why)
{
    Knockbox__Record *decoded = NULL;
    struct store_txn *txn = NULL;
    arena_reset(arena);
    enum err e = record_decode(record->bytes, record->len, false, arena, &decoded, why);
    if (e == ERR_OK)
        e = store_begin(store, &txn, why);
    if (e == ERR_OK)
        e = store_append(txn, store_site(store), decoded, NULL, why);
    if (e == ERR_OK)
        e = store_commit(&txn, why);
    store_abort(&txn);
    return e;
}

static enum err
append_lacking(struct store *store, const struct salvage *s, uint64_t *out_n, struct err_text *why)
{
    struct arena arena = {0};
    enum err e = arena_init(&arena, ARENA_BIG_RECORD, why);
    for (size_t i = 0; i < salvage_count(s) && e == ERR_OK; i++) {
        const struct stored *record = salvage_at(s, i);
        bool lacking = false;
        e = is_lacking(store, record, &lacking, why);
        if (e == ERR_OK && lacking)
            e = append_again(store, record, &arena, why);
        if (e == ERR_OK && lacking) {
            (void)printf("epoch %" PRIu32 ": record %" PRIu64 " was only there: written again\n",
                         record->epoch, record->seq);
            ++*out_n;
        }
    }
    arena_done(&arena);
    return e;
}

/* Every store that was set aside, against the one that is there. */
static enum err
take_rest(const char *dir, struct store *store, struct err_text *why)
{
    char name[32], path[PATH_SIZE];
    uint64_t n = 0;
    int asides = 0;
    /* of a rescue that was cut short, before the exchange or after it */
    enum err e = file_there(dir, FRESH) ? put_aside(dir, FRESH, name, why) : ERR_OK;
    for (aside_name(1, name); e == ERR_OK && file_there(dir, name); aside_name(asides + 1, name)) {
        struct salvage *s = NULL;
        asides++;
        e = path_join(dir, name, path, why);
        if (e == ERR_OK)
            e = salvage_read(path, store_site(store), &s, why);
        if (e == ERR_OK)
            e = append_lacking(store, s, &n, why);
        else if (e == ERR_NOT_FOUND)
            e = ERR_OK; /* a new store that was never begun */
        salvage_free(s);
    }
    if (e == ERR_OK && asides == 0)
        (void)printf("the store is whole, nothing was set aside: nothing to do\n");
    else if (e == ERR_OK)
        (void)printf("the store is whole; %" PRIu64
                     " records that only an older store had were written again\n",
                     n);
    return e;
}

enum err
cafe_rescue(const char *dir, const struct config *config, struct err_text *why)
{
    struct store *store = NULL;
    if (!file_there(dir, "store"))
        return err_set(ERR_NOT_FOUND, why, "%.300s has no store yet: nothing to rescue", dir);
    enum err e = folder_check_owner(dir, why);
    if (e == ERR_OK)
        e = look(dir, config, &store, why);
    if (e == ERR_OK)
        e = take_rest(dir, store, why);
    store_close(store);
    return e == ERR_DAMAGED ? replace(dir, config, why) : e;
}
