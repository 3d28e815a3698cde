/* trace_text.c - a trace as a tree of lines for people. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/report/trace.h"

static const char *
text_of(const json_t *object, const char *name)
{
    const char *text = json_string_value(json_object_get(object, name));
    return text != NULL ? text : "-";
}

static void
print_source(FILE *out, const json_t *item)
{
    bool tub = strcmp(text_of(item, "kind"), "tub") == 0;
    (void)fprintf(out, "  <- %-6s %-20s %8s g", text_of(item, "kind"), text_of(item, "code"),
                  text_of(item, "mass_g"));
    if (tub)
        (void)fprintf(out, "  filled at %s\n", text_of(item, "site"));
    else
        (void)fprintf(out, "  %s\n            from %s, lot %s, received %s\n",
                      text_of(item, "item"), text_of(item, "supplier"),
                      text_of(item, "supplier_lot"), text_of(item, "received"));
}

static void
print_tree(FILE *out, const json_t *trace)
{
    size_t i;
    json_t *item;
    (void)fprintf(out, "%s: %s of %s bottles accounted for (%s %%)\n", text_of(trace, "code"),
                  text_of(trace, "located"), text_of(trace, "made"),
                  text_of(trace, "accounted_pct"));
    json_array_foreach(json_object_get(trace, "back"), i, item) print_source(out, item);
    json_array_foreach(json_object_get(trace, "forward"), i, item)(void)
        fprintf(out, "  -> %-20s %6s bottles %-10s %s\n", text_of(item, "lot"),
                text_of(item, "count"), text_of(item, "state"), text_of(item, "site"));
    json_array_foreach(json_object_get(trace, "unlocated"), i, item)(void)
        fprintf(out, "  ?? %-20s %6s bottles nobody knows of\n", text_of(item, "lot"),
                text_of(item, "count"));
}

enum err
trace_text(const json_t *trace, char **out_text, struct err_text *why)
{
    char *text = NULL;
    size_t len = 0;
    FILE *out = open_memstream(&text, &len);
    if (out == NULL)
        return err_set(ERR_MEM, why, "out of memory for a trace");
    print_tree(out, trace);
    if (fclose(out) != 0) {
        free(text);
        return err_set(ERR_MEM, why, "out of memory for a trace");
    }
    *out_text = text;
    return ERR_OK;
}
