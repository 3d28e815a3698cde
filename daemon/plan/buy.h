/* buy.h - what to order of an ingredient and by when, so that it is there the day before it is used.
 *
 * Days are counted from today, 0. Working days are the kitchen's: an order goes out and a delivery
 * comes in on working days only. What arrives on a day serves batches from the next day on.
 * Common practice, no source.
 */
#ifndef DAEMON_PLAN_BUY_H
#define DAEMON_PLAN_BUY_H

#include <stdbool.h>
#include <stdint.h>

struct buy_days {
    int n;                      /* days known, more than are planned */
    const signed char *weekday; /* 1 Monday .. 7 Sunday; 0: not worked */
};

struct buy_terms {
    int lead;          /* working days from order to delivery, 0: the same day */
    unsigned weekdays; /* bits 1 << weekday on which it can be ordered; 0: any working day */
    int64_t pack_g;    /* 0: by the gram */
};

/* The day on which an order of day `order` arrives: the lead-th working day after it. n: later. */
int buy_arrives(const struct buy_days *days, const struct buy_terms *terms, int order);
/* The first day of order from `day` on; n: none. */
int buy_order_day(const struct buy_days *days, const struct buy_terms *terms, int day);
/* The first day whose batches an order made today at the earliest can serve; n: none. */
int buy_first_use(const struct buy_days *days, const struct buy_terms *terms);
/* The last day of order that serves batches of day `use`; -1: it is too late. */
int buy_latest(const struct buy_days *days, const struct buy_terms *terms, int use);

struct buy_need {
    int64_t stock_g;
    int planned;             /* days */
    const int64_t *use_g;    /* planned of them: what batches of the day take, 0 or more */
    const int64_t *coming_g; /* planned of them: what is under way and serves from that day on */
};

struct buy {
    int order, arrives, use; /* days; `use`: the first one that lacks it */
    bool late;               /* it arrives too late for `use` */
    int64_t lack_g;
    int64_t g;     /* whole packs */
    int64_t packs; /* 0: by the gram */
};

/* Orders, by day: by the last day that serves the first lack. Without weekdays of order one order
 * brings all that the plan lacks; with them each brings what lacks until the next one can serve.
 * Returns how many, `most` at most. */
int buy_list(const struct buy_days *days, const struct buy_terms *terms,
             const struct buy_need *need, struct buy *out, int most);

#endif
