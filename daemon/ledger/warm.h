/* warm.h - how long a tub stood warm, report rule T7.
 */
#ifndef DAEMON_LEDGER_WARM_H
#define DAEMON_LEDGER_WARM_H

#include "daemon/ledger/fold.h"

/* frozen - first_knock, less the parts that chilled or frozen shifts cover, plus warm shifts
 * (without a state) outside that span; thawing adds nothing. Periods that overlap count once.
 * `facts` are those of the tub; only shifts are read.
 * By hand: 14:00 to 15:30 with chilled 14:30 to 15:00, and warm 20:00 to 20:10: 70 min. */
enum err warm_time(const Knockbox__Tub *tub, const struct fact *facts, size_t n,
                   int64_t *out_warm_ms);

#endif
