/* args.c - reads name=value words. */
#include "client/calc/args.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/calc/datemark.h"
#include "daemon/calc/elapsed.h"
#include "daemon/calc/near.h"
#include "proto/text.h"

/* slab|cylinder|sphere as "slab, cylinder or sphere". */
static void
list_choices(const char *choices, char *to, size_t size)
{
    size_t used = 0;
    for (const char *s = choices; *s != '\0' && used + 5 < size; s++) {
        if (*s != '|') {
            to[used++] = *s;
            continue;
        }
        const char *join = strchr(s + 1, '|') != NULL ? ", " : " or ";
        memcpy(to + used, join, strlen(join));
        used += strlen(join);
    }
    to[used] = '\0';
}

const char *
calc_arg_want(const struct calc_arg *arg, char text[256])
{
    const char *open = arg->unit[0] != '\0' ? " (" : "";
    const char *close = arg->unit[0] != '\0' ? ")" : "";
    switch (arg->kind) {
    case CALC_ARG_NUMBER:
        (void)snprintf(text, 256, "%.10g to %.10g%s%s%s", arg->least, arg->most, open, arg->unit,
                       close);
        break;
    case CALC_ARG_WHOLE:
        (void)snprintf(text, 256, "a whole number %.10g to %.10g%s%s%s", arg->least, arg->most,
                       open, arg->unit, close);
        break;
    case CALC_ARG_TEXT:
        (void)snprintf(text, 256, "%s", arg->help);
        break;
    case CALC_ARG_CHOICE:
        list_choices(arg->choices, text, 256);
        break;
    case CALC_ARG_DAY:
        (void)snprintf(text, 256, "a day as YYYY-MM-DD");
        break;
    case CALC_ARG_INSTANT:
        (void)snprintf(text, 256, "an instant as 2026-03-29T01:30:00+01:00 or ...Z");
        break;
    }
    return text;
}

static bool
misuse(struct calc_run *run, const char *field, const char *got, const char *want)
{
    struct calc_failure *f = &run->failure;
    f->code = ERR_USAGE;
    f->field = field;
    f->got = got;
    (void)snprintf(f->want, sizeof f->want, "%s", want);
    char shown[100];
    (void)snprintf(f->message, sizeof f->message, "%s: expected %s",
                   text_shown(got, shown, sizeof shown), want);
    return false;
}

/* The argument a word names, by the `len` bytes before its "="; -1: none. */
static int
find_arg(const struct calc_what *what, const char *word, size_t len)
{
    for (size_t i = 0; i < what->arg_count; i++)
        if (strlen(what->args[i].name) == len && memcmp(what->args[i].name, word, len) == 0)
            return (int)i;
    return -1;
}

static bool
take_word(struct calc_run *run, const char *word, char spare[128])
{
    char want[192];
    const char *equals = strchr(word, '=');
    if (word[0] == '-')
        return misuse(run, word, word, "--json or --help, or name=value");
    if (equals == NULL)
        return misuse(run, word, word, "name=value");
    size_t len = (size_t)(equals - word);
    int i = find_arg(run->what, word, len);
    if (i < 0) {
        (void)snprintf(spare, 128, "%.*s", len < 127 ? (int)len : 127, word);
        (void)snprintf(want, sizeof want, "a name that `knockbox calc %s --help` lists",
                       run->what->name);
        return misuse(run, spare, word, want);
    }
    if (run->text[i] != NULL)
        return misuse(run, run->what->args[i].name, equals + 1, "each name once");
    run->text[i] = equals + 1;
    return true;
}

static bool
is_choice(const char *choices, const char *text)
{
    size_t len = strlen(text);
    for (const char *s = choices; s != NULL; s = strchr(s, '|')) {
        s += *s == '|' ? 1 : 0;
        if (strncmp(s, text, len) == 0 && (s[len] == '|' || s[len] == '\0') && len > 0)
            return true;
    }
    return false;
}

/* Within 1e-9 of an end counts as that end. */
static bool
read_number(const struct calc_arg *arg, const char *text, double *out)
{
    if (!decimal_is_number(text))
        return false;
    double value = strtod(text, NULL);
    if (!isfinite(value) || calc_under(value, arg->least) || calc_over(value, arg->most))
        return false;
    *out = fmin(fmax(value, arg->least), arg->most);
    return arg->kind != CALC_ARG_WHOLE || floor(*out) == *out;
}

static bool
readable(const struct calc_arg *arg, const char *text, double *out_number)
{
    int day = 0;
    struct calc_instant instant;
    switch (arg->kind) {
    case CALC_ARG_NUMBER:
    case CALC_ARG_WHOLE:
        return read_number(arg, text, out_number);
    case CALC_ARG_TEXT:
        return text[0] != '\0';
    case CALC_ARG_CHOICE:
        return is_choice(arg->choices, text);
    case CALC_ARG_DAY:
        return calc_day_read(text, &day);
    case CALC_ARG_INSTANT:
        return calc_instant_read(text, &instant);
    }
    return false;
}

static bool
check_values(struct calc_run *run)
{
    char want[256];
    for (size_t i = 0; i < run->what->arg_count; i++) {
        const struct calc_arg *arg = &run->what->args[i];
        if (run->text[i] == NULL)
            continue;
        if (!readable(arg, run->text[i], &run->number[i]))
            return calc_refuse(run, arg->name, "%s", calc_arg_want(arg, want));
    }
    for (size_t i = 0; i < run->what->arg_count; i++)
        if (run->what->args[i].need == CALC_REQUIRED && run->text[i] == NULL)
            return calc_missing(run, run->what->args[i].name);
    return true;
}

bool
calc_read_args(struct calc_run *run, int argc, char **argv, char spare[128])
{
    for (int i = 0; i < argc; i++)
        if (!take_word(run, argv[i], spare))
            return false;
    return check_values(run);
}
