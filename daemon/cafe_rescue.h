/* cafe_rescue.h - knockbox-cafe rescue: a damaged store is set aside, never deleted, and a new one
 * made of what can be read of it; the hub gives back the rest.
 */
#ifndef DAEMON_CAFE_RESCUE_H
#define DAEMON_CAFE_RESCUE_H

#include "daemon/base/config.h"
#include "proto/err.h"

/* Of a store that is damaged: sets DIR/store aside as DIR/store.damaged.N and puts a new one in its
 * place, with each log as far as its chain can be followed, and a new epoch to go on in. Of one that
 * is whole: writes what a store that was set aside has and this one has not, under the same ids, in
 * the epoch that is written to. Prints what it did and which numbers could not be read.
 * ERR_BUSY: a daemon runs. ERR_FORMAT: of a newer release; nothing was changed. */
enum err cafe_rescue(const char *dir, const struct config *config, struct err_text *why);

#endif
