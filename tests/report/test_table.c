/* The table model and its prints. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/report/report.h"

static const struct column fields[] = {
    {"kg", "mass", "kg", true},
    {"by.weighed_kg", "weighed", "kg", true},
    {"note", "note", "", false},
};

static const struct column rows[] = {
    {"site", "site", "", false},
    {"inside", "inside", "", false},
};

static const struct column plain[] = {
    {"", "", "", false},
};

static struct table_model *
model(void)
{
    struct table_model *m = NULL;
    cr_assert(eq(int, table_new(&m, NULL), ERR_OK));
    TABLE_SECTION(m, "stock", "Stock", SHAPE_FIELDS, fields);
    table_set(m, "kg", "1.000");
    table_set(m, "by.weighed_kg", NULL);
    TABLE_SECTION(m, "stock.sites", "Sites", SHAPE_ROWS, rows);
    table_row(m);
    table_set(m, "site", "caf\xc3\xa9 \"one\"");
    table_set_bool(m, "inside", true);
    table_section(m, "restatement", "Restatement", SHAPE_NULL, NULL, 0);
    TABLE_SECTION(m, "cautions", "Cautions", SHAPE_LIST, plain);
    table_row(m);
    table_set(m, "", table_text(m, "%d tubs", 2));
    cr_assert(eq(int, table_error(m, NULL), ERR_OK));
    return m;
}

Test(table, json_puts_sections_at_their_paths)
{
    struct table_model *m = model();
    char *text = NULL;
    cr_assert(eq(int, report_json(m, &text, NULL), ERR_OK));
    cr_expect(eq(str, text,
                 "{\n \"stock\": {\n  \"kg\": \"1.000\",\n  \"by\": {\n   \"weighed_kg\": null\n"
                 "  },\n  \"sites\": [\n   {\n    \"site\": \"caf\xc3\xa9 \\\"one\\\"\",\n"
                 "    \"inside\": true\n   }\n  ]\n },\n \"restatement\": null,\n"
                 " \"cautions\": [\n  \"2 tubs\"\n ]\n}\n"));
    free(text);
    table_free(m);
}

Test(table, text_has_units_and_lines_of_at_most_78_columns)
{
    struct table_model *m = model();
    char *text = NULL;
    cr_assert(eq(int, report_text(m, &text, NULL), ERR_OK));
    cr_expect(ne(ptr,
                 strstr(text, "  mass                                               1.000 kg\n"),
                 NULL));
    cr_expect(ne(ptr, strstr(text, "  - 2 tubs\n"), NULL));
    for (char *line = strtok(text, "\n"); line != NULL; line = strtok(NULL, "\n")) {
        cr_expect(le(sz, strlen(line), 80), "%s", line);
        cr_expect(ne(chr, line[strlen(line) - 1], ' '), "%s|", line);
    }
    free(text);
    table_free(m);
}

Test(table, csv_is_one_table_of_all_figures)
{
    struct table_model *m = model();
    char *text = NULL;
    cr_assert(eq(int, report_csv(m, &text, NULL), ERR_OK));
    cr_expect(eq(str, text,
                 "section,row,key,value,unit\r\nstock,1,kg,1.000,kg\r\n"
                 "stock,1,by.weighed_kg,,kg\r\nstock.sites,1,site,\"caf\xc3\xa9 \"\"one\"\"\","
                 "\r\nstock.sites,1,inside,true,\r\ncautions,1,,2 tubs,\r\n"));
    free(text);
    table_free(m);
}

Test(table, csv_lets_no_text_become_a_formula)
{
    static const struct column cells[] = {{"text", "text", "", false}, {"kg", "kg", "kg", true}};
    static const struct {
        const char *text, *line;
    } rows_[] = {
        {"=1+1", "t,1,text,\"'=1+1\",\r\n"},
        {"+44", "t,1,text,\"'+44\",\r\n"},
        {"-x", "t,1,text,\"'-x\",\r\n"},
        {"@a,\"b\"", "t,1,text,\"'@a,\"\"b\"\"\",\r\n"},
        {"two\nlines", "t,1,text,\"two\nlines\",\r\n"},
    };
    for (size_t i = 0; i < sizeof rows_ / sizeof rows_[0]; i++) {
        struct table_model *m = NULL;
        char *text = NULL;
        cr_assert(eq(int, table_new(&m, NULL), ERR_OK));
        TABLE_SECTION(m, "t", "T", SHAPE_ROWS, cells);
        table_row(m);
        table_set(m, "text", rows_[i].text);
        table_set(m, "kg", "-0.083");
        cr_assert(eq(int, report_csv(m, &text, NULL), ERR_OK));
        cr_expect(ne(ptr, strstr(text, rows_[i].line), NULL), "%s", text);
        cr_expect(ne(ptr, strstr(text, "t,1,kg,-0.083,kg\r\n"), NULL));
        free(text);
        table_free(m);
    }
}

Test(table, the_hash_leaves_heads_out)
{
    static const struct column head[] = {{"site", "site", "", false}};
    struct table_model *a = model(), *b = model();
    uint8_t x[32], y[32];
    TABLE_SECTION(b, "heads", "Heads", SHAPE_ROWS, head);
    table_row(b);
    table_set(b, "site", "quayside");
    cr_assert(eq(int, report_hash(a, x, NULL), ERR_OK));
    cr_assert(eq(int, report_hash(b, y, NULL), ERR_OK));
    cr_expect(eq(int, memcmp(x, y, 32), 0));
    TABLE_SECTION(b, "more", "More", SHAPE_ROWS, head);
    cr_assert(eq(int, report_hash(b, y, NULL), ERR_OK));
    cr_expect(ne(int, memcmp(x, y, 32), 0));
    table_free(a);
    table_free(b);
}
