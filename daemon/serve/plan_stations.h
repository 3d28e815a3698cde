/* plan_stations.h - which batch holds which straining station; inside of daemon/serve.
 */
#ifndef DAEMON_SERVE_PLAN_STATIONS_H
#define DAEMON_SERVE_PLAN_STATIONS_H

#include <jansson.h>
#include "daemon/plan/plan.h"
#include "daemon/serve/call.h"

enum {
    STATIONS_MOST = 256
};

/* A batch of the books that is mixed and has no bottles yet. */
struct under_way {
    char batch[65], recipe[65], product[65], vessel[65];
    char station[65];  /* where it was strained last, "" before */
    int32_t mixed_day; /* local */
    int64_t grounds_g;
    bool started, ended; /* straining */
    bool taken;          /* for who looks through the list */
};

struct under_way_list {
    struct under_way *batches; /* by code */
    size_t n, room;
    const char *site;
    bool no_memory;
};

/* Of one site, or of all (NULL). Filled with zeros before; under_way_done(). */
enum err under_way_load(struct call *call, const char *site, struct under_way_list *out_list,
                        struct err_text *why);
void under_way_done(struct under_way_list *list);

/* Codes of the filter stations in use on the day, bytewise; lent by the catalogue. Their number. */
size_t station_codes(const struct catalogue *catalogue, int32_t day,
                     const char *out_codes[STATIONS_MOST]);

/* Adds "stations" and "strain" (plan_detail.h). Stations are alike, so a batch gets the first that
 * is free for as long as it needs one; one that strains now keeps its own. */
enum err plan_stations(struct call *call, const struct problem *p, const struct plan *plan,
                       int32_t today, json_t *view, struct err_text *why);

#endif
