/* balance.h - the mass balance of a batch, with a gap line for each component.
 *
 * Inputs by lot, outputs as weighed. Conservation: what went in is in the product,
 * in the residue, lost, or in the gap. The liquor is one: straining leaves its own
 * composition in the residue, beside all dry grounds. What is not known, the
 * moisture of the grounds and how far their water mixed, makes the interval of the
 * strength.
 */
#ifndef DAEMON_CALC_BALANCE_H
#define DAEMON_CALC_BALANCE_H

#include <stddef.h>

#include "daemon/calc/blend.h"

enum calc_input_kind {
    CALC_GROUNDS, /* pct: moisture, % mass */
    CALC_SUGAR,   /* pct unused */
    CALC_SPIRIT,  /* pct: % vol at 20 C */
    CALC_COFFEE,  /* pct: TDS, % mass */
    CALC_WATER,   /* pct unused */
};

/* One lot. low <= pct <= high; all the same when it was measured well. */
struct calc_input {
    enum calc_input_kind kind;
    double mass_g;
    double pct, low, high;
};

struct calc_outputs {
    double product_g;
    double residue_g;
    double loss_g;
    double measured_abv_pct;   /* NAN: not measured */
    double measured_abv_doubt; /* +-, 0 or more */
};

enum calc_component {
    CALC_TOTAL,
    CALC_ETHANOL,
    CALC_SUGAR_MASS,
    CALC_WATER_MASS,
    CALC_DRY_COFFEE, /* dry grounds and dissolved coffee */
    CALC_COMPONENTS,
};

/* in = product + residue + loss + gap, g. */
struct calc_line {
    double in_g, product_g, residue_g, loss_g, gap_g;
};

struct calc_balance {
    struct calc_line line[CALC_COMPONENTS];
    double held_liquor_g; /* by the residue: residue less dry grounds, 0 or more */
    double abv_pct, abv_low, abv_high;
    int abv_is_measured;
    double product_ml; /* at 20 C, from the density of the liquor */
    double ethanol_in_ml, ethanol_product_ml, ethanol_residue_ml, ethanol_loss_ml,
        ethanol_gap_ml; /* at 20 C */
};

/* NAN in the strength when there is no liquor. By hand: 100 g grounds of 60 %, 100
 * sugar, 100 spirit of 40 %, 200 water: 33.3 g ethanol in 460 g liquor, so 300 g
 * of product hold 21.7 g. */
void calc_balance(const struct calc_input *inputs, size_t count, const struct calc_outputs *outputs,
                  struct calc_balance *out);

/* Most of the water that stays in strained grounds without having mixed: judgement,
 * no source; only the upper end of the strength uses it. */
#define CALC_UNMIXED_SHARE 0.10

#endif
