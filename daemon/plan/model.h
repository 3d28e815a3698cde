/* model.h - the planning problem as a mixed-integer programme. docs/planning.md, section 5.
 *
 * One part is the kitchen: batches by slot (recipe and day), stations, labour, ingredients,
 * product, demands, cold store, departures from the published plan. Where the grounds come from is
 * either classes of tubs in kilograms (model_add_classes: the whole plan, and the bound) or single
 * tubs (model_add_tubs: to settle or to polish a few days). Worth is in cents and complete: the
 * programme's worth of a plan is the plan's worth.
 */
#ifndef DAEMON_PLAN_MODEL_H
#define DAEMON_PLAN_MODEL_H

#include "daemon/plan/classes.h"
#include "daemon/plan/lp.h"
#include "daemon/plan/share.h"

/* Batches of one recipe on one day. */
struct model_slot {
    int recipe, day, ready;
    int place; /* of the day in classes.days */
    int most;  /* batches that the column may stand for */
    double
        fixed_g; /* 0 or more: this is one batch that stays as it is, of so many grams; else -1 */
    int n_col, g_col; /* batches; kilograms of grounds */
};

/* Demands of one product, day and price: they are alike. */
struct model_want {
    int first, n; /* in share_demands() */
    int product, day;
    int64_t ml;
    int col; /* litres served */
};

/* A class's kilograms on one run, or from the kitchen's freezer (run -1). */
struct model_flow {
    int class_at, run, col;
};

/* Kilograms taken for one batch day from the tubs of a profile that can wait until `last`. */
struct model_draw {
    int profile, last, place, col;
};

/* Kilograms of a profile into a slot. */
struct model_mix {
    int profile, slot, col;
};

/* One tub in one slot (slot -1: brought by `run`). */
struct model_pick {
    int tub, slot, run, col;
};

struct model {
    const struct problem *p; /* lent, as are the next two */
    const struct classes *classes;
    const struct share *share;
    struct lp lp;
    struct model_slot *slots;
    struct model_want *wants;
    struct model_flow *flows;
    struct model_draw *draws;
    struct model_mix *mixes;
    struct model_pick *picks;
    int *run_col; /* by run: it goes */
    int *van_row; /* by run: its load */
    int slots_n, wants_n, flows_n, draws_n, mixes_n, picks_n;
    int slots_room, flows_room, draws_room, mixes_room, picks_room;
};

enum err model_init(struct model *m, const struct problem *p, const struct classes *classes,
                    const struct share *share, struct err_text *why);
void model_done(struct model *m);

/* Adds a slot before model_add_kitchen(). `most` 1 and `fixed_g` >= 0: a batch that is settled. */
enum err model_add_slot(struct model *m, int recipe, int place, int most, double fixed_g,
                        struct err_text *why);

/* One slot a recipe and batch day that can be ready before the calendar ends. */
enum err model_add_all_slots(struct model *m, struct err_text *why);

/* Columns and rows of the kitchen, the product and the vans. `load_g` by run is what settled
 * batches bring with it already; NULL: nothing. `settled` is added to every worth: what the tubs
 * of settled batches save and cost. */
enum err model_add_kitchen(struct model *m, const int64_t *load_g, double settled,
                           struct err_text *why);

enum err model_add_classes(struct model *m, struct err_text *why);

/* The tubs that may be picked; all others stay unused (or belong to settled batches). */
enum err model_add_tubs(struct model *m, const int *tubs, int n, struct err_text *why);

/* Cents that a kilogram costs on this run. */
double model_run_cents_per_kg(const struct problem *p, int run);

#endif
