/* costs.h - what the batches of a month cost, read out of the books and the catalogue; costs.c
 * prints it. Report rules K1 to K5 (docs/report.md). Nothing here is rounded.
 */
#ifndef DAEMON_REPORT_COSTS_H
#define DAEMON_REPORT_COSTS_H

#include "daemon/report/fraction.h"
#include "daemon/report/part.h"

enum {
    COST_CURRENCIES = 4, /* that one batch may be paid in */
    COST_SIZES = 8       /* of bottles of one batch */
};

/* What ingredients cost in one currency. */
struct cost_sum {
    char currency[8];
    struct fraction ingredients;
};

struct cost_size {
    int64_t bottle_ml, count;
};

struct cost_batch_sum {
    const char *batch;           /* lent by the books */
    const char *site;            /* of the mix; lent by the books */
    char recipe[72];             /* "": it was never mixed */
    int32_t day;                 /* of the mix */
    int64_t grounds_g, ridden_g; /* ridden: of them whose ride is known */
    char currency[8];            /* of the site on that day; "": not known */
    struct cost_sum sums[COST_CURRENCIES];
    size_t n_sums;
    struct fraction labour, collection; /* in `currency` */
    struct cost_size sizes[COST_SIZES];
    size_t n_sizes;
    bool no_ingredients, no_labour, no_collection; /* something of it is not known */
};

/* One thing that is not known. */
struct cost_gap {
    const char *batch;
    const char *what; /* ours: "price", "lot", "bottles", "recipe", "time", "wage", "run", "ride",
                       * "rate", "buy-in" (docs/report.md) */
    char of[72];      /* item, lot, batch, recipe, site, run, currency, product and size */
    int64_t mass_g;   /* that it is about; 0: none */
};

struct costs {
    struct build *b;
    struct tally loads;          /* what each run brought in all */
    struct cost_batch_sum *list; /* by batch */
    size_t n;
    struct cost_gap *gaps; /* by batch, in the order found */
    size_t n_gaps, cap_gaps;
    enum err e;
};

/* Fills *out_costs from the books of the month. End with costs_done(), also after an error. */
enum err costs_read(struct build *b, struct costs *out_costs);
void costs_done(struct costs *costs);

/* What a bottle of the like costs bought in, in minor units of the batch's currency; below 0: the
 * office has not said. */
int64_t costs_buy_in(const struct build *b, const struct cost_batch_sum *batch, int64_t bottle_ml);

/* The product of a batch's recipe; NULL: not known. Lent by the catalogue. */
const char *costs_product(const struct build *b, const struct cost_batch_sum *batch);

#endif
