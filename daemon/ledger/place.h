/* place.h - places and words that several folds need. All pointers are lent by the catalogue or
 * the fact.
 */
#ifndef DAEMON_LEDGER_PLACE_H
#define DAEMON_LEDGER_PLACE_H

#include "daemon/ledger/fold.h"

/* Known at all on that day? */
bool place_known(const struct catalogue *catalogue, const char *place, int32_t day);

/* The site's first freezer by code (S11); "" when it has none. */
const char *place_default(const struct catalogue *catalogue, const char *site, int32_t day);

/* The site a place belongs to; of an unknown place the site of the fact that names it. */
const char *place_site(const struct catalogue *catalogue, const char *place,
                       const struct fact *fact);

/* "weighed", ...; "estimated" for one of a later version. */
const char *method_word(Knockbox__Method method);

#endif
