/* writer_csv.c - the rows of the first table, by RFC 4180; no cell is a formula to a spreadsheet.
 */
#include <string.h>
#include "client/writer.h"

/* A number may begin with a minus; other text that begins like a formula gets an apostrophe. */
static bool
looks_like_formula(const char *text)
{
    if (text[0] == '\0' || strchr("=+-@\t\r", text[0]) == NULL)
        return false;
    return !(text[0] == '-' && text[1] != '\0' &&
             text[1 + strspn(text + 1, "0123456789.")] == '\0');
}

static void
put_cell(FILE *f, const char *text)
{
    const char *guard = looks_like_formula(text) ? "'" : "";
    if (strpbrk(text, ",\"\r\n") == NULL) {
        (void)fprintf(f, "%s%s", guard, text);
        return;
    }
    (void)fprintf(f, "\"%s", guard);
    for (; *text != '\0'; text++) {
        if (*text == '"')
            (void)fputc('"', f);
        (void)fputc(*text, f);
    }
    (void)fputc('"', f);
}

static void
put_table(struct writer *writer, const struct column *columns, size_t n, const json_t *rows)
{
    char text[4096];
    if (writer->had_table)
        return;
    for (size_t c = 0; c < n; c++)
        (void)fprintf(writer->f, "%s%s", c > 0 ? "," : "", columns[c].key);
    (void)fputs("\r\n", writer->f);
    for (size_t r = 0; r < json_array_size(rows); r++) {
        for (size_t c = 0; c < n; c++) {
            const json_t *value = json_object_get(json_array_get(rows, r), columns[c].key);
            if (c > 0)
                (void)fputc(',', writer->f);
            put_cell(writer->f, value != NULL ? cell_raw(value, text, sizeof text) : "");
        }
        (void)fputs("\r\n", writer->f);
    }
}

const struct writer_form writer_csv = {.table = put_table};
