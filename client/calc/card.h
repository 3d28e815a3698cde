/* card.h - an answer, a failure and the help, as a person reads them. */
#ifndef CLIENT_CALC_CARD_H
#define CLIENT_CALC_CARD_H

#include <jansson.h>
#include <stdio.h>

#include "client/calc/run.h"

enum {
    CALC_CARD_COLUMNS = 72
};

/* The finished answer (all keys, `low`, `high`, `assumed`), at most 72 columns. */
void calc_card_print(const struct calc_what *what, const json_t *answer, FILE *out);

/* One line: "knockbox calc blend: sugar_g: -5: expected 0 to 1000000000 (g)". */
void calc_card_failure(const struct calc_run *run, FILE *err);

/* All WHATs, or one with its arguments and two examples. */
void calc_card_help(FILE *out);
void calc_card_help_what(const struct calc_what *what, FILE *out);

/* Writes text in lines of at most 72 columns, each after `indent` blanks; the first
 * line begins after `used` columns that are already there. */
void calc_card_wrap(const char *text, int used, int indent, FILE *out);

#endif
