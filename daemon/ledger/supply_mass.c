/* supply_mass.c - see supply_mass.h. */
#include "daemon/ledger/supply_mass.h"

#include <stddef.h>
#include "proto/decimal.h"

/* g/L of ethanol and water at 20 Cel by 10 % vol; OIML R 22 table, rounded. Between them by a
 * straight line: within 1 g/L, good enough to say what is left of a delivery stated in mL. */
static const int density_g_l[] = {998, 985, 974, 962, 948, 930, 909, 886, 859, 829, 789};

int64_t
supply_mass_g(int64_t volume_ml, const char *abv_pct)
{
    struct decimal abv = {0, 0};
    if (abv_pct != NULL)
        (void)decimal_parse(abv_pct, &abv, NULL);
    struct decimal ten = decimal_of(10, 0), tenths;
    if (decimal_multiply(&abv, &ten, &tenths, NULL) != ERR_OK)
        return volume_ml;
    tenths = decimal_cut(&tenths, 0);
    int64_t per_mille = (int64_t)tenths.mantissa;
    for (int scale = tenths.scale; scale < 0; scale++)
        per_mille *= 10;
    per_mille = per_mille < 0 ? 0 : per_mille > 1000 ? 1000 : per_mille;
    int64_t step = per_mille / 100, part = per_mille % 100;
    int64_t low = density_g_l[step], high = density_g_l[step < 10 ? step + 1 : 10];
    return volume_ml / 100 * (low * 100 + (high - low) * part) / 1000;
}
