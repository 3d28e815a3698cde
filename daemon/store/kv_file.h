/* kv_file.h - is data.mdb whole? Read by plain reads, before LMDB maps it.
 *
 * LMDB keeps no checksums and trusts the page numbers in the file, so a damaged file must be found
 * before it is handed over: else it answers with other data, or ends the process.
 */
#ifndef DAEMON_STORE_KV_FILE_H
#define DAEMON_STORE_KV_FILE_H

#include <stdbool.h>
#include "daemon/store/kv_dir.h"
#include "proto/err.h"

/* Follows every page of a file up to 64 MiB (tens of milliseconds), of a larger one only its head
 * and branch pages; with `whole` every page of any file. Nothing may write meanwhile.
 * ERR_FORMAT: not such a file, or of another version or page size. ERR_DAMAGED: torn or cut. The
 * file is only read. */
enum err kv_file_check(const struct kv_dir *dir, bool whole, struct err_text *why);

#endif
