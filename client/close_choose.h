/* close_choose.h - a code out of what the site offers, for the questions of a close.
 */
#ifndef CLIENT_CLOSE_CHOOSE_H
#define CLIENT_CLOSE_CHOOSE_H

#include "client/close_sheet.h"

/* The whole code, or the beginning of just one code or name. An empty list takes any code: the box
 * may not have heard from the hub yet. ERR_INPUT: `why` lists the choices. */
enum err take_choice(const struct close_choices *choices, const char *field, const char *answer,
                     char out[SHEET_CODE], struct err_text *why);

/* The code when there is just one, else "". */
const char *only_choice(const struct close_choices *choices);

#endif
