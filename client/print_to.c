/* print_to.c - see print_to.h. */
#include "client/print_to.h"

const char *
print_form(const struct given *given)
{
    const char *form = given_value(given, "--format");
    if (form != NULL)
        return form;
    return given->output == OUTPUT_TEXT ? "text" : given->output == OUTPUT_CSV ? "csv" : "json";
}

const char *
print_path(const struct given *given)
{
    const char *path = given_value(given, "--out");
    return path != NULL ? path : given_value(given, "-o");
}
