/* report_file.h - where the print of a report goes.
 */
#ifndef CLIENT_REPORT_FILE_H
#define CLIENT_REPORT_FILE_H

#include <stdbool.h>
#include "proto/err.h"

/* Writes `text` to `path`, or to stdout (NULL). A file appears whole or not at all: it is written
 * beside itself under another name first. `tables`: the text is the tables of a spreadsheet, which
 * knockbox-sheet makes it from. ERR_IO: the file cannot be written, or the program is not there. */
enum err report_put(const char *path, const char *text, bool tables, struct err_text *why);

#endif
