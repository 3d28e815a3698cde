/* write_sheet.c - the tables of a report for a spreadsheet, as daemon/exchange/sheet.h takes them.
 *
 * The spreadsheet itself is made by the program that hands it out, so that no daemon links what
 * makes it. One JSON object: `title`, `created` (the last day of the period, so that the same
 * report gives the same bytes), `tables`. A table has `name`, `fields` (true: one row, shown as
 * lines), `columns` ({label, unit, is}), `rows` of cells, and `totals`: for each of its last rows
 * the numbers of the rows that it sums. `is` says what a text of the column stands for: text,
 * number or day. A cell is a text, true, false, null (not known) or 0 (absent). Money is in units
 * of its currency.
 */
#include <jansson.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/report/money.h"
#include "daemon/report/number.h"
#include "daemon/report/people.h"
#include "daemon/report/report.h"

static bool
is_money(const struct column *column)
{
    return strcmp(column->unit, "minor") == 0;
}

/* "number", "day" or "text". */
static const char *
nature(const struct column *column)
{
    static const char *const days[] = {"start", "end", "from", "to", "day"};
    if (column->number)
        return "number";
    for (size_t i = 0; i < sizeof days / sizeof days[0]; i++)
        if (strcmp(column->key, days[i]) == 0)
            return "day";
    return "text";
}

static json_t *
columns_json(const struct section *s)
{
    json_t *list = json_array();
    for (size_t i = 0; list != NULL && i < s->n_columns; i++) {
        const struct column *column = &s->columns[i];
        json_t *one = json_pack(
            "{s:s, s:s, s:s}", "label", column->label[0] != '\0' ? column->label : s->title, "unit",
            is_money(column) ? "in its currency" : column->unit, "is", nature(column));
        if (json_array_append_new(list, one) != 0) {
            json_decref(list);
            return NULL;
        }
    }
    return list;
}

/* Minor units as units: "887700" of GBP is 8877.00. */
static json_t *
money_json(const char *minor, const char *currency)
{
    char room[NUMBER_TEXT];
    char *end = NULL;
    long long value = strtoll(minor, &end, 10);
    return json_string(*end == '\0' ? number_fixed(value, money_exponent(currency), false, room)
                                    : minor);
}

static json_t *
cell_json(const struct section *s, size_t row, size_t column)
{
    const struct cell *cell = table_cell(s, row, column);
    switch (cell->type) {
    case CELL_TEXT:
        return is_money(&s->columns[column])
                   ? money_json(cell->text, people_text(s, row, "currency"))
                   : json_string(cell->text);
    case CELL_TRUE:
        return json_true();
    case CELL_FALSE:
        return json_false();
    case CELL_NULL:
        return json_null();
    default:
        return json_integer(0);
    }
}

/* NULL: out of memory. */
static json_t *
rows_json(const struct section *s)
{
    json_t *rows = json_array();
    for (size_t i = 0; i < s->n_rows; i++) {
        json_t *row = json_array();
        bool fine = row != NULL;
        for (size_t j = 0; fine && j < s->n_columns; j++)
            fine = json_array_append_new(row, cell_json(s, i, j)) == 0;
        if (!fine || json_array_append(rows, row) != 0) {
            json_decref(rows);
            rows = NULL;
        }
        json_decref(row);
        if (rows == NULL)
            break;
    }
    return rows;
}

static json_t *
totals_json(const struct section *s)
{
    json_t *totals = json_array();
    for (size_t total = s->n_rows - s->n_totals; total < s->n_rows; total++) {
        json_t *parts = json_array();
        bool fine = parts != NULL;
        for (size_t row = 0; fine && row < s->n_rows; row++)
            if (people_in_total(s, total, row))
                fine = json_array_append_new(parts, json_integer((json_int_t)row)) == 0;
        if (!fine || json_array_append(totals, parts) != 0) {
            json_decref(totals);
            totals = NULL;
        }
        json_decref(parts);
        if (totals == NULL)
            break;
    }
    return totals;
}

/* Takes all three, also when one of them is NULL. */
static json_t *
table_json(const struct section *s)
{
    return json_pack("{s:s, s:b, s:o, s:o, s:o}", "name", s->title, "fields",
                     s->shape == SHAPE_FIELDS, "columns", columns_json(s), "rows", rows_json(s),
                     "totals", totals_json(s));
}

static json_t *
tables_json(const struct table_model *model)
{
    json_t *list = json_array();
    for (size_t i = 0; list != NULL && i < table_count(model); i++) {
        const struct section *s = table_at(model, i);
        if (s->shape != SHAPE_NULL && json_array_append_new(list, table_json(s)) != 0) {
            json_decref(list);
            return NULL;
        }
    }
    return list;
}

enum err
report_sheet(const struct table_model *model, char **out_text, struct err_text *why)
{
    struct table_model *summed = NULL;
    const char *start = table_get(model, "period", "start"),
               *end = table_get(model, "period", "end");
    enum err e = table_with_totals(model, &summed, why);
    if (e != ERR_OK)
        return e;
    json_t *root =
        json_pack("{s:s+++, s:s, s:o}", "title", "Report of ", start != NULL ? start : "-", " to ",
                  end != NULL ? end : "-", "created", end != NULL ? end : "1980-01-01", "tables",
                  tables_json(summed));
    *out_text = root != NULL ? json_dumps(root, JSON_COMPACT) : NULL;
    json_decref(root);
    table_free(summed);
    return *out_text != NULL ? ERR_OK : err_set(ERR_MEM, why, "out of memory for the report");
}
