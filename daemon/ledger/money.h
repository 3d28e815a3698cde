/* money.h - what bottles are worth on a day, posted to the books.
 *
 * Report rule P2: prices by product, bottle and currency, as in force on the record's day. Without
 * a price the figure is not 0 but unknown: a line of UNPRICED says so.
 */
#ifndef DAEMON_LEDGER_MONEY_H
#define DAEMON_LEDGER_MONEY_H

#include <stdint.h>
#include "daemon/ledger/fold.h"

struct bottles {
    const char *product;
    int64_t bottle_ml, count;
};

/* The currency of a site on a day; NULL: not known. Lent by the catalogue. */
const char *money_of_site(const struct catalogue *catalogue, const char *site, int32_t day);

/* count x list price (AT_LIST, LOST) or transfer price (DELIVERED) in the currency of `where`. */
enum err money_post(const struct fold_input *input, struct outcome *outcome, enum measure measure,
                    const struct fact *fact, const char *where, const struct bottles *bottles);

/* A sale as written: count x unit_minor in its own currency, and the volume on its business day
 * (bottle_ml 0: nobody said how large the bottles are). */
enum err money_post_sale(struct outcome *outcome, const struct fact *fact, const char *product,
                         int64_t bottle_ml);

#endif
