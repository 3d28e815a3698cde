/* sheet_print.h - the day sheet (`knockbox plan today`) for people and for spreadsheets.
 */
#ifndef CLIENT_PLAN_SHEET_PRINT_H
#define CLIENT_PLAN_SHEET_PRINT_H

#include <jansson.h>
#include "client/writer.h"

/* The answer of the word `today`, in 72 columns. */
void sheet_print(struct writer *writer, const json_t *answer);
/* A line a tub, a thing to weigh, a batch that strains or is bottled: rows for a table. Yours. */
json_t *sheet_rows(const json_t *answer);

/* In the form and to the file that the command line asks for (print_to.h).
 * ERR_INPUT: the form is none of text, json and csv; ERR_IO. */
enum err sheet_put(const struct given *given, const json_t *answer, struct err_text *why);

#endif
