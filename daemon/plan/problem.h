/* problem.h - one planning problem in integers: what there is, what may be done, what it is worth.
 *
 * Grams, millilitres, seconds, cents and day numbers; day 0 is today. A problem is read from a
 * file (problem_file.h) or filled by hand: problem_new(), set the plain numbers, allocate each
 * list with problem_list(), let the members refer to each other by their place in the lists, then
 * problem_settle(), which checks every range and reference, sorts every list by id and mends the
 * references, so that the order of what came in never matters. Solvers and checkers take settled
 * problems only. What each number means: docs/planning.md, section 2.
 */
#ifndef DAEMON_PLAN_PROBLEM_H
#define DAEMON_PLAN_PROBLEM_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "proto/err.h"

enum {
    PROBLEM_ID_SIZE = 64,       /* bytes of an id with its final zero */
    PROBLEM_PROFILES_MAX = 256, /* kinds of grounds */
    PROBLEM_PARTS_MAX = 32,     /* ingredients */
    PROBLEM_DAYS_MAX = 120,     /* days planned, and again for the tail */
    PROBLEM_RECIPES_MAX = 200,
    PROBLEM_NEVER = -1, /* no thaw day: no batch can start on this day */
};

#define PROBLEM_MOST INT64_C(1000000000) /* no amount or price is larger */

struct problem_name {
    char id[PROBLEM_ID_SIZE];
};

struct problem_site {
    char id[PROBLEM_ID_SIZE];
    int route; /* in routes */
};

/* One day of the calendar; calendar[d] is day d, 0 to days + tail_days - 1. */
struct problem_day {
    bool working;
    int thaw_day;     /* on its evening the tubs for a batch of this day go out; or PROBLEM_NEVER */
    int64_t labour_s; /* kitchen work available; not used from day `days` on */
};

struct problem_recipe {
    char id[PROBLEM_ID_SIZE];
    int product; /* in products */
    uint64_t
        takes[PROBLEM_PROFILES_MAX / 64];     /* a bit a profile: problem_take(), problem_takes() */
    int64_t puck_min_g, puck_max_g;           /* grounds in one batch */
    int64_t yield_ml_per_kg;                  /* grams times this are microlitres */
    int strain_days;                          /* 1 or more */
    int64_t need_g_per_kg[PROBLEM_PARTS_MAX]; /* by place in ingredients */
    int64_t mix_s_per_batch, mix_s_per_kg;    /* work on the day of mixing */
    int64_t bottle_s_per_batch, bottle_s_per_kg; /* work on the day of bottling */
};

struct problem_product {
    char id[PROBLEM_ID_SIZE];
    int shelf_days; /* days it may be sold, the day of bottling being the first */
    int64_t end_demand_ml, end_cents_per_l; /* what is left after the plan */
};

struct problem_delivery {
    int day; /* there in the morning */
    int64_t g;
};

struct problem_ingredient {
    char id[PROBLEM_ID_SIZE];
    int64_t stock_g, cents_per_kg;
    struct problem_delivery *deliveries;
    int deliveries_n;
};

struct problem_stock {
    int product;
    int64_t ml;
    int best_before_day; /* last day it may go out */
};

struct problem_straining { /* a batch that is in a station now */
    int recipe;
    int ready_day;
    int64_t puck_g;
};

struct problem_order { /* served on its due day and on no other; in part is fine */
    char id[PROBLEM_ID_SIZE];
    int product;
    int site; /* who ordered: in sites */
    int due_day;
    int64_t ml, cents_per_l, penalty_cents_per_l;
};

struct problem_sale { /* what the counter could sell; one line a product and day */
    int product;
    int day;
    int64_t ml, cents_per_l;
};

struct problem_run { /* a van run that may be ordered */
    char id[PROBLEM_ID_SIZE];
    int route;
    int day;
    int64_t van_g, fixed_cents, cents_per_kg;
};

enum problem_at {
    PROBLEM_AT_KITCHEN,  /* there already */
    PROBLEM_AT_SITE,     /* in the café's freezer */
    PROBLEM_AT_FORECAST, /* will be frozen at the café on frozen_day */
};

struct problem_tub {
    char id[PROBLEM_ID_SIZE];
    int site, profile;
    int64_t g;
    int frozen_day, use_by_day; /* use_by: the last day it may be put out to thaw */
    enum problem_at at;
};

struct problem_previous { /* the plan published last: batches of a recipe on a day */
    int recipe, day;
    int batches;
};

/* After problem_settle(): every list is sorted (by id; else by product or recipe, then day), no
 * id comes twice in a list, every reference is in range and every number within its limits. */
struct problem {
    char name[PROBLEM_ID_SIZE]; /* for people; nothing decides by it */
    int days, tail_days;
    int stations;
    int64_t fridge_ml, labour_cents_per_hour;
    int64_t lost_cents_per_kg;
    int previous_until_day;

    struct problem_day *calendar; /* days + tail_days of them */
    struct problem_name *profiles;
    struct problem_name *routes;
    struct problem_site *sites;
    struct problem_recipe *recipes;
    struct problem_product *products;
    struct problem_ingredient *ingredients;
    struct problem_stock *stock;
    struct problem_straining *straining;
    struct problem_order *orders;
    struct problem_sale *sales;
    struct problem_run *runs;
    struct problem_tub *tubs;
    struct problem_previous *previous;
    int64_t *late_cents_per_kg;      /* by use_by_day - days */
    int64_t *change_cents_per_batch; /* by day */
    int calendar_n, profiles_n, routes_n, sites_n, recipes_n, products_n, ingredients_n, stock_n,
        straining_n, orders_n, sales_n, runs_n, tubs_n, previous_n, late_n, change_n;
};

/* An empty problem, yours: end it with problem_free(). NULL: out of memory. */
struct problem *problem_new(void);
void problem_free(struct problem *p); /* NULL is fine */

/* Room for `n` members of `size` bytes, all zero; never NULL for n == 0. problem_free() frees what
 * hangs on the problem. ERR_MEM; ERR_INPUT: n is negative or over ten million. */
enum err problem_list(int n, size_t size, void *out_list, struct err_text *why);

/* Checks and sorts (see above). ERR_INPUT: `why` names the list, the member and the number. */
enum err problem_settle(struct problem *p, struct err_text *why);
/* By profile, then by date, then those in the kitchen first. 0: alike in these. */
int problem_tub_order(const struct problem_tub *a, const struct problem_tub *b);

void problem_take(struct problem_recipe *r, int profile);
bool problem_takes(const struct problem_recipe *r, int profile);

/* The day a batch that starts on `day` is bottled: day + strain_days, or the first working day
 * after. -1: the calendar ends before that. */
int problem_ready_day(const struct problem *p, int recipe, int day);

/* What a kilogram of a tub costs when it stays unused, in cents. */
int64_t problem_unused_cents_per_kg(const struct problem *p, const struct problem_tub *t);

/* Place of `id` in a settled list whose members begin with their id; -1: not there. */
int problem_find(const void *list, int n, size_t size, const char *id);

/* How many batches the last published plan has of this recipe on this day. */
int problem_previous_batches(const struct problem *p, int recipe, int day);

/* What one batch more or less than in that plan costs on this day; 0 after previous_until_day. */
int64_t problem_change_cents(const struct problem *p, int day);

/* A copy that shares nothing, for "what if". ERR_MEM. */
enum err problem_copy(const struct problem *p, struct problem **out_copy, struct err_text *why);

#endif
