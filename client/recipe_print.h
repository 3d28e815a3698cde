/* recipe_print.h - a card of the recipe book, and what suits a flavour, for people.
 */
#ifndef CLIENT_RECIPE_PRINT_H
#define CLIENT_RECIPE_PRINT_H

#include <jansson.h>
#include "client/writer.h"

/* `answer` is what the word `recipe` gave; it is made ready for the table on the way. */
void recipe_print_card(struct writer *writer, json_t *answer);
void recipe_print_suits(struct writer *writer, json_t *answer);

/* The rows of the card with their lots as text, and the rows of all suits with their kind. Yours. */
json_t *recipe_card_rows(const json_t *answer);
json_t *recipe_suit_rows(const json_t *answer);

#endif
