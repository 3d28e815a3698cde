/* sheet.h - a spreadsheet (.xlsx) from the tables of a report; with libxlsxwriter, which writes
 * files only: its scratch files have no name in any folder for longer than a moment.
 *
 * One sheet a list; the single figures stand on the first, one line each. Numbers are numbers with
 * their unit in the heading, days are days, sums are formulas over their own rows that carry the
 * report's figure. A text never becomes a formula or a link. The same tables give the same bytes.
 */
#ifndef DAEMON_EXCHANGE_SHEET_H
#define DAEMON_EXCHANGE_SHEET_H

#include <stddef.h>
#include <stdint.h>
#include "proto/err.h"

/* `tables`: as report_sheet() prints them. *out_bytes is yours (free).
 * ERR_INPUT: these are no tables. ERR_IO: no room for scratch files. */
enum err sheet_make(const uint8_t *tables, size_t len, uint8_t **out_bytes, size_t *out_len,
                    struct err_text *why);

#endif
