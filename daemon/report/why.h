/* why.h - the records behind a number of a report.
 *
 * A figure that is a sum over records is shown as one: each record that the folds took it from,
 * with what it adds or takes away, and the sum, which is the figure. Of a share, its parts are
 * named; of any other figure, what it is. Keys are those of the JSON print:
 *
 *   waste.diverted_kg                  a single figure
 *   stock.sites[quayside].closing_kg   in a row, named by its first texts, joined by commas
 *   product[house-liqueur,GBP].sold_minor
 *   emissions.lines[composting]        the row's main figure (kg_co2e; of by_destination: kg)
 */
#ifndef DAEMON_REPORT_WHY_H
#define DAEMON_REPORT_WHY_H

#include "daemon/report/report_month.h"

/* The report that `ask` asks for, as it stands, explained at one key. *out_model is yours: sections
 * `why` (key, value, unit, is: sum, share or other), `why.records` or `why.parts`, and of a sum
 * `why` again (sum, equal). ERR_INPUT: no such key. */
enum err report_why(struct ledger *ledger, struct store *store, const struct report_ask *ask,
                    const char *key, struct table_model **out_model, struct err_text *why);

/* A figure of a report. */
struct why_figure {
    const struct section *section;
    size_t row, column;
};

/* ERR_INPUT: no such key, no such row, or more than one. */
enum err why_find(const struct table_model *model, const char *key, struct why_figure *out_figure,
                  struct err_text *why);

#endif
