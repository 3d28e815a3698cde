/* The tables that a spreadsheet is made from. What becomes of them: tests/system/test_sheet.py. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <jansson.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/report/report.h"

static const struct column product[] = {
    {"product", "product", "", false},
    {"currency", "currency", "", false},
    {"bottles", "bottles", "", true},
    {"sold_minor", "sold", "minor", true},
};

static const struct column missing[] = {
    {"site", "site", "", false},
    {"day", "day", "", false},
};

static void
put(struct table_model *m, const char *code, const char *currency, const char *bottles,
    const char *sold)
{
    table_row(m);
    table_set(m, "product", code);
    table_set(m, "currency", currency);
    table_set(m, "bottles", bottles);
    table_set(m, "sold_minor", sold);
}

static json_t *
tables(void)
{
    struct table_model *m = NULL;
    char *text = NULL;
    cr_assert(eq(int, table_new(&m, NULL), ERR_OK));
    TABLE_SECTION(m, "product", "Product", SHAPE_ROWS, product);
    put(m, "liqueur", "GBP", "10", "9000");
    put(m, "liqueur", "JPY", "0", "500");
    put(m, "=1+1", "GBP", "4", NULL);
    TABLE_SECTION(m, "quality.missing_days", "Days", SHAPE_ROWS, missing);
    table_row(m);
    table_set(m, "site", "2026-03-01");
    table_set(m, "day", "2026-03-02");
    cr_assert(eq(int, report_sheet(m, &text, NULL), ERR_OK));
    json_t *root = json_loads(text, 0, NULL);
    cr_assert(ne(ptr, root, NULL));
    free(text);
    table_free(m);
    return root;
}

static const char *
word(const json_t *table, size_t row, size_t column)
{
    const json_t *cell =
        json_array_get(json_array_get(json_object_get(table, "rows"), row), column);
    return json_is_null(cell) ? "null" : json_is_integer(cell) ? "absent" : json_string_value(cell);
}

static bool
is(const json_t *table, size_t row, size_t column, const char *want)
{
    return strcmp(word(table, row, column), want) == 0;
}

/* Decimals of currencies: ISO 4217, from memory. */
Test(sheet, money_is_in_units_of_its_currency)
{
    json_t *root = tables(), *table = json_array_get(json_object_get(root, "tables"), 0);
    cr_expect(is(table, 0, 3, "90.00"));
    cr_expect(is(table, 1, 3, "500"));
    cr_expect(is(table, 2, 3, "null"));
    json_decref(root);
}

/* P1: never one currency with another. */
Test(sheet, a_sum_names_the_rows_of_its_currency_and_is_not_known_when_a_part_is_not)
{
    json_t *root = tables(), *table = json_array_get(json_object_get(root, "tables"), 0);
    json_t *parts = json_array_get(json_object_get(table, "totals"), 0);
    cr_assert(eq(sz, json_array_size(json_object_get(table, "totals")), 1));
    cr_assert(eq(sz, json_array_size(parts), 2));
    cr_expect(eq(i64, json_integer_value(json_array_get(parts, 0)), 0));
    cr_expect(eq(i64, json_integer_value(json_array_get(parts, 1)), 2));
    cr_expect(is(table, 3, 0, "total"));
    cr_expect(is(table, 3, 1, "GBP"));
    cr_expect(is(table, 3, 2, "14"));
    cr_expect(is(table, 3, 3, "null"));
    json_decref(root);
}

Test(sheet, a_column_says_whether_its_texts_are_numbers_or_days)
{
    json_t *root = tables(), *list = json_object_get(root, "tables");
    static const char *const want[2][2] = {{"text", "text"}, {"text", "day"}};
    for (size_t i = 0; i < 2; i++)
        for (size_t j = 0; j < 2; j++) {
            const json_t *column =
                json_array_get(json_object_get(json_array_get(list, i), "columns"), j);
            const char *got = json_string_value(json_object_get(column, "is"));
            cr_expect(eq(int, strcmp(got, want[i][j]), 0), "%zu %zu", i, j);
        }
    json_decref(root);
}
