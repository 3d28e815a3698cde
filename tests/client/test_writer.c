/* Three prints of one answer. CSV: RFC 4180; the rest: common practice, no source. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <string.h>
#include "client/show.h"
#include "client/writer.h"

static const struct column columns[] = {
    {"tub", "tub", CELL_TEXT, 0},
    {"net_g", "grounds", CELL_MASS, 0},
    {"note", "note", CELL_TEXT, 0},
};

static char *
print(enum output output, json_t *rows)
{
    static char text[8192];
    FILE *f = tmpfile();
    struct writer writer;
    json_t *answer = json_pack("{s:o}", "tubs", rows);
    writer_init(&writer, output, f);
    writer_answer(&writer, answer);
    writer_title(&writer, "Tubs in the freezer, Quayside", "Wed 4 March 07:10");
    writer_table(&writer, columns, 3, rows);
    writer_line(&writer, "%d tubs.", 2);
    rewind(f);
    text[fread(text, 1, sizeof text - 1, f)] = '\0';
    fclose(f);
    json_decref(answer);
    return text;
}

static json_t *
two_tubs(void)
{
    return json_pack("[{s:s,s:i,s:s},{s:s,s:i,s:n}]", "tub", "Q-1", "net_g", 3100, "note",
                     "a, \"b\"", "tub", "Q-2", "net_g", 950, "note");
}

Test(writer, text_has_title_table_and_last_line)
{
    cr_assert(eq(str, print(OUTPUT_TEXT, two_tubs()),
                 "Tubs in the freezer, Quayside                          Wed 4 March 07:10\n"
                 "tub  grounds  note\n"
                 "Q-1  3.10 kg  a, \"b\"\n"
                 "Q-2  0.95 kg\n"
                 "2 tubs.\n"));
}

Test(writer, json_is_the_answer_as_it_came)
{
    cr_assert(eq(str, print(OUTPUT_JSON, two_tubs()),
                 "{\"tubs\":[{\"tub\":\"Q-1\",\"net_g\":3100,\"note\":\"a, \\\"b\\\"\"},"
                 "{\"tub\":\"Q-2\",\"net_g\":950,\"note\":null}]}\n"));
}

Test(writer, csv_is_quoted_by_rfc_4180)
{
    cr_assert(eq(str, print(OUTPUT_CSV, two_tubs()),
                 "tub,net_g,note\r\nQ-1,3100,\"a, \"\"b\"\"\"\r\nQ-2,950,\r\n"));
}

static const struct {
    const char *note, *cell;
} formulas[] = {
    {"=1+1", "'=1+1"},  {"+44", "'+44"},   {"@x", "'@x"},
    {"-18.5", "-18.5"}, {"-2+3", "'-2+3"}, {"=a,b", "\"'=a,b\""},
};

Test(writer, no_csv_cell_is_a_formula)
{
    for (size_t i = 0; i < sizeof formulas / sizeof formulas[0]; i++) {
        char want[128];
        json_t *rows =
            json_pack("[{s:s,s:i,s:s}]", "tub", "T", "net_g", 1, "note", formulas[i].note);
        (void)snprintf(want, sizeof want, "tub,net_g,note\r\nT,1,%s\r\n", formulas[i].cell);
        cr_assert(eq(str, print(OUTPUT_CSV, rows), want));
    }
}

Test(writer, wide_tables_give_way_to_72_columns)
{
    char name[120];
    memset(name, 'x', sizeof name - 1);
    name[sizeof name - 1] = '\0';
    char *text =
        print(OUTPUT_TEXT, json_pack("[{s:s,s:i,s:s}]", "tub", name, "net_g", 3100, "note", name));
    for (char *line = strtok(text, "\n"); line != NULL; line = strtok(NULL, "\n"))
        cr_assert(show_width(line) <= TEXT_WIDTH, "%s", line);
}
