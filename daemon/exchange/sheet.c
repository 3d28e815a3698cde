/* sheet.c - see sheet.h; the form of what comes in: daemon/report/write_sheet.c. */
#include "daemon/exchange/sheet.h"

#include <errno.h>
#include <jansson.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>
#include <xlsxwriter.h>

#include "daemon/exchange/sheet_text.h"

enum {
    DIGITS_MOST = 15, /* that a number of a spreadsheet surely keeps */
    PLACES_MOST = 6,  /* that are shown; the cell holds all */
    WIDTH_LEAST = 9,
    WIDTH_MOST = 60,
    RANGES = 4096 /* bytes of one formula */
};

struct sheet {
    lxw_workbook *book;
    lxw_format *head, *text, *bold, *day;
    lxw_format *number[PLACES_MOST + 1], *sum[PLACES_MOST + 1];
    struct sheet_names names;
};

/* A table as it came in; lent by the JSON. */
struct table {
    const char *name;
    bool fields;
    json_t *columns, *rows, *totals;
};

/* ---- formats */

static lxw_format *
number_format(struct sheet *s, int places, bool bold)
{
    static const char *const forms[PLACES_MOST + 1] = {
        "#,##0", "#,##0.0", "#,##0.00", "#,##0.000", "#,##0.0000", "#,##0.00000", "#,##0.000000",
    };
    lxw_format *format = workbook_add_format(s->book);
    format_set_num_format(format, forms[places]);
    if (bold) {
        format_set_bold(format);
        format_set_top(format, LXW_BORDER_THIN);
    }
    return format;
}

static void
add_formats(struct sheet *s)
{
    s->head = workbook_add_format(s->book);
    format_set_bold(s->head);
    format_set_text_wrap(s->head);
    format_set_align(s->head, LXW_ALIGN_VERTICAL_TOP);
    format_set_bottom(s->head, LXW_BORDER_THIN);
    s->text = workbook_add_format(s->book);
    format_set_text_wrap(s->text);
    format_set_align(s->text, LXW_ALIGN_VERTICAL_TOP);
    s->bold = workbook_add_format(s->book);
    format_set_bold(s->bold);
    format_set_top(s->bold, LXW_BORDER_THIN);
    s->day = workbook_add_format(s->book);
    format_set_num_format(s->day, "yyyy-mm-dd");
    format_set_align(s->day, LXW_ALIGN_LEFT);
    for (int i = 0; i <= PLACES_MOST; i++) {
        s->number[i] = number_format(s, i, false);
        s->sum[i] = number_format(s, i, true);
    }
}

/* ---- cells */

static const char *
member(const json_t *object, const char *name)
{
    const char *text = json_string_value(json_object_get(object, name));
    return text != NULL ? text : "";
}

static void
put_text(struct sheet *s, lxw_worksheet *sheet, uint32_t row, uint16_t column, const char *text,
         bool bold)
{
    char *clean = sheet_clean(text);
    if (clean != NULL)
        (void)worksheet_write_string(sheet, row, column, clean, bold ? s->bold : s->text);
    free(clean);
}

static bool
put_day(struct sheet *s, lxw_worksheet *sheet, uint32_t row, uint16_t column, const char *text)
{
    lxw_datetime day = {0};
    if (!sheet_day(text, &day.year, &day.month, &day.day))
        return false;
    return worksheet_write_datetime(sheet, row, column, &day, s->day) == LXW_NO_ERROR;
}

/* What no spreadsheet keeps to the last digit stays a text. */
static bool
put_number(struct sheet *s, lxw_worksheet *sheet, uint32_t row, uint16_t column, const char *text,
           const char *formula)
{
    int places = 0;
    double value = 0;
    if (!sheet_number(text, DIGITS_MOST, &value, &places))
        return false;
    places = places < PLACES_MOST ? places : PLACES_MOST;
    if (formula == NULL)
        return worksheet_write_number(sheet, row, column, value, s->number[places]) == LXW_NO_ERROR;
    return worksheet_write_formula_num(sheet, row, column, formula, s->sum[places], value) ==
           LXW_NO_ERROR;
}

/* `formula`: of a sum, NULL for none. */
static void
put_cell(struct sheet *s, lxw_worksheet *sheet, uint32_t row, uint16_t column, const json_t *cell,
         const char *is, const char *formula, bool bold)
{
    const char *text = json_string_value(cell);
    if (json_is_boolean(cell))
        (void)worksheet_write_boolean(sheet, row, column, json_is_true(cell),
                                      bold ? s->bold : s->text);
    else if (json_is_null(cell))
        put_text(s, sheet, row, column, "\xe2\x80\x93", bold);
    else if (text == NULL)
        (void)worksheet_write_blank(sheet, row, column, bold ? s->bold : NULL);
    else if (strcmp(is, "number") == 0 && put_number(s, sheet, row, column, text, formula))
        return;
    else if (strcmp(is, "day") != 0 || !put_day(s, sheet, row, column, text))
        put_text(s, sheet, row, column, text, bold);
}

static void
put_heading(struct sheet *s, lxw_worksheet *sheet, uint16_t column, const char *label,
            const char *unit)
{
    char words[300];
    (void)snprintf(words, sizeof words, "%.200s%s%.80s", label, unit[0] != '\0' ? ", " : "", unit);
    (void)worksheet_write_string(sheet, 0, column, words, s->head);
}

/* ---- a list on a sheet of its own */

/* "=SUM(C2:C5,C7:C7)" of the rows in `parts` (ascending, from 0; the heading is above them); false:
 * more ranges than a formula of ours holds. */
static bool
sum_formula(const json_t *parts, uint16_t column, char out[RANGES])
{
    char name[8];
    size_t used = (size_t)snprintf(out, RANGES, "=SUM("), n = json_array_size(parts);
    lxw_col_to_name(name, column, 0);
    for (size_t i = 0, end; i < n; i = end) {
        json_int_t first = json_integer_value(json_array_get(parts, i)), last = first;
        for (end = i + 1; end < n && json_integer_value(json_array_get(parts, end)) == last + 1;
             end++)
            last++;
        if (used + 64 > RANGES)
            return false;
        used += (size_t)snprintf(out + used, RANGES - used, "%s%s%lld:%s%lld", i > 0 ? "," : "",
                                 name, (long long)first + 2, name, (long long)last + 2);
    }
    (void)snprintf(out + used, RANGES - used, ")");
    return n > 0;
}

/* Is every part of the sum a number in its cell? */
static bool
parts_are_numbers(const struct table *t, const json_t *parts, size_t column)
{
    for (size_t i = 0; i < json_array_size(parts); i++) {
        size_t row = (size_t)json_integer_value(json_array_get(parts, i));
        const char *text = json_string_value(json_array_get(json_array_get(t->rows, row), column));
        double value = 0;
        int places = 0;
        if (text == NULL || !sheet_number(text, DIGITS_MOST, &value, &places))
            return false;
    }
    return true;
}

static void
put_row(struct sheet *s, lxw_worksheet *sheet, const struct table *t, size_t row)
{
    size_t n = json_array_size(t->rows), sums = json_array_size(t->totals);
    bool total = row + sums >= n;
    const json_t *parts = total ? json_array_get(t->totals, row + sums - n) : NULL;
    const json_t *cells = json_array_get(t->rows, row);
    for (size_t i = 0; i < json_array_size(t->columns); i++) {
        char formula[RANGES];
        bool live =
            total && parts_are_numbers(t, parts, i) && sum_formula(parts, (uint16_t)i, formula);
        put_cell(s, sheet, (uint32_t)row + 1, (uint16_t)i, json_array_get(cells, i),
                 member(json_array_get(t->columns, i), "is"), live ? formula : NULL, total);
    }
}

static double
column_width(const struct table *t, size_t column)
{
    size_t most = WIDTH_LEAST;
    for (size_t i = 0; i < json_array_size(t->rows); i++) {
        const char *text = json_string_value(json_array_get(json_array_get(t->rows, i), column));
        size_t width = text != NULL ? sheet_width(text) + 2 : 0;
        most = width > most ? width : most;
    }
    return most < WIDTH_MOST ? (double)most : WIDTH_MOST;
}

/* Prints on one page in width, headings again on each page. */
static void
set_page(lxw_worksheet *sheet, uint16_t columns)
{
    worksheet_freeze_panes(sheet, 1, columns > 1 ? 1 : 0);
    worksheet_set_landscape(sheet);
    worksheet_set_paper(sheet, 9); /* A4 */
    worksheet_fit_to_pages(sheet, 1, 0);
    (void)worksheet_repeat_rows(sheet, 0, 0);
}

static bool
add_list(struct sheet *s, const struct table *t)
{
    char name[SHEET_NAME];
    lxw_worksheet *sheet = workbook_add_worksheet(s->book, sheet_name(&s->names, t->name, name));
    uint16_t columns = (uint16_t)json_array_size(t->columns);
    if (sheet == NULL)
        return false;
    for (uint16_t i = 0; i < columns; i++) {
        const json_t *column = json_array_get(t->columns, i);
        put_heading(s, sheet, i, member(column, "label"), member(column, "unit"));
        (void)worksheet_set_column(sheet, i, i, column_width(t, i), NULL);
    }
    for (size_t row = 0; row < json_array_size(t->rows); row++)
        put_row(s, sheet, t, row);
    set_page(sheet, columns);
    return true;
}

/* ---- the first sheet */

/* One line a figure: whose, which, the value, its unit. */
static uint32_t
put_fields(struct sheet *s, lxw_worksheet *sheet, uint32_t at, const struct table *t)
{
    const json_t *cells = json_array_get(t->rows, 0);
    for (size_t i = 0; i < json_array_size(t->columns); i++) {
        const json_t *column = json_array_get(t->columns, i), *cell = json_array_get(cells, i);
        if (json_is_integer(cell)) /* absent */
            continue;
        put_text(s, sheet, at, 0, t->name, false);
        put_text(s, sheet, at, 1, member(column, "label"), false);
        put_cell(s, sheet, at, 2, cell, member(column, "is"), NULL, false);
        put_text(s, sheet, at, 3, member(column, "unit"), false);
        at++;
    }
    return at;
}

static bool
read_table(const json_t *from, struct table *out)
{
    *out = (struct table){member(from, "name"), json_is_true(json_object_get(from, "fields")),
                          json_object_get(from, "columns"), json_object_get(from, "rows"),
                          json_object_get(from, "totals")};
    return json_is_array(out->columns) && json_is_array(out->rows) && json_is_array(out->totals) &&
           json_array_size(out->columns) < 1000 && json_array_size(out->rows) < 1000000 &&
           json_array_size(out->totals) <= json_array_size(out->rows);
}

static bool
add_figures(struct sheet *s, const json_t *tables)
{
    static const char *const heads[] = {"table", "figure", "value", "unit"};
    static const double widths[] = {30, 44, 24, 14};
    char name[SHEET_NAME];
    lxw_worksheet *sheet = workbook_add_worksheet(s->book, sheet_name(&s->names, "Figures", name));
    uint32_t at = 1;
    if (sheet == NULL)
        return false;
    for (uint16_t i = 0; i < 4; i++) {
        put_heading(s, sheet, i, heads[i], "");
        (void)worksheet_set_column(sheet, i, i, widths[i], NULL);
    }
    for (size_t i = 0; i < json_array_size(tables); i++) {
        struct table t;
        if (!read_table(json_array_get(tables, i), &t))
            return false;
        if (t.fields)
            at = put_fields(s, sheet, at, &t);
        else if (json_array_size(t.rows) == 0) {
            put_text(s, sheet, at, 0, t.name, false);
            put_text(s, sheet, at++, 1, "none", false);
        }
    }
    set_page(sheet, 4);
    return true;
}

/* ---- the book */

static bool
fill(struct sheet *s, const json_t *root)
{
    json_t *tables = json_object_get(root, "tables");
    lxw_doc_properties about = {.title = (char *)(uintptr_t)member(root, "title"),
                                .author = (char *)(uintptr_t) "Knockbox",
                                .created = sheet_seconds(member(root, "created"))};
    add_formats(s);
    bool fine = json_is_array(tables) && workbook_set_properties(s->book, &about) == LXW_NO_ERROR &&
                add_figures(s, tables);
    for (size_t i = 0; fine && i < json_array_size(tables); i++) {
        struct table t;
        fine = read_table(json_array_get(tables, i), &t);
        if (fine && !t.fields && json_array_size(t.rows) > 0)
            fine = add_list(s, &t);
    }
    return fine;
}

/* All of a file in memory; NULL: it cannot be read. */
static uint8_t *
take_bytes(int fd, size_t *out_len)
{
    off_t end = lseek(fd, 0, SEEK_END);
    uint8_t *bytes = end > 0 ? malloc((size_t)end) : NULL;
    size_t used = 0;
    while (bytes != NULL && used < (size_t)end) {
        ssize_t n = pread(fd, bytes + used, (size_t)end - used, (off_t)used);
        if (n <= 0) {
            free(bytes);
            return NULL;
        }
        used += (size_t)n;
    }
    *out_len = used;
    return bytes;
}

static enum err
make(const json_t *root, int fd, uint8_t **out_bytes, size_t *out_len, struct err_text *why)
{
    char path[64];
    struct sheet s = {0};
    (void)snprintf(path, sizeof path, "/proc/self/fd/%d", fd);
    s.book = workbook_new(path);
    if (s.book == NULL)
        return err_set(ERR_MEM, why, "out of memory for the spreadsheet");
    bool fine = fill(&s, root);
    lxw_error rc = workbook_close(s.book); /* writes and frees it */
    if (!fine)
        return err_set(ERR_INPUT, why, "these are no tables of a report");
    if (rc != LXW_NO_ERROR)
        return err_set(ERR_IO, why, "the spreadsheet could not be made: %s", lxw_strerror(rc));
    *out_bytes = take_bytes(fd, out_len);
    return *out_bytes != NULL ? ERR_OK : err_set(ERR_MEM, why, "out of memory for the spreadsheet");
}

enum err
sheet_make(const uint8_t *tables, size_t len, uint8_t **out_bytes, size_t *out_len,
           struct err_text *why)
{
    json_error_t bad;
    json_t *root = json_loadb((const char *)tables, len, JSON_REJECT_DUPLICATES, &bad);
    int fd = root != NULL ? memfd_create("sheet", MFD_CLOEXEC) : -1;
    enum err e = ERR_OK;
    if (root == NULL)
        e = err_set(ERR_INPUT, why, "these are no tables of a report: %s", bad.text);
    else if (fd < 0)
        e = err_set(ERR_IO, why, "no memory file for the spreadsheet: %s", strerror(errno));
    else
        e = make(root, fd, out_bytes, out_len, why);
    if (fd >= 0)
        (void)close(fd);
    json_decref(root);
    return e;
}
