/* kv_number.h - does each head page have the number of the commit that it holds?
 *
 * LMDB keeps no checksums, and the head page with the higher number is the store: one flipped bit in
 * a number can make the older one the newer, and the store what it was a commit ago. But each commit
 * notes the pages that it frees under its own number in the list of free pages, and may not use those
 * of the commit before: that list ends with that number and its own. Only the first commit frees
 * none. (lmdb 0.9.24, mdb.c: mdb_freelist_save, mdb_find_oldest)
 */
#ifndef DAEMON_STORE_KV_NUMBER_H
#define DAEMON_STORE_KV_NUMBER_H

#include "daemon/store/kv_page.h"
#include "proto/err.h"

/* Which head page (0, 1) has another number than its commit, while with *out_number it fits the other
 * page and the file is whole; -1: none. A flipped bit, or LMDB's own answer to a head page that it
 * could not write (mdb_env_write_meta: the new roots under the old number). Reads two to four pages;
 * more only when there is one. `fd` is the open file of `bytes`. */
int kv_number_wrong(int fd, const struct page_head heads[2], uint64_t bytes, uint64_t *out_number);
/* Writes the number to head page `page` and flushes it. ERR_IO. */
enum err kv_number_write(int fd, int page, uint64_t number);

#endif
