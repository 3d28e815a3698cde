/* kitchen_trade.h - what can be bought, in which packs, how long it takes, and what is under way.
 */
#ifndef DAEMON_SERVE_KITCHEN_TRADE_H
#define DAEMON_SERVE_KITCHEN_TRADE_H

#include "daemon/plan/buy.h"
#include "daemon/plan/plan.h"
#include "daemon/serve/kitchen.h"

enum {
    TRADE_DAYS = 400,    /* of the kitchen's calendar that are looked at */
    TRADE_LATE_DAYS = 7, /* past its day a purchase is under way no longer */
    TRADE_LEAD = 2,      /* working days, where the catalogue says nothing */
};

/* Ordered and not there yet: by a purchase, or (`purchase` empty) because the plan that the kitchen
 * works by said so and its day of order is over. */
struct trade_coming {
    char purchase[65], item[65];
    int64_t g;
    int32_t ordered, arrives; /* dates */
    int use;                  /* the first day that it serves */
    bool answered;            /* it came, or a purchase says otherwise */
};

struct trade {
    const struct kitchen_ask *ask;
    signed char weekday[TRADE_DAYS];
    struct buy_days days; /* of `weekday` */
    struct trade_coming *coming;
    int n_coming;
    bool no_memory;
};

/* End with trade_done(). `trade` stays where it is. */
enum err trade_load(const struct kitchen_ask *ask, struct trade *trade, struct err_text *why);
void trade_done(struct trade *trade);

/* NULL: the catalogue does not have it. */
const Knockbox__Item *trade_item(const struct trade *trade, const char *code);
struct buy_terms trade_terms(const struct trade *trade, const char *code);

/* Adds to the view of a plan:
 *   "buy" [{item, supplier, mass_g, lack_g, packs, pack_g, pack_ml, cost_minor, currency, by,
 *           arrives, for_day, late}] by day of order; `by` is the last day on which to order
 *   "coming" [{item, mass_g, ordered, arrives, purchase}]: what is under way; `purchase` is null
 *           where only an earlier plan says so
 *   "needs" [{item, stock_g, coming_g, use_g, lasts, days [{day, use_g, left_g}]}]; `lasts` is the
 *           last batch day that stock and what is under way serve whole, null: all of them. */
enum err kitchen_buy(const struct kitchen_ask *ask, const struct problem *p,
                     const struct plan *plan, json_t *view, struct err_text *why);

#endif
