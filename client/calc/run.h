/* run.h - one calculation under way: its arguments, its answer, what went wrong. */
#ifndef CLIENT_CALC_RUN_H
#define CLIENT_CALC_RUN_H

#include <jansson.h>
#include <stdbool.h>

#include "client/calc/what.h"
#include "proto/decimal.h"
#include "proto/err.h"

/* `field` and `got` are NULL where they do not apply; they are lent by the command
 * line or by a table. */
struct calc_failure {
    enum err code; /* ERR_USAGE, ERR_INPUT */
    const char *field;
    const char *got;
    char want[256]; /* "": does not apply */
    char message[512];
};

struct calc_run {
    const struct calc_what *what;     /* NULL until it is known */
    const char *text[CALC_ARGS_MOST]; /* as typed, NULL: not given */
    double number[CALC_ARGS_MOST];    /* of numbers that were given */
    json_t *answer, *low, *high, *assumed;
    bool endless; /* a number of the answer is not finite */
    bool full;    /* out of memory */
    struct calc_failure failure;
};

/* ---- arguments; `name` is in the table of the WHAT ---- */

bool calc_given(const struct calc_run *run, const char *name);

/* The number, or the default, which is then listed under `assumed`; NAN when there
 * is neither. */
double calc_number(struct calc_run *run, const char *name);

/* The text, or the default (assumed); NULL when there is neither. */
const char *calc_text(struct calc_run *run, const char *name);

/* The number exactly as typed, or the default (assumed). False, with the failure
 * filled: more digits than are kept exactly. */
bool calc_exact(struct calc_run *run, const char *name, struct decimal *out);

/* How many of the names (ended by NULL) were given. */
int calc_count_given(const struct calc_run *run, const char *const *names);

/* ---- failures; all return false ---- */

/* The argument's value is refused: got is what was typed, NULL when it is missing. */
bool calc_refuse(struct calc_run *run, const char *name, const char *want, ...)
    __attribute__((format(printf, 3, 4)));

/* No single argument is to blame. */
bool calc_refuse_all(struct calc_run *run, const char *want);

bool calc_missing(struct calc_run *run, const char *name);

/* Exactly one of the names must be given; true when it is so. */
bool calc_exactly_one(struct calc_run *run, const char *const *names);

/* ---- the answer, keys in the order of these calls ---- */

void calc_answer_number(struct calc_run *run, const char *key, double value);
void calc_answer_null(struct calc_run *run, const char *key);
/* null when the value is NAN */
void calc_answer_maybe(struct calc_run *run, const char *key, double value);
/* null when the text is NULL */
void calc_answer_text(struct calc_run *run, const char *key, const char *text);
void calc_answer_json(struct calc_run *run, const char *key, json_t *value); /* taken */

/* A number with its interval. */
void calc_answer_range(struct calc_run *run, const char *key, double low, double value,
                       double high);
void calc_answer_range_text(struct calc_run *run, const char *key, const char *low,
                            const char *value, const char *high);
/* There is an interval, but not for these numbers: empty `low` and `high`. */
void calc_answer_no_range(struct calc_run *run);

/* `valid` and, when `why` is not NULL or "", why not. */
void calc_answer_valid(struct calc_run *run, const char *why);
void calc_answer_source(struct calc_run *run, const char *source);

/* A finite number, taken by a container; not finite: null, and the run is endless. */
json_t *calc_json_number(struct calc_run *run, double value);

/* A JSON string of any bytes: what is not UTF-8 becomes U+FFFD. */
json_t *calc_json_text(const char *text);

#endif
