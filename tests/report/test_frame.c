/* One frame's table: its lines add up to what ended, and every field is filled or named. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/calc/frames.h"
#include "daemon/report/forms.h"
#include "daemon/report/report_month.h"
#include "tests/report/town.h"

static const char *const codes[] = {"FLW", "GRI", "ESRS", "SDG"};

static struct table_model *
march(void)
{
    struct play *play = play_new("kitchen");
    struct report_ask ask = {.month = play_month("2026-03")};
    struct table_model *model = NULL;
    play_read(play, TEST_DATA "/example-month/catalogue.jsonl");
    play_read(play, TEST_DATA "/example-month/records.jsonl");
    play_put(play, 0);
    cr_assert(
        eq(int, report_month(play_ledger(play), play_store(play), &ask, &model, NULL), ERR_OK));
    play_free(play);
    return model;
}

static struct table_model *
frame_of(const struct table_model *model, const char *code)
{
    struct table_model *frame = NULL;
    cr_assert(eq(int, report_frame(model, code, &frame, NULL), ERR_OK));
    return frame;
}

/* Grams of all rows of a column of kg. */
static long
grams(const struct table_model *model, const char *path)
{
    const struct section *s = table_find(model, path);
    double sum = 0;
    for (size_t i = 0; i < s->n_rows; i++)
        sum += atof(table_cell(s, i, 1)->text);
    return (long)(sum * 1000 + 0.5);
}

Test(frame, lines_add_up_to_the_destinations_of_the_report)
{
    struct table_model *model = march();
    for (size_t i = 0; i < 4; i++) {
        struct table_model *frame = frame_of(model, codes[i]);
        cr_expect(eq(long, grams(frame, "frame.lines"), grams(model, "waste.by_destination")));
        cr_expect(
            eq(long, grams(frame, "frame.destinations"), grams(model, "waste.by_destination")));
        cr_expect(ge(long, grams(frame, "frame.lines"), 1000));
        table_free(frame);
    }
    table_free(model);
}

static size_t
rows_with(const struct section *s, size_t column, const char *clause)
{
    size_t n = 0;
    for (size_t i = 0; i < s->n_rows; i++)
        n += strcmp(table_cell(s, i, column)->text, clause) == 0;
    return n;
}

Test(frame, every_field_is_filled_or_named_as_missing)
{
    struct table_model *model = march();
    for (size_t i = 0; i < 4; i++) {
        struct table_model *frame = frame_of(model, codes[i]);
        const struct section *filled = table_find(frame, "frame.fields");
        const struct section *missing = table_find(frame, "frame.missing");
        const struct calc_field *field;
        size_t n = 0;
        for (size_t j = 0; (field = calc_field_at(j)) != NULL; j++) {
            if (strcmp(field->frame, calc_frame_find(codes[i])->fields) != 0)
                continue;
            n++;
            if (strcmp(field->filled, "no") != 0)
                cr_expect(ge(sz, rows_with(filled, 0, field->clause), 1), "%s", field->clause);
            if (strcmp(field->filled, "yes") != 0)
                cr_expect(ge(sz, rows_with(missing, 3, field->field), 1), "%s", field->field);
        }
        cr_expect(ge(sz, n, 1), "%s", codes[i]);
        table_free(frame);
    }
    table_free(model);
}

Test(frame, every_figure_that_a_field_names_is_in_the_report)
{
    struct table_model *model = march();
    for (size_t i = 0; i < 4; i++) {
        struct table_model *frame = frame_of(model, codes[i]);
        const struct section *s = table_find(frame, "frame.fields");
        for (size_t row = 0; row < s->n_rows; row++)
            cr_expect(table_cell(s, row, 2)->type == CELL_TEXT, "%s", table_cell(s, row, 1)->text);
        table_free(frame);
    }
    table_free(model);
}

/* GRI 306-4 and 306-5: composting is recycling that is diverted, landfill is disposal. */
Test(frame, the_lines_are_the_frame_s_own)
{
    struct table_model *model = march(), *frame = frame_of(model, "GRI");
    char *text = NULL;
    cr_assert(eq(int, report_text(frame, &text, NULL), ERR_OK));
    cr_expect(ne(ptr, strstr(text, "306-4 recycling (state type)"), NULL));
    cr_expect(ne(ptr, strstr(text, "306-5 landfilling"), NULL));
    cr_expect(ne(ptr, strstr(text, "306-3-a"), NULL));
    cr_expect(eq(ptr, strstr(text, "generated, - kg"), NULL));
    for (char *line = strtok(text, "\n"); line != NULL; line = strtok(NULL, "\n"))
        cr_expect(le(sz, strlen(line), 80), "%s", line);
    free(text);
    table_free(frame);
    table_free(model);
}

Test(frame, every_form_prints_it_and_another_frame_is_refused_with_those_that_are)
{
    size_t n = 0;
    struct err_text why = {.s = ""};
    struct table_model *model = march(), *frame = frame_of(model, "SDG"), *none = NULL;
    const struct report_form *forms = report_forms(&n);
    for (size_t i = 0; i < n; i++) {
        char *bytes = NULL;
        size_t len = 0;
        cr_expect(eq(int, forms[i].print(frame, &bytes, &len, NULL), ERR_OK));
        cr_expect(ge(sz, len, 200));
        free(bytes);
    }
    cr_expect(eq(int, report_frame(model, "XYZ", &none, &why), ERR_INPUT));
    cr_expect(ne(ptr, strstr(why.s, "FLW, GRI, ESRS or SDG"), NULL), "%s", why.s);
    table_free(frame);
    table_free(model);
}
