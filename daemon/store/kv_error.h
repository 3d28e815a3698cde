/* kv_error.h - LMDB's and the system's error numbers as ours, in words.
 */
#ifndef DAEMON_STORE_KV_ERROR_H
#define DAEMON_STORE_KV_ERROR_H

#include <stdbool.h>
#include <stdint.h>
#include "proto/err.h"

/* Where it happened, for the words. */
struct kv_where {
    const char *dir;   /* read */
    uint64_t map_mib;  /* the map's size now */
    uint64_t most_mib; /* and at most */
};

/* `rc` from LMDB (its own codes, or errno), while doing `what`; 0 gives ERR_OK. */
enum err kv_error(int rc, const char *what, const struct kv_where *where, struct err_text *why);

/* After this the environment must be opened again: an answer of the disk is not known. */
bool kv_error_is_final(int rc);
bool kv_error_is_no_room(int rc); /* on the disk, not in the map */

/* "cannot VERB PATH: ..." for an errno. */
enum err kv_error_system(int error_number, const char *verb, const char *path,
                         struct err_text *why);

#endif
