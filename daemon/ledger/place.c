/* place.c - see place.h. */
#include "daemon/ledger/place.h"

#include <string.h>

static const Knockbox__Place *
find(const struct catalogue *catalogue, const char *place, int32_t day)
{
    return (const Knockbox__Place *)catalogue_get(catalogue, KNOCKBOX__RECORD__BODY_PLACE, place,
                                                  day);
}

bool
place_known(const struct catalogue *catalogue, const char *place, int32_t day)
{
    return find(catalogue, place, day) != NULL;
}

const char *
place_default(const struct catalogue *catalogue, const char *site, int32_t day)
{
    const char *const *keys = NULL;
    unsigned n = catalogue_keys(catalogue, KNOCKBOX__RECORD__BODY_PLACE, &keys);
    for (unsigned i = 0; i < n; i++) {
        const Knockbox__Place *place = find(catalogue, keys[i], day);
        if (place != NULL && place->class_ == KNOCKBOX__PLACE_CLASS__PLACE_CLASS_FREEZER &&
            strcmp(place->for_site, site) == 0)
            return place->code;
    }
    return "";
}

const char *
place_site(const struct catalogue *catalogue, const char *place, const struct fact *fact)
{
    const Knockbox__Place *found = find(catalogue, place, fact->day);
    return found != NULL ? found->for_site : fact->site;
}

const char *
method_word(Knockbox__Method method)
{
    switch (method) {
    case KNOCKBOX__METHOD__METHOD_WEIGHED:
        return "weighed";
    case KNOCKBOX__METHOD__METHOD_COUNTED:
        return "counted";
    case KNOCKBOX__METHOD__METHOD_SAMPLED:
        return "sampled";
    default:
        return "estimated";
    }
}
