/* branch.c - writes the second way of a fork again, in a new epoch. */
#include "daemon/sync/branch.h"

#include <stdlib.h>
#include <string.h>

#include "daemon/record/record.h"
#include "daemon/sync/wire.h"

static const char note_name[] = "sync.branches"; /* struct branch after struct branch */

enum err
branch_list(struct store_view *view, struct branch out[BRANCHES_MOST], size_t *out_n,
            struct err_text *why)
{
    size_t len = 0;
    enum err e =
        store_noted(view, note_name, out, sizeof(struct branch) * BRANCHES_MOST, &len, why);
    if (e != ERR_OK && e != ERR_NOT_FOUND)
        return e;
    *out_n = e == ERR_OK ? len / sizeof(struct branch) : 0;
    return ERR_OK;
}

uint64_t
branch_standing(const struct branch *branches, size_t n, const struct log_mark *log)
{
    uint64_t standing = log->seq;
    for (size_t i = 0; i < n; i++) {
        bool same =
            branches[i].epoch == log->epoch && memcmp(branches[i].mark, log->mark, MARK_SIZE) == 0;
        if (same && branches[i].seq <= standing)
            standing = branches[i].seq - 1;
    }
    return standing;
}

/* Appends the records of `log` from `seq` on to the own log of `site`. */
static enum err
copy_records(struct store_txn *txn, const char *site, const struct log_mark *log, uint64_t seq,
             struct arena *arena, struct err_text *why)
{
    uint8_t *bytes = malloc(RECORD_BIG_MAX);
    enum err e = bytes != NULL ? ERR_OK : err_set(ERR_MEM, why, "out of memory");
    while (e == ERR_OK) {
        struct stored stored, again;
        Knockbox__Record *record = NULL;
        size_t n = 0;
        e = store_read_log(store_txn_view(txn), site, log->epoch, log->mark, seq++, 1,
                           RECORD_BIG_MAX, &stored, &n, why);
        if (e != ERR_OK || n == 0)
            break;
        memcpy(bytes, stored.bytes, stored.len); /* the next write may move what is lent */
        arena_reset(arena);
        e = record_decode(bytes, stored.len, false, arena, &record, why);
        if (e == ERR_OK)
            e = store_append(txn, site, record, &again, why);
    }
    free(bytes);
    return e;
}

/* The epoch that is appended to now. */
static enum err
current_epoch(struct store_txn *txn, const char *site, uint32_t *out_epoch, struct err_text *why)
{
    struct log_mark *logs = calloc(WIRE_MARKS, sizeof *logs);
    size_t n = 0;
    if (logs == NULL)
        return err_set(ERR_MEM, why, "out of memory");
    enum err e = store_marks(store_txn_view(txn), site, logs, WIRE_MARKS, &n, why);
    for (size_t i = 0; e == ERR_OK && i < n && i < WIRE_MARKS; i++)
        if (logs[i].own)
            *out_epoch = logs[i].epoch;
    free(logs);
    return e;
}

static enum err
write_all(struct store_txn *txn, const char *site, const struct log_mark *log, uint64_t seq,
          uint32_t above, struct arena *arena, struct branch *branches, size_t n,
          struct err_text *why)
{
    struct branch *fresh = &branches[n];
    if (n == BRANCHES_MOST)
        return err_set(ERR_FULL, why, "the log of site %s went two ways %d times", site,
                       BRANCHES_MOST);
    enum err e = store_new_epoch(txn, site, above > log->epoch ? above : log->epoch, why);
    if (e == ERR_OK)
        e = copy_records(txn, site, log, seq, arena, why);
    memset(fresh, 0, sizeof *fresh);
    fresh->epoch = log->epoch;
    memcpy(fresh->mark, log->mark, MARK_SIZE);
    fresh->seq = seq;
    if (e == ERR_OK)
        e = current_epoch(txn, site, &fresh->into, why);
    if (e == ERR_OK)
        e = store_note(txn, note_name, branches, (n + 1) * sizeof *branches, why);
    return e;
}

enum err
branch_write(struct store *store, const char *site, const struct log_mark *log, uint64_t seq,
             uint32_t above, uint32_t *out_into, struct err_text *why)
{
    struct store_txn *txn = NULL;
    struct arena arena = {0};
    struct log_mark whole = *log;
    struct branch *branches = calloc(BRANCHES_MOST + 1, sizeof *branches);
    size_t n = 0;
    enum err e = branches != NULL ? ERR_OK : err_set(ERR_MEM, why, "out of memory");
    if (e == ERR_OK)
        e = arena_init(&arena, ARENA_BIG_RECORD, why);
    if (e == ERR_OK)
        e = store_begin(store, &txn, why);
    if (e == ERR_OK)
        e = branch_list(store_txn_view(txn), branches, &n, why);
    whole.seq = UINT64_MAX;
    if (e == ERR_OK && branch_standing(branches, n, &whole) < seq)
        e = err_set(ERR_NOT_FOUND, why, "settled already");
    if (e == ERR_OK)
        e = write_all(txn, site, log, seq, above, &arena, branches, n, why);
    if (e == ERR_OK)
        e = store_commit(&txn, why);
    if (e == ERR_OK)
        *out_into = branches[n].into;
    store_abort(&txn);
    arena_done(&arena);
    free(branches);
    return e;
}
