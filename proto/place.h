/* place.h - where a walk over a message is, so that an error can name the field.
 */
#ifndef PROTO_PLACE_H
#define PROTO_PLACE_H

#include <stdbool.h>
#include <stddef.h>

/* A chain on the stack from the field up to the outermost message. */
struct place {
    const struct place *up; /* NULL: outermost */
    const char *name;       /* "" for the entries of a list message */
    size_t entry;
    bool in_list;
};

enum {
    PLACE_TEXT = 64
};

/* "tubs[2].gross_g"; the outermost names go first when there is no room. Returns `out`. */
char *place_print(const struct place *place, char out[PLACE_TEXT]);

#endif
