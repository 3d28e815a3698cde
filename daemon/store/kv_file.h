/* kv_file.h - is data.mdb whole? Read by plain reads, before LMDB maps it.
 *
 * LMDB keeps no checksums and trusts the page numbers in the file, so a damaged file must be found
 * before it is handed over. Layout: docs/store-format.md, "Pages".
 */
#ifndef DAEMON_STORE_KV_FILE_H
#define DAEMON_STORE_KV_FILE_H

#include "daemon/store/kv_dir.h"
#include "proto/err.h"

/* ERR_FORMAT: not such a file, or of another version or page size. ERR_DAMAGED: torn or cut. The
 * file is only read. */
enum err kv_file_check_head(const struct kv_dir *dir, struct err_text *why);

#endif
