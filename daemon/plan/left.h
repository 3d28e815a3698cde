/* left.h - what is left of stations, work, ingredients and cold store while batches are added. */
#ifndef DAEMON_PLAN_LEFT_H
#define DAEMON_PLAN_LEFT_H

#include "daemon/plan/problem.h"

/* All numbers are exact and never below zero once every batch was within left_most_grams(). */
struct left {
    const struct problem *p; /* lent */
    int *stations;           /* by day */
    int64_t *labour_ms;      /* by day */
    int64_t *part_mg;        /* by ingredient and day: of all that is there by that day */
    int64_t late_ul; /* cold store for what gets ready after the plan: nobody can pour that away */
};

/* Yours: left_done(). ERR_MEM. */
enum err left_init(struct left *l, const struct problem *p, struct err_text *why);
void left_done(struct left *l);

/* The most grounds one batch of `recipe` from `day` to `ready` may have by rules 4 to 8e; below
 * zero: no batch at all. It may be less than puck_min_g. */
int64_t left_most_grams(const struct left *l, int recipe, int day, int ready);

/* Takes (sign 1) or gives back (sign -1) what a batch of `g` grams uses. */
void left_use(struct left *l, int recipe, int day, int ready, int64_t g, int sign);

#endif
