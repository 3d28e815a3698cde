/* forecast_print.c - see forecast_print.h. */
#include "client/forecast_print.h"

#include <string.h>
#include "client/plan/view_events.h"
#include "client/show.h"
#include "client/writer.h"
#include "proto/when.h"

/* The two lists of the answer; their members end in the unit. */
static const struct part {
    const char *list, *unit, *title, *none;
    enum cell_form form;
} parts[] = {
    {"grounds", "g", "Grounds to come", "No café has kept grounds of late.", CELL_MASS},
    {"sales", "ml", "Sales to come", "Nothing was sold of late.", CELL_VOLUME},
};

enum {
    PARTS_N = sizeof parts / sizeof parts[0],
    COLUMNS_MOST = 6,
    WORDS = 160
};

static const char *
text_of(const json_t *object, const char *name)
{
    const char *text = json_string_value(json_object_get(object, name));
    return text != NULL ? text : "";
}

/* The member `name` in the unit of the part. */
static json_t *
member(const struct part *part, const json_t *object, const char *name)
{
    char key[40];
    (void)snprintf(key, sizeof key, "%s_%s", name, part->unit);
    return json_object_get(object, key);
}

static char *
amount(const struct part *part, const json_t *value, char out[32])
{
    int64_t n = json_integer_value(value);
    return part->form == CELL_MASS ? show_mass(n, out) : show_volume(n, out);
}

/* What people call it: what is used, in a word. */
static const char *
used_words(const json_t *object)
{
    static const struct {
        const char *used, *words;
    } table[] = {{"smoothed", "forecast"}, {"naive", "last week"}, {"sum", ""}};
    const char *used = text_of(object, "used");
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++)
        if (strcmp(used, table[i].used) == 0)
            return table[i].words;
    return used;
}

/* "Tue 3" */
static void
put_date(json_t *day)
{
    char date[32];
    int32_t number;
    if (day_parse(text_of(day, "day"), &number))
        (void)json_object_set_new(day, "date", json_string(view_short_date(number, date)));
}

/* ---- one series, day by day */

static void
prepare_day(const struct part *part, json_t *day)
{
    char low[32], high[32], words[WORDS];
    const char *used = text_of(day, "used");
    put_date(day);
    (void)snprintf(words, sizeof words, "%s to %s", amount(part, member(part, day, "low"), low),
                   amount(part, member(part, day, "high"), high));
    if (strcmp(used, "closed") == 0 || strcmp(used, "nothing") == 0)
        (void)snprintf(words, sizeof words, "%s", used);
    (void)json_object_set_new(day, "range", json_string(words));
    (void)json_object_set(day, "value", member(part, day, "value"));
    (void)json_object_set(day, "smoothed", member(part, day, "smoothed"));
    (void)json_object_set(day, "naive", member(part, day, "naive"));
}

static void
series_title(const struct part *part, const json_t *series, char out[WORDS])
{
    const char *site = text_of(series, "site"), *product = text_of(series, "product");
    (void)snprintf(out, WORDS, "%.60s, %.64s", product[0] != '\0' ? product : part->title,
                   site[0] != '\0' ? site : "all cafés");
}

static void
print_score(struct writer *writer, const struct part *part, const json_t *series)
{
    char error[32], naive[32];
    int scored = (int)json_integer_value(json_object_get(series, "scored"));
    int n = (int)json_integer_value(json_object_get(series, "intervals"));
    const char *used = used_words(series);
    if (used[0] != '\0')
        writer_line(writer, "Used: %s; %s.",
                    strcmp(used, "forecast") == 0    ? "the forecast"
                    : strcmp(used, "last week") == 0 ? "the same day last week"
                                                     : used,
                    text_of(series, "why"));
    if (scored > 0)
        writer_line(writer,
                    "Mean error over %d days: the forecast's %s a day, that of the same day last "
                    "week %s.",
                    scored, amount(part, member(part, series, "error"), error),
                    amount(part, member(part, series, "naive_error"), naive));
    if (n > 0)
        writer_line(writer, "%d of the last %d days lay in their four-in-five range.",
                    (int)json_integer_value(json_object_get(series, "inside")), n);
}

static void
print_series(struct writer *writer, const struct part *part, const json_t *series)
{
    const struct column columns[COLUMNS_MOST] = {
        {"date", "day", CELL_TEXT, 0},
        {"value", "expected", part->form, 0},
        {"range", "four days in five", CELL_TEXT, 0},
        {"smoothed", "forecast", part->form, 0},
        {"naive", "last week", part->form, 0},
    };
    char title[WORDS];
    json_t *days = json_object_get(series, "days");
    for (size_t i = 0; i < json_array_size(days); i++)
        prepare_day(part, json_array_get(days, i));
    series_title(part, series, title);
    writer_title(writer, title, "");
    writer_table(writer, columns, 5, days);
    print_score(writer, part, series);
}

/* ---- all series of a part, a line each */

static void
prepare_line(const struct part *part, json_t *series)
{
    static const char *const names[] = {"total", "naive_total", "error", "naive_error"};
    const char *site = text_of(series, "site"), *product = text_of(series, "product");
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++)
        (void)json_object_set(series, names[i], member(part, series, names[i]));
    (void)json_object_set_new(series, "what",
                              json_string(site[0] != '\0'      ? site
                                          : product[0] != '\0' ? product
                                                               : "all cafés"));
    (void)json_object_set_new(series, "used_words", json_string(used_words(series)));
}

static void
print_lines(struct writer *writer, const struct part *part, const json_t *list, const char *right)
{
    const struct column columns[COLUMNS_MOST] = {
        {"what", "", CELL_TEXT, 20},
        {"total", "expected", part->form, 0},
        {"naive_total", "as last week", part->form, 0},
        {"error", "error a day", part->form, 0},
        {"naive_error", "last week's", part->form, 0},
        {"used_words", "used", CELL_TEXT, 0},
    };
    for (size_t i = 0; i < json_array_size(list); i++)
        prepare_line(part, json_array_get(list, i));
    writer_title(writer, part->title, right);
    if (json_array_size(list) == 0)
        writer_line(writer, "%s", part->none);
    else
        writer_table(writer, columns, COLUMNS_MOST, list);
}

/* "Tue 3 to Mon 16 March" */
static void
span_of(const json_t *answer, char out[WORDS])
{
    char from[32], to[32];
    int32_t first;
    if (!day_parse(text_of(answer, "day"), &first))
        return;
    int32_t last = first + (int32_t)json_integer_value(json_object_get(answer, "ahead")) - 1;
    bool one_month = month_of_day(first) == month_of_day(last);
    (void)(one_month ? view_short_date(first, from) : view_date(first, from));
    (void)snprintf(out, WORDS, "%s to %s", from, view_date(last, to));
}

static void
print_text(struct writer *writer, const json_t *answer)
{
    char span[WORDS] = "";
    bool site = text_of(answer, "site")[0] != '\0', product = text_of(answer, "product")[0] != '\0';
    span_of(answer, span);
    for (size_t p = 0; p < PARTS_N; p++) {
        const json_t *list = json_object_get(answer, parts[p].list);
        if (p == 0 && product)
            continue;
        if (p > 0 && !product)
            writer_line(writer, "%s", "");
        if (!site)
            print_lines(writer, &parts[p], list, span);
        for (size_t i = 0; i < json_array_size(list) && (site || (product && i == 0)); i++) {
            if (i > 0 || product)
                writer_line(writer, "%s", "");
            print_series(writer, &parts[p], json_array_get(list, i));
        }
        if (site && json_array_size(list) == 0)
            writer_line(writer, "%s", parts[p].none);
    }
    if (!site && !product)
        writer_line(writer, "Day by day: knockbox forecast --site SITE, or --product PRODUCT.");
}

/* ---- CSV: a row a day */

static const struct column csv_columns[] = {
    {"of", "", CELL_TEXT, 0},          {"site", "", CELL_TEXT, 0}, {"product", "", CELL_TEXT, 0},
    {"day", "", CELL_TEXT, 0},         {"unit", "", CELL_TEXT, 0}, {"value", "", CELL_TEXT, 0},
    {"low", "", CELL_TEXT, 0},         {"high", "", CELL_TEXT, 0}, {"smoothed", "", CELL_TEXT, 0},
    {"naive", "", CELL_TEXT, 0},       {"used", "", CELL_TEXT, 0}, {"error", "", CELL_TEXT, 0},
    {"naive_error", "", CELL_TEXT, 0},
};

static void
add_rows(const struct part *part, const json_t *series, json_t *rows)
{
    static const char *const of_day[] = {"value", "low", "high", "smoothed", "naive"};
    static const char *const of_series[] = {"error", "naive_error"};
    const json_t *days = json_object_get(series, "days");
    for (size_t i = 0; i < json_array_size(days); i++) {
        const json_t *day = json_array_get(days, i);
        json_t *row = json_pack(
            "{s:s, s:O, s:O, s:O, s:s, s:O}", "of", part->list, "site",
            json_object_get(series, "site"), "product", json_object_get(series, "product"), "day",
            json_object_get(day, "day"), "unit", part->unit, "used", json_object_get(day, "used"));
        for (size_t k = 0; k < sizeof of_day / sizeof of_day[0]; k++)
            (void)json_object_set(row, of_day[k], member(part, day, of_day[k]));
        for (size_t k = 0; k < sizeof of_series / sizeof of_series[0]; k++)
            (void)json_object_set(row, of_series[k], member(part, series, of_series[k]));
        (void)json_array_append_new(rows, row);
    }
}

static void
print_csv(struct writer *writer, const json_t *answer)
{
    json_t *rows = json_array();
    for (size_t p = 0; p < PARTS_N; p++) {
        const json_t *list = json_object_get(answer, parts[p].list);
        for (size_t i = 0; i < json_array_size(list); i++)
            add_rows(&parts[p], json_array_get(list, i), rows);
    }
    writer_table(writer, csv_columns, sizeof csv_columns / sizeof csv_columns[0], rows);
    json_decref(rows);
}

void
forecast_print(enum output output, json_t *answer, FILE *f)
{
    struct writer writer;
    writer_init(&writer, output, f);
    if (output == OUTPUT_CSV)
        print_csv(&writer, answer);
    else if (output == OUTPUT_JSON)
        writer_answer(&writer, answer);
    else
        print_text(&writer, answer);
}
