/* limit.c - see limit.h. */
#include "daemon/ledger/limit.h"

#include <string.h>

const struct limit_default limit_warm_time = {"warm-time", "240",
                                              KNOCKBOX__COMPARATOR__COMPARATOR_AT_MOST};
const struct limit_default limit_weight_difference = {"weight-difference", "50",
                                                      KNOCKBOX__COMPARATOR__COMPARATOR_AT_MOST};
const struct limit_default limit_use_by = {"use-by", "28",
                                           KNOCKBOX__COMPARATOR__COMPARATOR_AT_MOST};

bool
decimal_holds(const struct decimal *a, Knockbox__Comparator comparator, const struct decimal *b)
{
    int order = decimal_compare(a, b);
    switch (comparator) {
    case KNOCKBOX__COMPARATOR__COMPARATOR_LESS:
        return order < 0;
    case KNOCKBOX__COMPARATOR__COMPARATOR_AT_MOST:
        return order <= 0;
    case KNOCKBOX__COMPARATOR__COMPARATOR_MORE:
        return order > 0;
    case KNOCKBOX__COMPARATOR__COMPARATOR_AT_LEAST:
        return order >= 0;
    default:
        return true;
    }
}

struct found {
    struct decimal value;
    Knockbox__Comparator comparator;
    int64_t units; /* base units in one unit of the limit: 60 for a limit in h */
};

static struct found
find(const struct catalogue *catalogue, const struct limit_default *limit, const char *site,
     int32_t day)
{
    struct found found = {.comparator = limit->comparator, .units = 1};
    const Knockbox__Limits *own = catalogue_limit(catalogue, limit->code, site, day);
    if (own != NULL && own->value != NULL &&
        decimal_parse(own->value, &found.value, NULL) == ERR_OK) {
        found.comparator = own->comparator;
        if (own->unit != NULL && (strcmp(own->unit, "h") == 0 || strcmp(own->unit, "kg") == 0))
            found.units = strcmp(own->unit, "h") == 0 ? 60 : 1000;
        return found;
    }
    (void)decimal_parse(limit->value, &found.value, NULL);
    return found;
}

bool
limit_holds(const struct catalogue *catalogue, const struct limit_default *limit, const char *site,
            int32_t day, int64_t value, int64_t per_unit)
{
    struct found found = find(catalogue, limit, site, day);
    struct decimal given = decimal_of(value, 0), most;
    struct decimal units = decimal_of(found.units * per_unit, 0);
    if (decimal_multiply(&found.value, &units, &most, NULL) != ERR_OK)
        return true;
    return decimal_holds(&given, found.comparator, &most);
}

int64_t
limit_number(const struct catalogue *catalogue, const struct limit_default *limit, const char *site,
             int32_t day)
{
    struct found found = find(catalogue, limit, site, day);
    struct decimal whole = decimal_cut(&found.value, 0);
    int64_t number = (int64_t)whole.mantissa;
    for (int scale = whole.scale; scale < 0; scale++)
        number *= 10;
    return number * found.units;
}
