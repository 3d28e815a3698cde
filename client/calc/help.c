/* help.c - what can be asked, from the tables. */
#include <stdlib.h>
#include <string.h>

#include "client/calc/args.h"
#include "client/calc/card.h"

static const struct calc_what *const whats[] = {
    &calc_what_ethanol,   &calc_what_dilute,  &calc_what_sucrose,    &calc_what_blend,
    &calc_what_target,    &calc_what_thaw,    &calc_what_extraction, &calc_what_units,
    &calc_what_date_mark, &calc_what_elapsed, &calc_what_emissions,
};

enum {
    WHATS = sizeof whats / sizeof whats[0]
};

const struct calc_what *
calc_what_at(size_t i)
{
    return i < WHATS ? whats[i] : NULL;
}

const struct calc_what *
calc_what_find(const char *name)
{
    for (size_t i = 0; i < WHATS; i++)
        if (strcmp(whats[i]->name, name) == 0)
            return whats[i];
    return NULL;
}

void
calc_card_help(FILE *out)
{
    (void)fprintf(out, "usage: knockbox calc WHAT name=value ... [--json]\n\n");
    for (size_t i = 0; i < WHATS; i++)
        (void)fprintf(out, "  %-11s %s\n", whats[i]->name, whats[i]->line);
    (void)fprintf(out, "\nThe arguments of one: knockbox calc WHAT --help\n"
                       "examples:\n"
                       "  knockbox calc ethanol abv_pct=40\n"
                       "  knockbox calc date-mark made=2026-03-02 --json\n");
}

static void
print_arg(const struct calc_arg *arg, FILE *out)
{
    char want[256];
    char text[640];
    bool says_more = arg->kind != CALC_ARG_TEXT;
    (void)snprintf(
        text, sizeof text, "%s%s%s%s%s%s", arg->help, says_more ? "; " : "",
        says_more ? calc_arg_want(arg, want) : "", arg->need == CALC_REQUIRED ? "; required" : "",
        arg->fallback != NULL ? "; default " : "", arg->fallback != NULL ? arg->fallback : "");
    int used = fprintf(out, "  %-21s ", arg->name);
    calc_card_wrap(text, used, used, out);
}

void
calc_card_help_what(const struct calc_what *what, FILE *out)
{
    (void)fprintf(out, "usage: knockbox calc %s name=value ... [--json]\n", what->name);
    (void)fprintf(out, "%s\n\n", what->line);
    for (size_t i = 0; i < what->arg_count; i++)
        print_arg(&what->args[i], out);
    (void)fprintf(out, "\nexamples:\n");
    for (size_t i = 0; i < sizeof what->examples / sizeof what->examples[0]; i++) {
        int used = fprintf(out, "  ");
        calc_card_wrap(what->examples[i], used, 6, out);
    }
}
