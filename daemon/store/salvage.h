/* salvage.h - what can still be read of a store that does not open.
 *
 * LMDB is not asked: every page of data.mdb is looked at by itself, pages that are free now as well.
 * A record counts when its row's check fits and its bytes are a record of the site and number that
 * the row says. Nothing is written.
 */
#ifndef DAEMON_STORE_SALVAGE_H
#define DAEMON_STORE_SALVAGE_H

#include "daemon/store/store.h"

struct salvage;

/* All records of `site` that stand whole in FOLDER/data.mdb. *out_salvage is yours.
 * ERR_NOT_FOUND: no such file. ERR_IO: it cannot be read (a piece that the disk does not give is
 * passed over). */
enum err salvage_read(const char *folder, const char *site, struct salvage **out_salvage,
                      struct err_text *why);
void salvage_free(struct salvage *salvage); /* NULL is fine */

size_t salvage_count(const struct salvage *salvage);
/* The i-th, by epoch, mark, seq; each once. Lent; lsn is 0, site is the one asked for. */
const struct stored *salvage_at(const struct salvage *salvage, size_t i);

#endif
