/* What people read: money in its currency, sums below the rows. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/report/money.h"
#include "daemon/report/people.h"
#include "daemon/report/report.h"

/* Exponents: ISO 4217, from memory. */
Test(people, N8_money_has_the_decimals_of_its_currency)
{
    static const struct {
        const char *currency;
        int64_t minor;
        const char *words;
    } rows[] = {
        {"GBP", 887700, "GBP 8,877.00"},
        {"EUR", 5, "EUR 0.05"},
        {"JPY", 1234567, "JPY 1,234,567"},
        {"JPY", 0, "JPY 0"},
        {"KWD", 1250, "KWD 1.250"},
        {"CLF", 12345, "CLF 1.2345"},
        {"USD", -100000, "USD -1,000.00"},
        {"", 99, "0.99"},
        {"GBP", INT64_MIN, "GBP -92,233,720,368,547,758.08"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        char room[MONEY_TEXT];
        cr_expect(eq(str, (char *)(uintptr_t)money_print(rows[i].minor, rows[i].currency, room),
                     (char *)(uintptr_t)rows[i].words));
    }
}

static const struct column product[] = {
    {"product", "product", "", false},     {"currency", "currency", "", false},
    {"bottles", "bottles", "", true},      {"at_list_minor", "at list", "minor", true},
    {"sold_minor", "sold", "minor", true},
};

static void
row(struct table_model *m, const char *code, const char *currency, const char *bottles,
    const char *list, const char *sold)
{
    table_row(m);
    table_set(m, "product", code);
    table_set(m, "currency", currency);
    table_set(m, "bottles", bottles);
    table_set(m, "at_list_minor", list);
    table_set(m, "sold_minor", sold);
}

static struct table_model *
people(void)
{
    struct table_model *m = NULL, *out = NULL;
    cr_assert(eq(int, table_new(&m, NULL), ERR_OK));
    TABLE_SECTION(m, "product", "Product", SHAPE_ROWS, product);
    row(m, "liqueur", "GBP", "10", "18000", "9000");
    row(m, "liqueur", "JPY", "0", "0", "500");
    row(m, "syrup", "GBP", "4", NULL, "1");
    cr_assert(eq(int, table_for_people(m, &out, NULL), ERR_OK));
    table_free(m);
    return out;
}

static const char *
word(const struct table_model *m, size_t row_, size_t column)
{
    return people_word(table_cell(table_find(m, "product"), row_, column));
}

Test(people, sums_stay_inside_one_currency_and_are_unknown_when_a_part_is)
{
    struct table_model *m = people();
    const struct section *s = table_find(m, "product");
    cr_assert(eq(sz, s->n_rows, 4));
    cr_assert(eq(sz, s->n_totals, 1));
    cr_expect(eq(int, strcmp(word(m, 0, 3), "GBP 180.00"), 0));
    cr_expect(eq(int, strcmp(word(m, 1, 4), "JPY 500"), 0));
    cr_expect(eq(int, strcmp(word(m, 3, 0), "total"), 0));
    cr_expect(eq(int, strcmp(word(m, 3, 1), "GBP"), 0));
    cr_expect(eq(int, strcmp(word(m, 3, 2), "14"), 0));
    cr_expect(eq(int, strcmp(word(m, 3, 3), "-"), 0));
    cr_expect(eq(int, strcmp(word(m, 3, 4), "GBP 90.01"), 0));
    cr_expect(not(people_is_whole_currency(s, 0)));
    cr_expect(people_is_whole_currency(s, 1));
    cr_expect(people_is_whole_currency(s, 3));
    table_free(m);
}

Test(people, the_drain_is_in_no_sum_of_destinations)
{
    static const struct column columns[] = {{"destination", "destination", "", false},
                                            {"kg", "mass", "kg", true}};
    static const char *const rows[][2] = {
        {"composting", "1.250"}, {"sewer", "9.000"}, {"landfill", "-0.300"}};
    struct table_model *m = NULL, *out = NULL;
    cr_assert(eq(int, table_new(&m, NULL), ERR_OK));
    TABLE_SECTION(m, "waste.by_destination", "Where it ended", SHAPE_ROWS, columns);
    for (size_t i = 0; i < 3; i++) {
        table_row(m);
        table_set(m, "destination", rows[i][0]);
        table_set(m, "kg", rows[i][1]);
    }
    cr_assert(eq(int, table_for_people(m, &out, NULL), ERR_OK));
    const struct section *s = table_find(out, "waste.by_destination");
    cr_assert(eq(sz, s->n_rows, 4));
    cr_expect(eq(int, strcmp(people_word(table_cell(s, 3, 0)), "diverted or disposed"), 0));
    cr_expect(eq(int, strcmp(people_word(table_cell(s, 3, 1)), "0.950"), 0));
    table_free(out);
    table_free(m);
}

Test(people, machines_still_read_minor_units)
{
    struct table_model *m = NULL;
    char *text = NULL;
    cr_assert(eq(int, table_new(&m, NULL), ERR_OK));
    TABLE_SECTION(m, "product", "Product", SHAPE_ROWS, product);
    row(m, "liqueur", "GBP", "10", "18000", "9000");
    row(m, "syrup", "GBP", "4", "3000", "1");
    cr_assert(eq(int, report_csv(m, &text, NULL), ERR_OK));
    cr_expect(ne(ptr, strstr(text, "product,1,at_list_minor,18000,minor\r\n"), NULL));
    cr_expect(eq(ptr, strstr(text, "product,3"), NULL));
    free(text);
    cr_assert(eq(int, report_text(m, &text, NULL), ERR_OK));
    cr_expect(
        ne(ptr, strstr(text, "14 bottles made, GBP 210.00 at list; sold: GBP 90.01.\n"), NULL),
        "%s", text);
    free(text);
    table_free(m);
}
