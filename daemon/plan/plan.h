/* plan.h - what a planner decides: which tubs the van brings, what goes into each vessel, who
 * gets the product.
 *
 * A plan is a set of lines about one problem and may break rules: check.h tells. Members are
 * places in the problem's lists. A name that is not in the problem (a plan file may hold any) is
 * kept as PLAN_UNKNOWN minus its place in `unknown`.
 */
#ifndef DAEMON_PLAN_PLAN_H
#define DAEMON_PLAN_PLAN_H

#include "daemon/plan/problem.h"

enum {
    PLAN_UNKNOWN = -2
};

struct plan_load { /* tubs that one van run brings */
    int run;
    int *tubs; /* tubs_n of them */
    int tubs_n;
};

struct plan_batch {
    int recipe, day;
    int *tubs;
    int tubs_n;
};

struct plan_order {
    int order;
    int64_t ml;
};

struct plan_sale {
    int product, day;
    int64_t ml;
};

/* Lists grow as lines are added; their room is the next power of two. */
struct plan {
    struct plan_load *loads;
    struct plan_batch *batches;
    struct plan_order *orders;
    struct plan_sale *sales;
    struct plan_sale *discards; /* poured away */
    struct problem_name *unknown;
    int loads_n, batches_n, orders_n, sales_n, discards_n, unknown_n;
};

struct plan *plan_new(void);       /* empty, yours: plan_free(). NULL: out of memory */
void plan_free(struct plan *plan); /* NULL is fine */
enum err plan_copy(const struct plan *plan, struct plan **out_copy, struct err_text *why);

/* Add a line. The tubs are copied. ERR_MEM leaves the plan as it was. */
enum err plan_add_load(struct plan *plan, int run, const int *tubs, int n, struct err_text *why);
enum err plan_add_batch(struct plan *plan, int recipe, int day, const int *tubs, int n,
                        struct err_text *why);
enum err plan_add_order(struct plan *plan, int order, int64_t ml, struct err_text *why);
enum err plan_add_sale(struct plan *plan, int product, int day, int64_t ml, struct err_text *why);
enum err plan_add_discard(struct plan *plan, int product, int day, int64_t ml,
                          struct err_text *why);

/* Keeps a name that is not in the problem; *out_place stands for it in a line. */
enum err plan_add_unknown(struct plan *plan, const char *name, int *out_place,
                          struct err_text *why);

/* The name behind a place: of `list` or of the unknown ones. Lent until the plan changes. */
const char *plan_name(const struct plan *plan, const void *list, size_t size, int place);

/* Puts every list and the tubs of every line in order, so that equal plans are equal bytes. */
void plan_sort(struct plan *plan);

#endif
