/* writer_text.c - for people: 72 columns, numbers to the right, two blanks between columns. */
#include <stdlib.h>
#include <string.h>
#include "client/show.h"
#include "client/writer.h"

enum {
    COLUMNS_MOST = 16,
    GAP = 2,
    LEAST_WIDTH = 6
};

static void
put_title(struct writer *writer, const char *left, const char *right)
{
    char safe[SHOW_TEXT], cut[SHOW_TEXT];
    size_t room = TEXT_WIDTH - (right[0] != '\0' ? show_width(right) + GAP : 0);
    (void)show_cut(show_safe(left, safe, sizeof safe), room, cut, sizeof cut);
    if (right[0] == '\0') {
        (void)fprintf(writer->f, "%s\n", cut);
        return;
    }
    show_padded(writer->f, cut, room + GAP, false);
    (void)fprintf(writer->f, "%s\n", right);
}

static bool
is_number(enum cell_form form)
{
    return form == CELL_MASS || form == CELL_VOLUME || form == CELL_COUNT || form == CELL_SPAN;
}

static const json_t *
cell(const json_t *rows, size_t row, const struct column *column)
{
    return json_object_get(json_array_get(rows, row), column->key);
}

/* As wide as the widest cell; then the widest text columns give way until all fit. */
static void
measure(const struct column *columns, size_t n, const json_t *rows, size_t widths[])
{
    char text[SHOW_TEXT];
    size_t total = 0;
    for (size_t c = 0; c < n; c++) {
        widths[c] = show_width(columns[c].title);
        for (size_t r = 0; r < json_array_size(rows); r++) {
            size_t w = show_width(
                cell_shown(cell(rows, r, &columns[c]), columns[c].form, text, sizeof text));
            widths[c] = w > widths[c] ? w : widths[c];
        }
        if (columns[c].most > 0 && widths[c] > columns[c].most)
            widths[c] = columns[c].most;
        total += widths[c] + (c > 0 ? GAP : 0);
    }
    while (total > TEXT_WIDTH) {
        size_t widest = 0;
        for (size_t c = 1; c < n; c++)
            if (widths[c] > widths[widest])
                widest = c;
        if (widths[widest] <= LEAST_WIDTH)
            break;
        widths[widest]--;
        total--;
    }
}

static void
put_cell(FILE *f, const char *text, size_t width, bool right, bool last)
{
    char cut[SHOW_TEXT];
    (void)show_cut(text, width, cut, sizeof cut);
    if (last && !right)
        (void)fputs(cut, f);
    else
        show_padded(f, cut, width, right);
    (void)fprintf(f, "%*s", last ? 0 : GAP, "");
}

/* Columns from `c` on have nothing to show in this row: no blanks at the end of the line. */
static bool
rest_is_empty(const struct column *columns, size_t c, size_t n, const json_t *rows, size_t row)
{
    char text[SHOW_TEXT];
    for (; c < n; c++)
        if (cell_shown(cell(rows, row, &columns[c]), columns[c].form, text, sizeof text)[0] != '\0')
            return false;
    return true;
}

static void
put_table(struct writer *writer, const struct column *columns, size_t n, const json_t *rows)
{
    char text[SHOW_TEXT];
    size_t widths[COLUMNS_MOST];
    if (n > COLUMNS_MOST || json_array_size(rows) == 0)
        return;
    measure(columns, n, rows, widths);
    for (size_t c = 0; c < n; c++)
        put_cell(writer->f, columns[c].title, widths[c], is_number(columns[c].form), c + 1 == n);
    (void)fputc('\n', writer->f);
    for (size_t r = 0; r < json_array_size(rows); r++) {
        for (size_t c = 0; c < n; c++) {
            bool last = rest_is_empty(columns, c + 1, n, rows, r);
            put_cell(writer->f,
                     cell_shown(cell(rows, r, &columns[c]), columns[c].form, text, sizeof text),
                     widths[c], is_number(columns[c].form), last);
            if (last)
                break;
        }
        (void)fputc('\n', writer->f);
    }
}

static void
put_line(struct writer *writer, const char *text)
{
    char safe[1024];
    show_wrapped(writer->f, show_safe(text, safe, sizeof safe), 0);
}

const struct writer_form writer_text = {.title = put_title, .table = put_table, .line = put_line};
