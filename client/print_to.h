/* print_to.h - which form is wanted, and where it goes: --format and --out of every word that has
 * prints.
 */
#ifndef CLIENT_PRINT_TO_H
#define CLIENT_PRINT_TO_H

#include "client/command.h"

/* The value of --format; without it what --json, --csv or neither ask for. Lent. */
const char *print_form(const struct given *given);

/* The file of --out, or -o; NULL: stdout. Lent. */
const char *print_path(const struct given *given);

#endif
