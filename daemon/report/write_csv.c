/* write_csv.c - the print for spreadsheets: one table of all figures, RFC 4180.
 *
 * Records behind a figure (why.h) are a table of their own, with their sum as the last line.
 *
 * section,row,key,value,unit: `section` and `key` as in the JSON print, `row` counted from 1. What
 * is null has an empty value, what is absent has no line. A text that a spreadsheet would take for
 * a formula gets an apostrophe in front; numbers are ours and stay as they are.
 */
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/report/report.h"

static void
put(FILE *out, const char *text, bool number)
{
    bool formula = !number && text[0] != '\0' && strchr("=+-@\t\r", text[0]) != NULL;
    bool quote = formula || strpbrk(text, ",\"\r\n") != NULL;
    if (!quote) {
        (void)fputs(text, out);
        return;
    }
    (void)fputs(formula ? "\"'" : "\"", out);
    for (; *text != '\0'; text++) {
        if (*text == '"')
            (void)fputc('"', out);
        (void)fputc(*text, out);
    }
    (void)fputc('"', out);
}

static const char *
word(const struct cell *cell)
{
    switch (cell->type) {
    case CELL_TEXT:
        return cell->text;
    case CELL_TRUE:
        return "true";
    case CELL_FALSE:
        return "false";
    default:
        return "";
    }
}

static void
put_section(FILE *out, const struct section *s)
{
    for (size_t row = 0; row < s->n_rows; row++) {
        for (size_t i = 0; i < s->n_columns; i++) {
            const struct cell *cell = table_cell(s, row, i);
            if (cell->type == CELL_ABSENT)
                continue;
            (void)fprintf(out, "%s,%zu,%s,", s->path, row + 1, s->columns[i].key);
            put(out, word(cell), s->columns[i].number);
            (void)fprintf(out, ",%s\r\n", s->columns[i].unit);
        }
    }
}

static void
put_cells(FILE *out, const struct section *s, size_t row)
{
    for (size_t i = 0; i < s->n_columns; i++) {
        const char *text = row == SIZE_MAX ? s->columns[i].key : word(table_cell(s, row, i));
        (void)fputs(i > 0 ? "," : "", out);
        put(out, text, row == SIZE_MAX || s->columns[i].number);
    }
    (void)fputs("\r\n", out);
}

/* day,site,...,amount,...: a line a record; then `sum` in the first column, the sum under amount. */
static void
put_records(FILE *out, const struct section *s, const char *sum)
{
    for (size_t row = 0; row <= s->n_rows; row++)
        put_cells(out, s, row == 0 ? SIZE_MAX : row - 1);
    for (size_t i = 0; i < s->n_columns; i++)
        (void)fprintf(out, "%s%s", i > 0 ? "," : "sum",
                      strcmp(s->columns[i].key, "amount") == 0 && sum != NULL ? sum : "");
    (void)fputs("\r\n", out);
}

enum err
report_csv(const struct table_model *model, char **out_text, struct err_text *why)
{
    char *text = NULL;
    size_t len = 0;
    FILE *out = open_memstream(&text, &len);
    if (out == NULL)
        return err_set(ERR_MEM, why, "out of memory for the report");
    const struct section *records = table_find(model, "why.records");
    if (records != NULL)
        put_records(out, records, table_get(model, "why", "sum"));
    else
        (void)fputs("section,row,key,value,unit\r\n", out);
    for (size_t i = 0; records == NULL && i < table_count(model); i++)
        put_section(out, table_at(model, i));
    bool failed = ferror(out) != 0;
    if (fclose(out) != 0 || failed) {
        free(text);
        return err_set(ERR_MEM, why, "out of memory for the report");
    }
    *out_text = text;
    return ERR_OK;
}
