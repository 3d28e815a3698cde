/* sheet.h - the day sheet: what a site does today; inside of daemon/serve.
 *
 * What is thawed, mixed and fetched is what the plan that stands says; what strains and what is
 * bottled is what the books say; of a café it is the pick-up lists. A file each: sheet_tubs.c,
 * sheet_mix.c, sheet_under_way.c, sheet_van.c; word_today.c puts them together.
 */
#ifndef DAEMON_SERVE_SHEET_H
#define DAEMON_SERVE_SHEET_H

#include <jansson.h>
#include "daemon/record/record.h"
#include "daemon/serve/call.h"
#include "daemon/serve/plan_stations.h"
#include "daemon/serve/recipe.h"

struct sheet {
    struct call *call;
    struct ledger *ledger;
    int32_t day;
    const json_t *plan;              /* its view; NULL: none stands, or at a café */
    const json_t *today;             /* the day of that view; NULL: the plan does not have it */
    struct under_way_list under_way; /* of this site */
    struct arena arena;
    json_t *answer;
};

/* [{tub, expected, state, site, place, coffee, net_g, use_by}] for a list of labels. `expected`
 * tubs are forecast ones: the books do not know them. Yours. */
enum err sheet_tubs(struct sheet *sheet, const json_t *labels, json_t **out_tubs,
                    struct err_text *why);

/* "thaw": [{recipe, product, alcoholic, grounds_g, tubs}]. */
enum err sheet_thaw(struct sheet *sheet, struct err_text *why);
/* "mix": the same with vessel, batch (null: not mixed yet) and what the recipe's card says to
 * weigh: parts [{input, name, mass_g, lots, short_g, alcoholic}], total_g, product_ml, bottles,
 * bottle_ml, cautions; `why` when there is no card. Lots are given out once a day. */
enum err sheet_mix(struct sheet *sheet, struct err_text *why);
/* "strain" and "bottle": [{batch, recipe, product, alcoholic, vessel, station, state, mixed, ready,
 * grounds_g, ml}]; in "bottle" those that are ready by the day. */
enum err sheet_under_way(struct sheet *sheet, struct err_text *why);
/* "van": [{run, route, day, departs, grounds_g, cafes: [{site, name, grounds_g, tubs}]}], of the
 * plan's day; at a café the runs from the day on with the tubs that are still there. */
enum err sheet_van(struct sheet *sheet, struct err_text *why);
enum err sheet_handover(struct sheet *sheet, struct err_text *why);

#endif
