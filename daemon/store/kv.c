/* kv.c - the environment and its transactions. */
#include "daemon/store/kv.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <unistd.h>
#include "daemon/store/kv_error.h"
#include "daemon/store/kv_file.h"
#include "daemon/store/kv_int.h"
#include "daemon/store/kv_mend.h"

enum {
    MOST_TABLES = 128,
    MODE = 0600,
    LOCK_BYTES = 8192
};
static const uint64_t mib = (uint64_t)1 << 20;
/* A group of 1000 records of 4 KiB with their indexes, and what the ledger adds, fits in this. */
static const uint64_t group_bytes = (uint64_t)32 << 20;

static uint64_t
map_bytes(const struct kv *kv)
{
    MDB_envinfo info = {0};
    if (!kv->unmapped)
        (void)mdb_env_info(kv->env, &info);
    return info.me_mapsize;
}

static uint64_t
used_bytes(const struct kv *kv)
{
    MDB_envinfo info = {0};
    MDB_stat stat = {0};
    if (kv->unmapped)
        return 0;
    (void)mdb_env_info(kv->env, &info);
    (void)mdb_env_stat(kv->env, &stat);
    return (info.me_last_pgno + 1) * stat.ms_psize;
}

static enum err
told(struct kv *kv, int rc, const char *what, struct err_text *why)
{
    if (rc == 0)
        return ERR_OK;
    uint64_t now = kv->env != NULL ? map_bytes(kv) / mib : 0;
    struct kv_where where = {kv->dir.path, now, kv->options.most_mib};
    kv->failed = kv->failed || kv_error_is_final(rc);
    kv->outgrown = kv->outgrown || rc == MDB_MAP_FULL;
    return kv_error(rc, what, &where, why);
}

enum err
kv_told(struct kv *kv, struct kv_txn *txn, int rc, const char *what, struct err_text *why)
{
    if (rc == MDB_BAD_TXN && txn != NULL && txn->broken != 0)
        rc = txn->broken;
    if (rc != 0 && txn != NULL && txn->writes && txn->broken == 0)
        txn->broken = rc;
    return told(kv, rc, what, why);
}

/* ---- opening */

static struct kv_options
with_defaults(const struct kv_options *options)
{
    struct kv_options o = *options;
    o.read_only = o.read_only || o.beside;
    o.map_mib = o.map_mib != 0 || o.beside ? o.map_mib : 64; /* beside: as large as the file says */
    o.most_mib = o.most_mib != 0 ? o.most_mib : 65536;
    o.map_mib = o.map_mib < o.most_mib ? o.map_mib : o.most_mib;
    return o;
}

/* An environment on `path`, which is a folder, or with MDB_NOSUBDIR a file. */
static int
open_env(const char *path, uint64_t map_mib, unsigned flags, MDB_env **out_env)
{
    MDB_env *env = NULL;
    int rc = mdb_env_create(&env);
    if (rc == 0)
        rc = mdb_env_set_maxdbs(env, MOST_TABLES);
    if (rc == 0)
        rc = mdb_env_set_mapsize(env, map_mib * mib);
    if (rc == 0)
        rc = mdb_env_open(env, path, MDB_NOTLS | flags, MODE);
    if (rc == 0)
        *out_env = env;
    else
        mdb_env_close(env); /* also after a failed open; NULL is fine */
    return rc;
}

/* An empty store under another name, flushed, then given its own: data.mdb is whole or not there. */
static enum err
create(struct kv *kv, struct err_text *why)
{
    char path[4096];
    if ((size_t)snprintf(path, sizeof path, "%s/data.new", kv->dir.path) >= sizeof path)
        return told(kv, ENAMETOOLONG, "make the store", why);
    (void)unlinkat(kv->dir.fd, "data.new", 0); /* of a start that was cut off */
    MDB_env *env = NULL;
    /* no lock file: DIR/lock is held, and one could not be written on a full disk */
    int rc = open_env(path, kv->options.map_mib, MDB_NOSUBDIR | MDB_NOLOCK, &env);
    if (rc == 0)
        rc = mdb_env_sync(env, 1);
    mdb_env_close(env);
    if (rc == 0 && renameat(kv->dir.fd, "data.new", kv->dir.fd, "data.mdb") != 0)
        rc = errno;
    if (rc != 0)
        return told(kv, rc, "make the store", why);
    return kv_dir_sync(&kv->dir, why);
}

/* LMDB writes its lock file through a map: without room behind it that would end the process. */
static enum err
reserve_lock(struct kv *kv, struct err_text *why)
{
    if (kv_dir_free(&kv->dir) < mib)
        kv_dir_ballast_drop(&kv->dir);
    return kv_dir_reserve(&kv->dir, "lock.mdb", LOCK_BYTES, why);
}

/* A file that is damaged in one head page alone is mended, then looked at again. */
static enum err
check_or_mend(struct kv *kv, struct err_text *why)
{
    struct err_text mending = {.s = ""};
    enum err e = kv_file_check(&kv->dir, false, why);
    if (e != ERR_DAMAGED || kv->options.read_only)
        return e;
    enum err mended = kv_mend(&kv->dir, &kv->numbered, &mending);
    if (mended == ERR_NOT_FOUND)
        return e;
    if (mended != ERR_OK && why != NULL)
        *why = mending;
    return mended == ERR_OK ? kv_file_check(&kv->dir, false, why) : mended;
}

static enum err
open_in_dir(struct kv *kv, struct err_text *why)
{
    bool there = kv_dir_has(&kv->dir, "data.mdb");
    if (!there && kv->options.read_only)
        return err_set(ERR_NOT_FOUND, why, "%s: holds no store", kv->dir.path);
    enum err e = there ? check_or_mend(kv, why) : create(kv, why);
    if (e == ERR_OK)
        e = reserve_lock(kv, why);
    if (e != ERR_OK)
        return e;
    int rc = open_env(kv->dir.path, kv->options.map_mib, kv->options.read_only ? MDB_RDONLY : 0,
                      &kv->env);
    if (rc == 0)
        rc = mdb_reader_check(kv->env, NULL); /* slots of a process that was killed */
    return told(kv, rc, "open the store", why);
}

/* Beside a process that may have it open: the file is looked at only when none has, for it changes
 * under the eyes of who looks. That process has looked when it opened it. */
static enum err
open_beside(struct kv *kv, struct err_text *why)
{
    if (!kv_dir_has(&kv->dir, "data.mdb"))
        return err_set(ERR_NOT_FOUND, why, "%s: holds no store", kv->dir.path);
    enum err e = kv_dir_lock(&kv->dir, why);
    if (e == ERR_OK)
        e = kv_file_check(&kv->dir, false, why);
    else if (e == ERR_BUSY)
        e = ERR_OK;
    kv_dir_unlock(&kv->dir);
    if (e == ERR_OK)
        e = kv_dir_reserve(&kv->dir, "lock.mdb", LOCK_BYTES, why);
    if (e != ERR_OK)
        return e;
    kv_dir_give(&kv->dir, "lock");
    kv_dir_give(&kv->dir, "lock.mdb");
    return told(kv, open_env(kv->dir.path, kv->options.map_mib, MDB_RDONLY, &kv->env),
                "open the store", why);
}

enum err
kv_open(const char *dir, const struct kv_options *options, struct kv **out_kv, struct err_text *why)
{
    struct kv *kv = calloc(1, sizeof *kv);
    if (kv == NULL)
        return err_set(ERR_MEM, why, "%s: out of memory", dir);
    kv->options = with_defaults(options);
    kv->write = (struct kv_txn){.kv = kv, .writes = true};
    kv->read = (struct kv_txn){.kv = kv};
    kv->dir = (struct kv_dir){.fd = -1, .lock_fd = -1};
    enum err e = options->beside
                     ? kv_dir_look(dir, &kv->dir, why)
                     : kv_dir_open(dir, options->read_only, options->ballast_kib, &kv->dir, why);
    if (e == ERR_OK)
        e = options->beside ? open_beside(kv, why) : open_in_dir(kv, why);
    if (e != ERR_OK) {
        kv_close(kv);
        return e;
    }
    *out_kv = kv;
    return ERR_OK;
}

void
kv_close(struct kv *kv)
{
    if (kv == NULL)
        return;
    if (kv->write.open)
        mdb_txn_abort(kv->write.txn);
    mdb_txn_abort(kv->read.txn); /* NULL is fine */
    mdb_env_close(kv->env);
    kv_dir_close(&kv->dir); /* the lock last */
    free(kv);
}

/* ---- transactions */

/* May a transaction begin at all? */
static enum err
may_begin(struct kv *kv, const struct kv_txn *txn, struct err_text *why)
{
    if (kv->failed)
        return told(kv, MDB_PANIC, txn->writes ? "write" : "read", why);
    if (txn->open)
        return err_set(ERR_BUSY, why, "%s: a %s transaction is open already", kv->dir.path,
                       txn->writes ? "write" : "read");
    if (txn->writes && kv->options.read_only)
        return err_set(ERR_DENIED, why, "%s: opened for reading only", kv->dir.path);
    return ERR_OK;
}

/* Another process may have grown the map (a restore or check tool). */
static int
begin(struct kv *kv, unsigned flags, MDB_txn **out_txn)
{
    int rc = mdb_txn_begin(kv->env, NULL, flags, out_txn);
    if (rc == MDB_MAP_RESIZED && !kv->read.open && !kv->write.open) {
        rc = mdb_env_set_mapsize(kv->env, 0);
        if (rc == 0)
            rc = mdb_txn_begin(kv->env, NULL, flags, out_txn);
    }
    return rc;
}

/* Is there address space for `more` bytes? LMDB gives the old map up before it takes a larger one,
 * so this must be known before. */
static int
probe_space(uint64_t more)
{
    void *at = mmap(NULL, more, PROT_NONE, MAP_PRIVATE | MAP_ANONYMOUS | MAP_NORESERVE, -1, 0);
    if (at == MAP_FAILED)
        return errno;
    (void)munmap(at, more);
    return 0;
}

static int
resize(struct kv *kv, uint64_t more, uint64_t want)
{
    int rc = probe_space(more);
    if (rc != 0)
        return rc;
    mdb_txn_abort(kv->read.txn); /* a kept one knows the old map; NULL is fine */
    kv->read.txn = NULL;
    rc = mdb_env_set_mapsize(kv->env, want);
    kv->unmapped = kv->failed = rc != 0;
    return rc;
}

/* Doubles the map while it is three quarters full or has no room for a group. Only while nothing
 * is open: the map may move. ERR_MEM: it had to grow and could not. */
static enum err
grow(struct kv *kv, struct err_text *why)
{
    uint64_t map = map_bytes(kv), used = used_bytes(kv), most = kv->options.most_mib * mib;
    bool must = kv->outgrown;
    uint64_t want = must ? map * 2 : map;
    while (want < most && (used > want / 4 * 3 || want - used < group_bytes))
        want *= 2;
    want = want < most ? want : most;
    if (want <= map || kv->read.open)
        return ERR_OK;
    int rc = resize(kv, want - map, want);
    kv->outgrown = must && rc != 0;
    return must || kv->failed ? told(kv, rc, "grow the map", why) : ERR_OK;
}

enum err
kv_write(struct kv *kv, struct kv_txn **out_txn, struct err_text *why)
{
    struct kv_txn *txn = &kv->write;
    enum err e = may_begin(kv, txn, why);
    if (e == ERR_OK)
        e = grow(kv, why);
    if (e != ERR_OK)
        return e;
    if (kv_dir_free(&kv->dir) < kv->dir.ballast / 4)
        kv_dir_ballast_drop(&kv->dir); /* now it is needed */
    e = told(kv, begin(kv, 0, &txn->txn), "begin a write", why);
    if (e != ERR_OK)
        return e;
    txn->open = true;
    txn->broken = 0;
    *out_txn = txn;
    return ERR_OK;
}

enum err
kv_read(struct kv *kv, struct kv_txn **out_txn, struct err_text *why)
{
    struct kv_txn *txn = &kv->read;
    enum err e = may_begin(kv, txn, why);
    if (e != ERR_OK)
        return e;
    int rc = txn->txn != NULL ? mdb_txn_renew(txn->txn) : begin(kv, MDB_RDONLY, &txn->txn);
    e = told(kv, rc, "begin a read", why);
    if (e != ERR_OK)
        return e;
    txn->open = true;
    *out_txn = txn;
    return ERR_OK;
}

/* A failed write of a head page shows only at the next begin: ask at once. */
static void
probe(struct kv *kv)
{
    MDB_txn *txn = NULL;
    int rc = mdb_txn_begin(kv->env, NULL, 0, &txn);
    if (rc == 0)
        mdb_txn_abort(txn);
    kv->failed = kv->failed || kv_error_is_final(rc);
}

/* LMDB answers EIO both when the disk fails and when a write falls short; in the second case, which
 * is how a disk usually turns out to be full, no call has failed and errno stays as it was. */
static int
commit(MDB_txn *txn)
{
    errno = 0;
    int rc = mdb_txn_commit(txn);
    return rc == EIO && errno == 0 ? ENOSPC : rc;
}

enum err
kv_commit(struct kv_txn **txn_at, struct err_text *why)
{
    struct kv_txn *txn = *txn_at;
    struct kv *kv = txn->kv;
    if (!txn->writes || txn->broken != 0) {
        int broken = txn->broken;
        kv_abort(txn_at);
        return told(kv, broken, "commit", why);
    }
    *txn_at = NULL;
    txn->open = false; /* commit ends the transaction, also when it fails */
    int rc = commit(txn->txn);
    txn->txn = NULL;
    if (rc == 0)
        return ERR_OK;
    if (kv_error_is_no_room(rc))
        kv_dir_ballast_drop(&kv->dir); /* so that the next, a closing record, has room */
    enum err e = told(kv, rc, "commit", why);
    if (!kv->failed)
        probe(kv);
    return e;
}

void
kv_abort(struct kv_txn **txn_at)
{
    struct kv_txn *txn = *txn_at;
    *txn_at = NULL;
    if (txn == NULL)
        return;
    txn->open = false;
    if (!txn->writes) {
        mdb_txn_reset(txn->txn); /* kept for the next read, holds nothing */
        return;
    }
    mdb_txn_abort(txn->txn);
    txn->txn = NULL;
}

bool
kv_failed(const struct kv *kv)
{
    return kv->failed;
}

/* ---- tables, sizes, copy */

static enum err
open_table(struct kv *kv, const char *name, unsigned flags, MDB_dbi *out_table,
           struct err_text *why)
{
    struct kv_txn *txn = NULL;
    enum err e = (flags & MDB_CREATE) != 0 ? kv_write(kv, &txn, why) : kv_read(kv, &txn, why);
    if (e != ERR_OK)
        return e;
    MDB_dbi table = 0;
    int rc = mdb_dbi_open(txn->txn, name, flags, &table);
    if (rc == 0 && !txn->writes) { /* only a committed transaction keeps the handle */
        rc = mdb_txn_commit(txn->txn);
        txn->txn = NULL;
        txn->open = false;
    } else if (rc == 0) {
        e = kv_commit(&txn, why);
    } else {
        kv_abort(&txn);
    }
    if (rc != 0)
        return rc == MDB_NOTFOUND
                   ? err_set(ERR_NOT_FOUND, why, "%s: has no table %s", kv->dir.path, name)
                   : told(kv, rc, "open a table", why);
    if (e == ERR_OK)
        *out_table = table;
    return e;
}

enum err
kv_table(struct kv *kv, const char *name, MDB_dbi *out_table, struct err_text *why)
{
    enum err e = open_table(kv, name, 0, out_table, why);
    if (e == ERR_NOT_FOUND && !kv->options.read_only)
        e = open_table(kv, name, MDB_CREATE, out_table, why);
    return e;
}

enum err
kv_table_there(struct kv *kv, const char *name, MDB_dbi *out_table, struct err_text *why)
{
    return open_table(kv, name, 0, out_table, why);
}

enum err
kv_is_empty(struct kv *kv, bool *out_empty, struct err_text *why)
{
    MDB_stat stat = {0};
    int rc = mdb_env_stat(kv->env, &stat); /* of the table of tables */
    if (rc == 0)
        *out_empty = stat.ms_entries == 0;
    return told(kv, rc, "look for tables", why);
}

struct kv_sizes
kv_sizes(const struct kv *kv)
{
    return (struct kv_sizes){
        .map_bytes = map_bytes(kv),
        .used_bytes = used_bytes(kv),
        .most_bytes = kv->options.most_mib * mib,
        .disk_free = kv_dir_free(&kv->dir),
        .disk_keep = kv->dir.ballast,
        .ballast = kv_dir_ballast_there(&kv->dir),
    };
}

bool
kv_mended(const struct kv *kv)
{
    return !kv->options.read_only && kv_mend_pending(&kv->dir);
}

bool
kv_numbered(const struct kv *kv)
{
    return kv->numbered;
}

enum err
kv_mend_told(struct kv *kv, char out_name[32], struct err_text *why)
{
    return kv_mend_settled(&kv->dir, out_name, why);
}

enum err
kv_check_pages(struct kv *kv, struct err_text *why)
{
    return kv_file_check(&kv->dir, true, why);
}

void
kv_upkeep(struct kv *kv)
{
    if (kv->failed || kv->read.open || kv->write.open || kv->options.read_only)
        return;
    (void)mdb_reader_check(kv->env, NULL); /* a failure shows at the next read */
    kv_dir_ballast_make(&kv->dir);
}

static int
copy_to(struct kv *kv, const char *file)
{
    int fd = open(file, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, MODE);
    if (fd < 0)
        return errno;
    int rc = mdb_env_copyfd2(kv->env, fd, 0);
    if (rc == 0 && fsync(fd) != 0)
        rc = errno;
    if (close(fd) != 0 && rc == 0)
        rc = errno;
    return rc;
}

/* The folder of `file`, flushed: its name survives a power cut. */
static int
sync_folder_of(const char *file)
{
    char folder[4096];
    const char *slash = strrchr(file, '/');
    size_t len = slash != NULL ? (size_t)(slash - file) : 0;
    (void)snprintf(folder, sizeof folder, "%.*s/", (int)len, file);
    int fd = open(slash != NULL ? folder : ".", O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (fd < 0)
        return errno;
    int rc = fsync(fd) == 0 ? 0 : errno;
    (void)close(fd);
    return rc;
}

enum err
kv_copy(struct kv *kv, const char *to_file, struct err_text *why)
{
    char part[4096];
    if ((size_t)snprintf(part, sizeof part, "%s.part", to_file) >= sizeof part)
        return kv_error_system(ENAMETOOLONG, "copy to", to_file, why);
    if (kv->write.open)
        return err_set(ERR_BUSY, why, "%s: cannot be copied inside a write", kv->dir.path);
    if (access(to_file, F_OK) == 0)
        return err_set(ERR_INPUT, why, "%s: exists already: choose another name", to_file);
    int rc = copy_to(kv, part);
    if (rc == 0 && rename(part, to_file) != 0)
        rc = errno;
    if (rc == 0)
        rc = sync_folder_of(to_file);
    else
        (void)unlink(part); /* may not be there */
    return rc == 0 ? ERR_OK : kv_error_system(rc, "copy the store to", to_file, why);
}
