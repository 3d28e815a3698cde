/* hub_follow.h - which records of the hub's own log a site gets, corrections among them.
 *
 * A correction goes where what it corrects has gone, or where what it becomes may be seen; what it
 * corrects goes along when the site has not got that. Nothing goes down a chain that holds, at any
 * place, what the site must never see (kind_secret): a price cannot be corrected into sight.
 */
#ifndef DAEMON_SYNC_HUB_FOLLOW_H
#define DAEMON_SYNC_HUB_FOLLOW_H

#include "daemon/store/store.h"
#include "proto/codec.h"

enum {
    FOLLOW_MOST = 16 /* corrections of corrections; a longer chain does not go */
};

/* What has to go before a record, oldest first; pointers are lent by the view. */
struct follow {
    struct stored before[FOLLOW_MOST];
    size_t n;
};

/* Does `record`, of the hub's log in `view`, go to `site`? Fills *out_before. `arena` is room for one
 * record, reset on the way. */
bool hub_follow(struct store_view *view, const char *hub_site, const struct stored *record,
                const char *site, struct arena *arena, struct follow *out_before);

/* Can `record` never go to any site, whatever it is and whatever comes later? */
bool hub_follow_never(const struct stored *record, struct arena *arena);

#endif
