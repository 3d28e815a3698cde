/* write_csv.c - the print for spreadsheets: one table of all figures, RFC 4180.
 *
 * section,row,key,value,unit: `section` and `key` as in the JSON print, `row` counted from 1. What
 * is null has an empty value, what is absent has no line. A text that a spreadsheet would take for
 * a formula gets an apostrophe in front; numbers are ours and stay as they are.
 */
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
        fputs(text, out);
        return;
    }
    fputs(formula ? "\"'" : "\"", out);
    for (; *text != '\0'; text++) {
        if (*text == '"')
            fputc('"', out);
        fputc(*text, out);
    }
    fputc('"', out);
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
            fprintf(out, "%s,%zu,%s,", s->path, row + 1, s->columns[i].key);
            put(out, word(cell), s->columns[i].number);
            fprintf(out, ",%s\r\n", s->columns[i].unit);
        }
    }
}

enum err
report_csv(const struct table_model *model, char **out_text, struct err_text *why)
{
    char *text = NULL;
    size_t len = 0;
    FILE *out = open_memstream(&text, &len);
    if (out == NULL)
        return err_set(ERR_MEM, why, "out of memory for the report");
    fputs("section,row,key,value,unit\r\n", out);
    for (size_t i = 0; i < table_count(model); i++)
        put_section(out, table_at(model, i));
    bool failed = ferror(out) != 0;
    if (fclose(out) != 0 || failed) {
        free(text);
        return err_set(ERR_MEM, why, "out of memory for the report");
    }
    *out_text = text;
    return ERR_OK;
}
