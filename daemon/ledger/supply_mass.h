/* supply_mass.h - the mass of what was delivered by volume.
 */
#ifndef DAEMON_LEDGER_SUPPLY_MASS_H
#define DAEMON_LEDGER_SUPPLY_MASS_H

#include <stdint.h>

/* g of `volume_ml` (0 .. 10^12) of that strength at 20 Cel, cut; NULL or nonsense: water.
 * By a table of 11 densities with straight lines between: within 1 g/L. */
int64_t supply_mass_g(int64_t volume_ml, const char *abv_pct);

#endif
