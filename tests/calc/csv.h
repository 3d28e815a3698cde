/* csv.h - reads a reference table for tests: # lines skipped, then a header, then rows. */
#ifndef TESTS_CALC_CSV_H
#define TESTS_CALC_CSV_H

#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum {
    CSV_COLUMNS = 24,
    CSV_ROWS = 256,
    CSV_TABLES = 16,
    CSV_TEXT = 512 * 1024,
};

struct csv {
    int columns, rows;
    char *name[CSV_COLUMNS];
    char *cell[CSV_ROWS][CSV_COLUMNS];
};

/* Tables live until the test's process ends; nothing of them is on the heap. */
static struct csv csv_tables[CSV_TABLES];
static int csv_count;
static char csv_text_all[CSV_TEXT];
static char *csv_text_end = csv_text_all;

static inline int
csv_cut(char *line, char **cell)
{
    int n = 0;
    char *to = line;
    int quoted = 0;
    cell[n++] = to;
    for (char *s = line; *s != '\0' && *s != '\n'; s++) {
        if (quoted && s[0] == '"' && s[1] == '"')
            *to++ = *s++;
        else if (*s == '"')
            quoted = !quoted;
        else if (*s == ',' && !quoted) {
            *to++ = '\0';
            cell[n++] = to;
        } else
            *to++ = *s;
    }
    *to = '\0';
    return n;
}

/* `file` is relative to the source tree. */
static inline struct csv *
csv_read(const char *file)
{
    char path[1024];
    char line[8192];
    snprintf(path, sizeof path, "%s/%s", TEST_SOURCE, file);
    FILE *in = fopen(path, "r");
    cr_assert(in != NULL, "%s", path);
    cr_assert(csv_count < CSV_TABLES);
    struct csv *t = &csv_tables[csv_count++];
    while (fgets(line, sizeof line, in) != NULL) {
        if ((t->columns == 0 && line[0] == '#') || line[0] == '\n')
            continue;
        char *copy = csv_text_end;
        cr_assert(strlen(line) + 1 < (size_t)(csv_text_all + CSV_TEXT - csv_text_end));
        csv_text_end = stpcpy(copy, line) + 1;
        if (t->columns == 0)
            t->columns = csv_cut(copy, t->name);
        else
            cr_assert(csv_cut(copy, t->cell[t->rows++]) == t->columns, "%s: %s", file, line);
    }
    fclose(in);
    cr_assert(t->rows > 0, "%s has no rows", file);
    return t;
}

static inline struct csv *
csv_reference(const char *name)
{
    char path[256];
    snprintf(path, sizeof path, "tests/data/reference/%s", name);
    return csv_read(path);
}

static inline const char *
csv_text(const struct csv *t, int row, const char *column)
{
    for (int c = 0; c < t->columns; c++)
        if (strcmp(t->name[c], column) == 0)
            return t->cell[row][c];
    cr_assert(0, "no column %s", column);
    return "";
}

static inline double
csv_number(const struct csv *t, int row, const char *column)
{
    return strtod(csv_text(t, row, column), NULL);
}

static inline int
csv_empty(const struct csv *t, int row, const char *column)
{
    return csv_text(t, row, column)[0] == '\0';
}

#endif
