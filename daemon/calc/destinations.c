/* destinations.c - the table of final destinations. */
#include "daemon/calc/destinations.h"

#include <string.h>

static const struct calc_destination destinations[] = {
#include "daemon/calc/waste-destinations.inc"
};

enum {
    DESTINATIONS = sizeof destinations / sizeof destinations[0]
};

const struct calc_destination *
calc_destination_at(size_t i)
{
    return i < DESTINATIONS ? &destinations[i] : NULL;
}

const struct calc_destination *
calc_destination_find(const char *code)
{
    for (size_t i = 0; i < DESTINATIONS; i++)
        if (strcmp(destinations[i].code, code) == 0)
            return &destinations[i];
    return NULL;
}

bool
calc_destination_diverted(const struct calc_destination *destination)
{
    return strcmp(destination->diverted, "yes") == 0;
}
