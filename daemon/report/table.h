/* table.h - the one table model that every writer of a report reads.
 *
 * A model is a list of sections in the order of the report. A section has columns (key, words,
 * unit) and rows of cells; every cell is text that is already rounded, so that all prints show the
 * same digits. `path` says where the section stands in the JSON print: "stock.sites" is the member
 * `sites` of the object `stock`; "" is the report itself. A column key with a dot makes an object
 * inside the row. A failure (no memory) sticks: fill on, and ask table_error() at the end.
 */
#ifndef DAEMON_REPORT_TABLE_H
#define DAEMON_REPORT_TABLE_H

#include <stdbool.h>
#include <stddef.h>
#include "proto/err.h"

enum cell_type {
    CELL_ABSENT, /* the records do not determine it: no key in JSON, blank elsewhere */
    CELL_NULL,   /* does not exist: null in JSON, a dash elsewhere */
    CELL_TEXT,
    CELL_TRUE,
    CELL_FALSE,
};

struct cell {
    enum cell_type type;
    const char *text;  /* CELL_TEXT; lent by the model */
    const char *brief; /* the same for a headline, rounded from the exact value; NULL: as `text` */
};

struct column {
    const char *key;   /* in JSON; "" in a section of plain values */
    const char *label; /* for people */
    const char *unit;  /* "kg", "%", "" where there is none */
    bool number;
};

enum section_shape {
    SHAPE_FIELDS, /* one row: an object */
    SHAPE_ROWS,   /* a list of objects */
    SHAPE_LIST,   /* a list of plain values: one column */
    SHAPE_NULL,   /* nothing there: null */
};

struct section {
    const char *path;
    const char *title;
    enum section_shape shape;
    const struct column *columns;
    size_t n_columns;
    struct cell *cells; /* n_rows x n_columns */
    size_t n_rows, cap_rows;
    size_t n_totals; /* of the rows, at their end: sums of the others (people.h only) */
};

struct table_model;

enum err table_new(struct table_model **out_model, struct err_text *why);
void table_free(struct table_model *model); /* NULL is fine */
enum err table_error(const struct table_model *model, struct err_text *why);

/* ---- filling. Columns are lent for the life of the model. */

void table_section(struct table_model *model, const char *path, const char *title,
                   enum section_shape shape, const struct column *columns, size_t n_columns);
/* A row of absent cells at the end of the last section; FIELDS sections have their one already. */
void table_row(struct table_model *model);
/* The same for a row that is a sum of rows before it; no other row may follow. */
void table_total(struct table_model *model);
/* Cells of the last row. The key must be one of the section's columns. NULL text: null. */
void table_set(struct table_model *model, const char *key, const char *text);
/* What a headline says of a cell that has a text: with fewer decimals. */
void table_brief(struct table_model *model, const char *key, const char *text);
void table_set_bool(struct table_model *model, const char *key, bool value);
/* Text that lives as long as the model; NULL when out of memory. */
const char *table_text(struct table_model *model, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

#define TABLE_SECTION(model, path, title, shape, columns)       \
    table_section((model), (path), (title), (shape), (columns), \
                  sizeof(columns) / sizeof(columns)[0])

/* ---- reading */

size_t table_count(const struct table_model *model);
const struct section *table_at(const struct table_model *model, size_t i);           /* lent */
const struct section *table_find(const struct table_model *model, const char *path); /* NULL */
const struct cell *table_cell(const struct section *section, size_t row, size_t column);
/* The place of the column with that key; n_columns: there is none. */
size_t table_column(const struct section *section, const char *key);
/* The text at section `path`, first row, column `key`; NULL when it is not a text. */
const char *table_get(const struct table_model *model, const char *path, const char *key);
/* The same for a headline. */
const char *table_headline(const struct table_model *model, const char *path, const char *key);

#endif
