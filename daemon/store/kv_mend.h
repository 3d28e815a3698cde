/* kv_mend.h - one of the two head pages is rubbish, or has a wrong number; the other one is good.
 *
 * A wrong number (kv_number.h) is put right, and nothing is missing then. Of rubbish:
 *
 * LMDB refuses such a file, though all is there but perhaps the last commit. The good page is copied
 * over the bad one as the older of the two. The bad page is put aside first, in DIR/head.bad: as
 * long as that file has this name, whoever opens the store must reckon with a commit that is missing.
 */
#ifndef DAEMON_STORE_KV_MEND_H
#define DAEMON_STORE_KV_MEND_H

#include "daemon/store/kv_dir.h"
#include "proto/err.h"

/* Mends DIR/data.mdb if it can: exactly one head page has a fault, and every page that the other one
 * leads to is whole. *out_numbered: it was a number. ERR_NOT_FOUND: it is not so, nothing was
 * changed. ERR_FULL, ERR_IO: it could not be written; a next try begins anew. */
enum err kv_mend(const struct kv_dir *dir, bool *out_numbered, struct err_text *why);

/* Was it mended, and nobody has said kv_mend_settled() since? */
bool kv_mend_pending(const struct kv_dir *dir);
/* Gives DIR/head.bad a name that stays, `head.bad.1` or so: *out_name (of 32 bytes). */
enum err kv_mend_settled(const struct kv_dir *dir, char out_name[32], struct err_text *why);

#endif
