/* pickups.h - which tubs go with which van: the pick-up lists of the plan that stands.
 */
#ifndef DAEMON_SERVE_PICKUPS_H
#define DAEMON_SERVE_PICKUPS_H

#include "daemon/serve/call.h"

struct pickup_line {
    char tub[65], run[65];
    int32_t day;
};

struct pickups {
    struct pickup_line *lines; /* by tub */
    size_t n, room;
};

/* Lists of the newest plan for runs from `today` on. Filled with zeros before; pickups_done(). */
enum err pickups_load(const struct call *call, int32_t today, struct pickups *out_pickups,
                      struct err_text *why);
const struct pickup_line *pickups_of(const struct pickups *pickups, const char *tub); /* NULL */
void pickups_done(struct pickups *pickups);

/* The lists that a site has now: the last ride of them from `today` on, if a tub is on any. A site
 * that the next plan takes nothing from has to be told, with an empty list. */
struct pickup_standing {
    char site[65], run[65];
    int32_t day;
    int64_t at_ms;
    bool tubs; /* on any list of that instant */
};

/* One a site; *out_list is yours (free). */
enum err pickups_standing(const struct call *call, int32_t today, struct pickup_standing **out_list,
                          size_t *out_n, struct err_text *why);

#endif
