/* view_print.h - the prints of a plan: one view, as the daemon gives it, and a form a file.
 */
#ifndef CLIENT_PLAN_VIEW_PRINT_H
#define CLIENT_PLAN_VIEW_PRINT_H

#include <jansson.h>
#include <stdio.h>
#include "client/command.h"

/* Prints the view in the form that the command line asks for (print_to.h), where it says.
 * ERR_INPUT: no such form; ERR_IO, also when the program that makes calendars fails. */
enum err view_print(const struct given *given, const json_t *view, struct err_text *why);

/* ---- a form a file; `f` is lent */

/* Days as columns, in 72 columns of text; `assumed`: with all that the plan takes for granted. */
void view_print_text(const json_t *view, bool assumed, FILE *f);
/* A line an event, of a ride a line a café. */
void view_print_csv(const json_t *view, FILE *f);
/* One page for a browser, or for A4 on its side: no script, nothing from the network. */
void view_print_page(const json_t *view, FILE *f);
/* The page's pictures: stations and days. */
void view_print_picture(const json_t *view, size_t from, size_t end, FILE *f);
/* iCalendar (RFC 5545), by the program knockbox-calendar. */
enum err view_print_calendar(const json_t *view, FILE *f, struct err_text *why);

#endif
