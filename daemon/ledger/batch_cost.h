/* batch_cost.h - what the inputs of a batch were bought for, posted to the books.
 *
 * Report rules K1, K2, K4. Lines of BATCH_PRICE have the keys
 *   CURRENCY MINOR GRAMS BATCH   so many g at MINOR minor units for GRAMS g
 *   - ITEM BATCH                 nobody wrote down a price of that item
 *   ? LOT BATCH                  nobody recorded that lot
 *   ~ FROM BATCH                 bottles of the batch FROM taken back
 * Water without a price of its own costs nothing and has no line; nor have grounds.
 */
#ifndef DAEMON_LEDGER_BATCH_COST_H
#define DAEMON_LEDGER_BATCH_COST_H

#include <stdint.h>
#include "daemon/ledger/fold.h"

struct cost_batch {
    const struct fold_input *input;
    struct outcome *outcome;
    const char *batch, *site; /* site: of the mix */
    int32_t month;            /* where the lines stand */
};

/* An input that is no tub: its price. */
enum err cost_post_input(const struct cost_batch *b, const char *lot, int64_t mass_g);
/* The recipe and the day of the first mix. */
enum err cost_post_made(const struct cost_batch *b, const struct fact *mix);
enum err cost_post_bottles(const struct cost_batch *b, const Knockbox__Bottle *bottle);

#endif
