/* why_find.c - from a key to the figure of a report that it names. */
#include <stdio.h>
#include <string.h>
#include "daemon/report/why.h"

/* "emissions.lines[composting,food,no].kg" taken apart. */
struct key {
    char path[96];
    char row[160];
    const char *column; /* "": the row's main figure */
    bool has_row;
};

static bool
split(const char *text, struct key *out)
{
    const char *open = strchr(text, '['), *close = open != NULL ? strchr(open, ']') : NULL;
    memset(out, 0, sizeof *out);
    if (open == NULL || close == NULL)
        return false;
    size_t path = (size_t)(open - text), row = (size_t)(close - open) - 1;
    if (path >= sizeof out->path || row >= sizeof out->row || (close[1] != '\0' && close[1] != '.'))
        return false;
    memcpy(out->path, text, path);
    memcpy(out->row, open + 1, row);
    out->column = close[1] == '.' ? close + 2 : "";
    out->has_row = true;
    return true;
}

static bool
has_column(const struct section *s, const char *key, size_t *out_column)
{
    for (size_t i = 0; i < s->n_columns; i++) {
        if (strcmp(s->columns[i].key, key) != 0)
            continue;
        *out_column = i;
        return true;
    }
    return false;
}

/* A single figure: "path.column", "column" at the top. */
static bool
find_field(const struct table_model *model, const char *key, struct why_figure *out)
{
    for (size_t i = 0; i < table_count(model); i++) {
        const struct section *s = table_at(model, i);
        size_t len = strlen(s->path);
        const char *rest = len == 0 ? key : key + len + 1;
        if (s->shape != SHAPE_FIELDS || s->n_rows == 0 ||
            (len > 0 && (strncmp(s->path, key, len) != 0 || key[len] != '.')) ||
            !has_column(s, rest, &out->column))
            continue;
        out->section = s;
        out->row = 0;
        return true;
    }
    return false;
}

static bool
cell_is(const struct cell *cell, const char *word)
{
    switch (cell->type) {
    case CELL_TEXT:
        return strcmp(cell->text, word) == 0;
    case CELL_TRUE:
        return strcmp(word, "yes") == 0 || strcmp(word, "true") == 0;
    case CELL_FALSE:
        return strcmp(word, "no") == 0 || strcmp(word, "false") == 0;
    default:
        return strcmp(word, "-") == 0;
    }
}

/* Are the row's first cells these, as far as they are told? */
static bool
row_is(const struct section *s, size_t row, const char *names)
{
    char one[160];
    for (size_t i = 0; i < s->n_columns; i++) {
        size_t len = strcspn(names, ",");
        (void)snprintf(one, sizeof one, "%.*s", (int)len, names);
        if (!cell_is(table_cell(s, row, i), one))
            return false;
        names += len;
        if (*names == '\0')
            return true;
        names++;
    }
    return false;
}

static const char *
main_column(const char *path)
{
    return strcmp(path, "waste.by_destination") == 0 ? "kg"
           : strcmp(path, "emissions.lines") == 0    ? "kg_co2e"
                                                     : "";
}

/* "emissions.lines[composting,food,no]": as many of the first cells as the list needs. */
static int
name_row(const struct section *s, size_t row, char *out, size_t size)
{
    size_t names = strcmp(s->path, "emissions.lines") == 0 ? 3
                   : strcmp(s->path, "product") == 0       ? 2
                                                           : 1;
    int len = snprintf(out, size, "%s[", s->path);
    for (size_t i = 0; i < names && len < (int)size; i++) {
        const struct cell *cell = table_cell(s, row, i);
        const char *word = cell->type == CELL_TEXT    ? cell->text
                           : cell->type == CELL_TRUE  ? "yes"
                           : cell->type == CELL_FALSE ? "no"
                                                      : "-";
        len += snprintf(out + len, size - (size_t)len, "%s%s", i > 0 ? "," : "", word);
    }
    if (len < (int)size)
        len += snprintf(out + len, size - (size_t)len, "]");
    return len;
}

/* Names the rows that were meant, or those there are. */
static enum err
refuse_row(const struct section *s, const char *text, const struct key *key, bool any,
           struct err_text *why)
{
    char want[240] = "one of: ";
    size_t len = strlen(want), told = 0;
    for (size_t row = 0; row < s->n_rows; row++) {
        char name[160];
        if (any && !row_is(s, row, key->row))
            continue;
        int n = name_row(s, row, name, sizeof name);
        if (len + (size_t)n + 8 >= sizeof want || n >= (int)sizeof name) {
            (void)snprintf(want + len, sizeof want - len, " ...");
            break;
        }
        len +=
            (size_t)snprintf(want + len, sizeof want - len, "%s%s", told > 0 ? " or " : "", name);
        told++;
    }
    return err_input(why, "why", text, told > 0 ? want : "a list that has rows in this report");
}

static enum err
find_cell(const struct table_model *model, const char *text, const struct key *key,
          struct why_figure *out, struct err_text *why)
{
    const struct section *s = table_find(model, key->path);
    const char *column = key->column[0] != '\0' ? key->column : main_column(key->path);
    size_t found = 0;
    if (strcmp(key->path, "restatement.changes") == 0) /* figures of the report, twice each */
        return err_input(why, "why", text, "the figure by its own name, such as stock.closing_kg");
    if (s == NULL || s->shape != SHAPE_ROWS || !has_column(s, column, &out->column))
        return err_input(why, "why", text, "a list of the report and one of its figures");
    out->section = s;
    for (size_t row = 0; row < s->n_rows; row++) {
        if (!row_is(s, row, key->row))
            continue;
        out->row = row;
        found++;
    }
    return found == 1 ? ERR_OK : refuse_row(s, text, key, found > 1, why);
}

enum err
why_find(const struct table_model *model, const char *key, struct why_figure *out_figure,
         struct err_text *why)
{
    struct key parts;
    if (split(key, &parts))
        return find_cell(model, key, &parts, out_figure, why);
    if (find_field(model, key, out_figure))
        return ERR_OK;
    return err_input(why, "why", key,
                     "a key of the report, such as waste.diverted_kg, "
                     "stock.sites[SITE].closing_kg or batches[BATCH].in_g");
}
