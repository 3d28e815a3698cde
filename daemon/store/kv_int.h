/* kv_int.h - what kv.c and kv_data.c share; nobody else includes it.
 */
#ifndef DAEMON_STORE_KV_INT_H
#define DAEMON_STORE_KV_INT_H

#include "daemon/store/kv.h"
#include "daemon/store/kv_dir.h"

/* `broken` is the first LMDB code that spoilt it; a commit gives that again. A read's `txn` is
 * kept when it ends and renewed by the next one. */
struct kv_txn {
    struct kv *kv;
    MDB_txn *txn;
    bool open, writes;
    int broken;
};

struct kv {
    MDB_env *env;
    struct kv_dir dir;
    struct kv_options options;
    struct kv_txn write, read;
    bool unmapped; /* and failed: nothing of the file can be looked at */
    bool failed;   /* a flush or write failed: nothing more until it is opened again */
    bool numbered; /* at opening a head page got its number back */
    bool outgrown; /* a transaction did not fit: double the map before the next */
};

/* `rc` of LMDB in words, remembering what it means for transaction (may be NULL) and environment. */
enum err kv_told(struct kv *kv, struct kv_txn *txn, int rc, const char *what, struct err_text *why);

#endif
