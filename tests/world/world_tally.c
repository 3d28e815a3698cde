/* world_tally.c - what is true at the end: what is where, and what the machines say of each other. */
#include <stdlib.h>

#include "tests/world/world_int.h"

static int
by_id(const void *a, const void *b)
{
    return memcmp(a, b, 16);
}

/* Ids of the records of one site in a store, sorted; with what a café may not see left out. */
static unsigned
ids_at(struct store *store, const char *site, uint8_t (*out)[16])
{
    struct store_view *view = NULL;
    struct store_walk *walk = NULL;
    struct stored stored;
    unsigned n = 0;
    must(store_look(store, &view, why));
    must(store_walk_open(view, 1, &walk, why));
    while (store_next(walk, &stored, NULL) == ERR_OK)
        if (strcmp(stored.site, site) == 0)
            memcpy(out[n++], stored.id, 16);
    store_walk_close(walk);
    store_done(&view);
    qsort(out, n, 16, by_id);
    return n;
}

struct tally
world_tally(struct world *w, int cafe)
{
    struct tally tally = {0, 0, 0, 0};
    uint8_t(*ids)[16] = calloc(IDS_MOST, 16);
    uint8_t(*mine)[16] = calloc(IDS_MOST, 16);
    unsigned n = ids_at(w->hub.store, w->cafes[cafe].site, ids), n_mine = 0;
    for (unsigned i = 0; i < w->n_written; i++)
        if (w->written[i].site == cafe)
            memcpy(mine[n_mine++], w->written[i].id, 16);
    qsort(mine, n_mine, 16, by_id);
    for (unsigned i = 0; i < n_mine; i++)
        tally.lost += bsearch(mine[i], ids, n, 16, by_id) == NULL;
    for (unsigned i = 0; i < n; i++) {
        bool again = i > 0 && memcmp(ids[i], ids[i - 1], 16) == 0;
        tally.twice += again;
        tally.held += !again;
        tally.foreign += bsearch(ids[i], mine, n_mine, 16, by_id) == NULL;
    }
    free(ids);
    free(mine);
    return tally;
}

static unsigned
down_difference(struct world *w, int cafe, bool missing)
{
    uint8_t(*ids)[16] = calloc(IDS_MOST, 16);
    uint8_t(*hub)[16] = calloc(IDS_MOST, 16);
    unsigned n = ids_at(w->cafes[cafe].store, "kitchen", ids);
    unsigned n_hub = ids_at(w->hub.store, "kitchen", hub), count = 0;
    for (unsigned i = 0; i < w->n_written; i++) {
        const struct written *r = &w->written[i];
        if (r->site != WORLD_HUB)
            continue;
        bool here = bsearch(r->id, ids, n, 16, by_id) != NULL;
        bool there = bsearch(r->id, hub, n_hub, 16, by_id) != NULL;
        count += missing ? there && !r->hidden && !here : r->hidden && here;
    }
    free(ids);
    free(hub);
    return count;
}

unsigned
world_down_missing(struct world *w, int cafe)
{
    return down_difference(w, cafe, true);
}

unsigned
world_down_extra(struct world *w, int cafe)
{
    return down_difference(w, cafe, false);
}

unsigned
world_own_missing(struct world *w, int cafe)
{
    uint8_t(*ids)[16] = calloc(IDS_MOST, 16);
    unsigned n = ids_at(w->cafes[cafe].store, w->cafes[cafe].site, ids), missing = 0;
    for (unsigned i = 0; i < w->n_written; i++)
        missing +=
            w->written[i].site == cafe && bsearch(w->written[i].id, ids, n, 16, by_id) == NULL;
    free(ids);
    return missing;
}

bool
world_chains_fit(struct world *w)
{
    uint64_t checked = 0;
    bool fit = store_verify(w->hub.store, &checked, NULL) == ERR_OK;
    for (unsigned i = 0; i < w->n; i++)
        fit = fit && store_verify(w->cafes[i].store, &checked, NULL) == ERR_OK;
    return fit;
}

static struct hub_site
hub_view(struct world *w, int cafe)
{
    struct hub_site sites[64], none = {.last_seen_ms = -1};
    size_t n = hub_machine_sites(w->hub.hub_machine, sites, 64);
    for (size_t i = 0; i < n; i++)
        if (strcmp(sites[i].site, w->cafes[cafe].site) == 0)
            return sites[i];
    return none;
}

bool
world_forked(struct world *w, int cafe)
{
    return hub_view(w, cafe).forked;
}

uint64_t
world_behind(struct world *w, int cafe)
{
    return hub_view(w, cafe).behind;
}

int64_t
world_offset(struct world *w, int cafe)
{
    return hub_view(w, cafe).clock_offset_ms;
}

bool
world_online(struct world *w, int cafe)
{
    return hub_view(w, cafe).online;
}

bool
world_other_hub(struct world *w, int cafe)
{
    return site_machine_link(w->cafes[cafe].site_machine).other_hub;
}

unsigned
world_epochs(struct world *w, int cafe)
{
    struct store_view *view = NULL;
    struct log_mark marks[64];
    size_t n = 0;
    must(store_look(w->cafes[cafe].store, &view, why));
    must(store_marks(view, w->cafes[cafe].site, marks, 64, &n, why));
    store_done(&view);
    return (unsigned)n;
}

unsigned
world_delivered(const struct world *w, int cafe)
{
    return w->cafes[cafe].delivered;
}

void
world_back_up(struct world *w)
{
    struct store_view *view = NULL;
    struct backed backed = {.made_ms = w->now_ms};
    memcpy(backed.generation, store_generation(w->hub.store), MARK_SIZE);
    must(store_look(w->hub.store, &view, why));
    must(store_marks(view, NULL, NULL, 0, &backed.n, why));
    backed.marks = calloc(backed.n + 1, sizeof *backed.marks);
    must(store_marks(view, NULL, backed.marks, backed.n, &backed.n, why));
    store_done(&view);
    hub_machine_backed(w->hub.hub_machine, &backed);
}

uint64_t
world_in_backup(struct world *w, int cafe)
{
    return site_machine_link(w->cafes[cafe].site_machine).in_backup;
}
