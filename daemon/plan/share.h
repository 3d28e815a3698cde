/* share.h - who gets the product, once it is settled which batches there are.
 *
 * Demands are orders, counter sales and what is worth something after the plan. What one product
 * can serve is the best choice of demands that its lots, each from its ready day to its last, can
 * cover: taking demands by falling worth and as much of each as still fits is optimal for one
 * product without a cold store (docs/planning.md, section 4). The cold store joins the products;
 * with it the same order is a good rule, not always the best.
 */
#ifndef DAEMON_PLAN_SHARE_H
#define DAEMON_PLAN_SHARE_H

#include "daemon/plan/plan.h"

typedef __int128 share_units; /* 1/18 000 000 cent, as in check.h */
enum {
    SHARE_UNITS_PER_CENT = 18000000
};

enum share_kind {
    SHARE_ORDER,
    SHARE_SALE,
    SHARE_END
};

/* One demand; `line` is its place in orders, sales or products. */
struct share_demand {
    enum share_kind kind;
    int line;
    int product;
    int day;             /* `days` for what is left after the plan */
    int64_t cents_per_l; /* what serving it is worth: price, and the penalty that is saved */
    int64_t ml;
};

struct share;

/* The demands and standing lots of a problem, sorted for use. Yours: share_free(). `p` is lent to
 * it until then. ERR_MEM. */
enum err share_new(const struct problem *p, struct share **out_share, struct err_text *why);
void share_free(struct share *s);

const struct share_demand *share_demands(const struct share *s, int *out_n);

/* What new batches bring, in microlitres: by product, then by ready day 0 to `days` (all later
 * days are `days`). Room for share_supply_n() numbers. */
int share_supply_n(const struct problem *p);
int64_t *share_supply_at(const struct problem *p, int64_t *supply, int product, int ready);

/* What the product earns at most from its lots and `supply`, the cold store left aside: a sum over
 * demands of what is served x cents_per_l, in units. */
share_units share_product(struct share *s, int product, const int64_t *supply);

/* Chooses what to serve of every demand, with the cold store: out_ml[i] for demand i. */
void share_choose(struct share *s, const int64_t *supply, int64_t *out_ml);

/* Writes order, sales and discard lines into `plan` for at most `ml` of each demand, cut down to
 * what the lots can really cover first expired first; pours away what the cold store cannot hold.
 * Keeps rules 8a to 8e unless batches that get ready after the plan alone overfill the store. */
enum err share_write(struct share *s, const int64_t *supply, const int64_t *ml, struct plan *plan,
                     struct err_text *why);

#endif
