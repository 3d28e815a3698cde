/* writer.h - one answer printed three ways: for people, as JSON, as CSV.
 *
 * A command says title, tables and closing line once; a writer prints what its form has room for:
 * text all of it, JSON the whole answer as it came, CSV the rows of the first table.
 */
#ifndef CLIENT_WRITER_H
#define CLIENT_WRITER_H

#include <jansson.h>
#include <stdio.h>
#include "client/command.h"

enum cell_form {
    CELL_TEXT,
    CELL_MASS,   /* grams */
    CELL_VOLUME, /* millilitres */
    CELL_COUNT,
    CELL_SPAN, /* minutes */
    CELL_DATE, /* YYYY-MM-DD: "26 Mar" */
    CELL_WHEN, /* RFC 3339: "26 Feb 22:04" */
    CELL_YES,  /* bool: "yes", else blank */
    CELL_LIST, /* texts, separated by "; " */
};

/* A column: the member of each row, its title for people, its form. */
struct column {
    const char *key, *title;
    enum cell_form form;
    size_t most; /* columns it may take, 0: any */
};

struct writer;

struct writer_form {
    void (*answer)(struct writer *writer, const json_t *answer);
    void (*title)(struct writer *writer, const char *left, const char *right);
    void (*table)(struct writer *writer, const struct column *columns, size_t n,
                  const json_t *rows);
    void (*line)(struct writer *writer, const char *text);
};

struct writer {
    const struct writer_form *form;
    FILE *f;
    bool had_table;
};

extern const struct writer_form writer_text, writer_json, writer_csv;

/* `f` is lent. */
void writer_init(struct writer *writer, enum output output, FILE *f);

void writer_answer(struct writer *writer, const json_t *answer); /* first: the whole answer */
/* "Tubs in the freezer, Quayside" and, at the right end, "Wed 4 March 07:10" ("" for none). */
void writer_title(struct writer *writer, const char *left, const char *right);
void writer_table(struct writer *writer, const struct column *columns, size_t n,
                  const json_t *rows);
void writer_line(struct writer *writer, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

/* An answer that is a list: for programs the rows of one member as CSV, or all as JSON; for people
 * what `text` prints. Prints on stdout. */
struct list {
    const char *member;
    const struct column *columns;
    size_t n;
    void (*text)(struct writer *writer, json_t *answer);
};
void writer_list(enum output output, json_t *answer, const struct list *list);

/* A cell as text: for people, or raw for programs. Returns `out`. */
char *cell_shown(const json_t *value, enum cell_form form, char out[], size_t size);
char *cell_raw(const json_t *value, char out[], size_t size);

#endif
