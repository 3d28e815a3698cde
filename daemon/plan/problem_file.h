/* problem_file.h - a planning problem as a file: NAME.json and, in the same folder, its tubs as CSV.
 *
 * The form is described in docs/planning.md, section 8. What cannot be read is refused with one
 * sentence that names the place; nothing is guessed.
 */
#ifndef DAEMON_PLAN_PROBLEM_FILE_H
#define DAEMON_PLAN_PROBLEM_FILE_H

#include <stdio.h>

#include "daemon/plan/problem.h"

/* Reads and settles the problem of file `path` and the tubs file it names. *out_problem is yours.
 * ERR_IO: a file cannot be opened; ERR_FORMAT: another form; ERR_INPUT: what is in it is wrong. */
enum err problem_read(const char *path, struct problem **out_problem, struct err_text *why);

/* Writes NAME.json at `path` and the tubs beside it, as NAME.tubs.csv. ERR_IO. */
enum err problem_write(const struct problem *p, const char *path, struct err_text *why);

/* The same from and to bytes in memory. `json` and `csv` are only read. */
enum err problem_parse(const char *json, size_t json_len, const char *csv, size_t csv_len,
                       struct problem **out_problem, struct err_text *why);
void problem_print(const struct problem *p, const char *tubs_file, FILE *json);
void problem_print_tubs(const struct problem *p, FILE *csv);

#endif
