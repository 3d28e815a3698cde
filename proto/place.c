/* place.c - the name of a field as its user sees it. */
#include "proto/place.h"

#include <stdio.h>
#include <string.h>

char *
place_print(const struct place *place, char out[PLACE_TEXT])
{
    char longer[PLACE_TEXT];
    out[0] = '\0';
    for (; place != NULL; place = place->up) {
        char entry[24] = "";
        if (place->in_list)
            (void)snprintf(entry, sizeof entry, "[%zu]", place->entry);
        bool dot = out[0] != '\0' && out[0] != '[';
        int n =
            snprintf(longer, sizeof longer, "%s%s%s%s", place->name, entry, dot ? "." : "", out);
        if (n < 0 || n >= PLACE_TEXT)
            break;
        memcpy(out, longer, sizeof longer);
    }
    return out;
}
