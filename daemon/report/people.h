/* people.h - the tables as people read them: money in its currency, sums below the rows.
 *
 * A second table model, made from the one that all machines' prints read; those keep minor units.
 * What may be summed stands in one table there: rows that make a whole, never the four values of a
 * product among each other (P1), never one currency with another, the drain apart (W6).
 */
#ifndef DAEMON_REPORT_PEOPLE_H
#define DAEMON_REPORT_PEOPLE_H

#include "daemon/report/table.h"

/* *out_people is yours: end it with table_free(); it lends columns and paths of `model`. */
enum err table_for_people(const struct table_model *model, struct table_model **out_people,
                          struct err_text *why);

/* The same sums below rows as machines read them: money stays minor units. */
enum err table_with_totals(const struct table_model *model, struct table_model **out_copy,
                           struct err_text *why);

/* Of either: is row `row` a part of the sum in row `total`? */
bool people_in_total(const struct section *section, size_t total, size_t row);

/* "kg"; "" for money, which carries its currency. */
const char *people_unit(const struct column *column);

/* "yes", "no", "-" for null, "" for absent, else the text. */
const char *people_word(const struct cell *cell);

/* The text in column `key` of a row; "" where there is none. */
const char *people_text(const struct section *section, size_t row, const char *key);

/* Does row `row` of `product` stand for all of its currency? */
bool people_is_whole_currency(const struct section *product, size_t row);

#endif
