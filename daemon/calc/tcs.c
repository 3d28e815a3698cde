/* tcs.c - interaction of water activity and pH. */
#include "daemon/calc/tcs.h"

#include <math.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/calc/near.h"

static const struct row {
    const char *table;
    const char *aw_min, *aw_max;
    const char *ph_min, *ph_max;
    const char *result;
    const char *note;
} rows[] = {
#include "daemon/calc/tcs-interaction.inc"
};

/* An empty bound is none. */
static double
bound(const char *cell, double none)
{
    return cell[0] != '\0' ? strtod(cell, NULL) : none;
}

/* Not above the upper bound, and not on it where the note says "<". Lower bounds
 * need no look: a table's bands rise, and each takes what the ones before left. */
static bool
inside(double value, const char *high, bool high_is_out)
{
    double most = bound(high, INFINITY);
    return high_is_out ? calc_under(value, most) : calc_at_most(value, most);
}

static bool
notes(const struct row *r, const char *what, const char *limit)
{
    const char *at = strstr(r->note, what);
    return at != NULL && strncmp(at + strlen(what), limit, strlen(limit)) == 0;
}

static bool
row_fits(const struct row *r, double aw, double ph)
{
    return inside(aw, r->aw_max, notes(r, "aw < ", r->aw_max)) &&
           inside(ph, r->ph_max, notes(r, "pH < ", r->ph_max));
}

enum calc_tcs
calc_tcs_of(bool heat_treated_and_packaged, double water_activity, double ph)
{
    if (isnan(water_activity) || isnan(ph))
        return CALC_TCS_ASSESS;
    const char *table = heat_treated_and_packaged ? "A" : "B";
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        if (strcmp(rows[i].table, table) == 0 && row_fits(&rows[i], water_activity, ph))
            return strcmp(rows[i].result, "PA") == 0 ? CALC_TCS_ASSESS : CALC_TCS_NOT;
    return CALC_TCS_ASSESS;
}
