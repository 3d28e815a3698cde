/* what.h - what can be asked: a table of WHATs, each with a table of its arguments.
 *
 * Parser, --help and the tables of docs/calc.md grow from these.
 */
#ifndef CLIENT_CALC_WHAT_H
#define CLIENT_CALC_WHAT_H

#include <stdbool.h>
#include <stddef.h>

struct calc_run;

enum calc_arg_kind {
    CALC_ARG_NUMBER,
    CALC_ARG_WHOLE,   /* a number without a fraction */
    CALC_ARG_TEXT,    /* any text that is not empty */
    CALC_ARG_CHOICE,  /* one of `choices`, parted by | */
    CALC_ARG_DAY,     /* YYYY-MM-DD */
    CALC_ARG_INSTANT, /* RFC 3339 with offset */
};

enum calc_arg_need {
    CALC_OPTIONAL,
    CALC_REQUIRED,
};

struct calc_arg {
    const char *name;
    enum calc_arg_kind kind;
    enum calc_arg_need need; /* always; some are needed by what else is given */
    const char *unit;        /* "" none */
    double least, most;
    const char *fallback; /* NULL: none */
    const char *help;
    const char *choices;
};

enum calc_caution {
    CALC_CAUTION_NONE = 0,
    CALC_CAUTION_ALCOHOL = 1,
    CALC_CAUTION_FOOD = 2,
};

struct calc_what {
    const char *name;
    const char *line; /* one line for --help */
    const struct calc_arg *args;
    size_t arg_count;
    bool (*run)(struct calc_run *run); /* false: run->failure is filled */
    unsigned cautions;
    const char *examples[2];
};

enum {
    CALC_ARGS_MOST = 20
};

/* NULL past the end; NULL when there is no such WHAT. */
const struct calc_what *calc_what_at(size_t i);
const struct calc_what *calc_what_find(const char *name);

extern const struct calc_what calc_what_ethanol, calc_what_dilute, calc_what_sucrose,
    calc_what_blend, calc_what_target, calc_what_thaw, calc_what_extraction, calc_what_units,
    calc_what_date_mark, calc_what_elapsed, calc_what_emissions;

#endif
