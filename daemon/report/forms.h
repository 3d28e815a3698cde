/* forms.h - the prints that a report comes in, in one table: name, file, media type, writer.
 *
 * `knockbox report`, delivery and its schedules all take what stands here; a new print is a row.
 */
#ifndef DAEMON_REPORT_FORMS_H
#define DAEMON_REPORT_FORMS_H

#include <stdbool.h>
#include <stddef.h>
#include "daemon/report/table.h"
#include "proto/err.h"

struct report_form {
    const char *name;   /* "json": as people write it, and the end of the file's name */
    const char *suffix; /* "json" */
    const char *media;  /* "application/json" */
    bool pictures;      /* wants the sections for pictures (report_ask of report_month.h) */
    bool tables;        /* the bytes are the tables that daemon/exchange/sheet.h makes it from */
    /* *out_bytes is yours (free), of *out_len bytes; may hold NUL. */
    enum err (*print)(const struct table_model *model, char **out_bytes, size_t *out_len,
                      struct err_text *why);
};

const struct report_form *report_forms(size_t *out_n);
const struct report_form *report_form_find(const char *name); /* NULL: none of that name */

/* All names: "json or text"; returns `out`. */
char *report_form_names(char *out, size_t size);

#endif
