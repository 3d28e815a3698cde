/* show.h - text that people see: safe on a terminal, as wide as it looks.
 */
#ifndef CLIENT_SHOW_H
#define CLIENT_SHOW_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

enum {
    SHOW_TEXT = 512
};

/* A copy in which nothing can move the cursor or turn the writing: control bytes, broken UTF-8 and
 * direction marks become `?`. Cut at `size`. Returns `out`. */
char *show_safe(const char *text, char *out, size_t size);

/* Columns that safe text takes on a terminal. */
size_t show_width(const char *text);

/* Safe text cut to at most `width` columns (the last is then an ellipsis). Returns `out`. */
char *show_cut(const char *text, size_t width, char *out, size_t size);

/* Prints safe text and blanks up to `width` columns; right: blanks first. */
void show_padded(FILE *f, const char *text, size_t width, bool right);

/* Prints text broken at blanks into lines of 72 columns; lines after the first begin with `indent`
 * blanks. Ends with a line feed. */
void show_wrapped(FILE *f, const char *text, size_t indent);

/* "3.10 kg" (three decimals under 0.1 kg). Returns `out`. */
char *show_mass(int64_t grams, char out[32]);
char *show_volume(int64_t ml, char out[32]); /* "14.2 l" */
/* From RFC 3339 or YYYY-MM-DD: "26 Feb 22:04", " 1 Mar"; text that is neither stays. */
char *show_when(const char *text, char out[32]);
char *show_date(const char *text, char out[32]);
char *show_long_date(int32_t day, char out[48]); /* "Tuesday 3 March" */
char *show_span(int64_t minutes, char out[32]);  /* "4 h 12 min" */

#endif
