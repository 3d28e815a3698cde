/* world.h - cafés, a hub, a clock and a breakable wire in one process.
 *
 * The real state machines and the real stores, in folders of their own; nothing else of the
 * programs. Messages are packed, wait in the wire and are delivered one by one, so a test can cut
 * it after any of them. Time stands still unless it is moved. Everything that happens by chance
 * comes from one seed.
 */
#ifndef TESTS_WORLD_WORLD_H
#define TESTS_WORLD_WORLD_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum {
    WORLD_CAFES = 8,
    WORLD_IMAGES = 4,
    WORLD_HUB = -1
};

struct world;

struct world *world_new(unsigned cafes, uint64_t seed);
void world_free(struct world *w);
/* TEST_SEED from the environment, else `standard`; printed when a test fails by world_say(). */
uint64_t world_seed(uint64_t standard);

/* ---- what people do */
void world_write(struct world *w, int who, unsigned n); /* café or WORLD_HUB (seen by cafés) */
void world_write_hidden(struct world *w, unsigned n);   /* in the hub's log, not for cafés */
/* One record as a line of JSON with ' for ", in the hub's log; `id` in the line names it. `seen`: the
 * cafés should get it. */
void world_write_line(struct world *w, const char *line, bool seen);

/* ---- the wire */
void world_cut(struct world *w, int cafe);  /* what is on it is lost */
void world_join(struct world *w, int cafe); /* a new connection */
/* Cuts after `n` more messages of this café's wire were delivered, either way. */
void world_cut_after(struct world *w, int cafe, unsigned n);
bool world_is_cut(const struct world *w, int cafe);
/* Chances in 1000 for each message. */
void world_weather(struct world *w, unsigned drop, unsigned twice, unsigned out_of_order);

/* ---- time */
void world_pass(struct world *w, int64_t ms);                 /* second by second, with ticks */
void world_shift_clock(struct world *w, int who, int64_t ms); /* the wall clock only */
/* Delivers, commits and ticks until nothing moves any more and all joined cafés are caught up.
 * false: it did not end. */
bool world_settle(struct world *w);
/* The same until `n` more messages were delivered that are no beat. false: it was quiet before. */
bool world_run(struct world *w, unsigned n);
/* The message that is sent as the n-th from now on any wire is held back for so long, and overtaken. */
void world_hold(struct world *w, unsigned n, int64_t ms);
/* It is delivered once more after that time, if its connection is still there. */
void world_repeat(struct world *w, unsigned n, int64_t ms);
/* One thing: a message, a commit, or a second of time when there is neither. */
void world_step(struct world *w);

/* ---- disks */
void world_save(struct world *w, int who, unsigned image); /* a copy of the store as it is now */
void world_put_back(struct world *w, int who,
                    unsigned image); /* machine off, copy in, machine on */
void world_restart(struct world *w, int who);
void world_wipe(struct world *w, int who); /* an empty store */
/* A second machine with the same card; returns its number. It is cut at first. */
int world_clone(struct world *w, int cafe);
int world_machines(const struct world *w); /* cafés and clones */

/* A backup of the hub as it is now, declared to the cafés; gone when the hub restarts. */
void world_back_up(struct world *w);
uint64_t world_in_backup(struct world *w, int cafe); /* own records, as the café was told */

/* ---- what is true at the end */
struct tally {
    unsigned lost;    /* written and acknowledged to a person, not at the hub */
    unsigned twice;   /* at the hub in two logs */
    unsigned foreign; /* at the hub, written by nobody */
    unsigned held;    /* different records at the hub */
};
struct tally world_tally(struct world *w, int cafe);    /* of this café's site */
unsigned world_down_missing(struct world *w, int cafe); /* records it should have seen */
unsigned world_down_extra(struct world *w, int cafe);   /* records it should not have */
unsigned world_own_missing(struct world *w, int cafe); /* of its site's records, not in its store */
bool world_chains_fit(struct world *w);                /* every store verifies */
bool world_forked(struct world *w, int cafe);          /* the hub says so */
unsigned world_epochs(struct world *w, int cafe);      /* own epochs at the café */
uint64_t world_behind(struct world *w, int cafe);      /* as the hub shows it */
int64_t world_offset(struct world *w, int cafe);       /* as the hub shows it */
bool world_online(struct world *w, int cafe);
bool world_other_hub(struct world *w, int cafe); /* the café says: another store than before */
unsigned world_delivered(const struct world *w, int cafe);     /* messages on its wire so far */
void world_last_id(const struct world *w, uint8_t out_id[16]); /* of the record written last */
struct store *world_store(struct world *w, int who);           /* lent until the next restart */
unsigned world_chance(struct world *w, unsigned below);        /* 0..below-1 */

#endif
