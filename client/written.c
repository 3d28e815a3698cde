/* written.c - what a write came to, in words and numbers. */
#include "client/written.h"

#include <stdio.h>
#include <string.h>

static long long
number(const json_t *range, const char *name)
{
    return (long long)json_integer_value(json_object_get(range, name));
}

char *
written_words(const json_t *answer, char out[WRITTEN_TEXT])
{
    const json_t *ranges = json_object_get(answer, "numbers");
    const json_t *one = json_array_get(ranges, 0);
    out[0] = '\0';
    if (json_array_size(ranges) > 1)
        (void)snprintf(out, WRITTEN_TEXT, "Written: %lld records in %zu logs.",
                       number(answer, "written"), json_array_size(ranges));
    else if (one != NULL && number(one, "first") == number(one, "last"))
        (void)snprintf(out, WRITTEN_TEXT, "Written, number %lld.", number(one, "first"));
    else if (one != NULL)
        (void)snprintf(out, WRITTEN_TEXT, "Written, numbers %lld to %lld.", number(one, "first"),
                       number(one, "last"));
    return out;
}
