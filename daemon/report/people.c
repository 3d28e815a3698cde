/* people.c - see people.h. */
#include "daemon/report/people.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/report/money.h"
#include "daemon/report/number.h"

static const struct sum {
    const char *path;
    const char *by;      /* column whose values are kept apart; NULL: none */
    const char *skip;    /* rows whose first cell is one of these are left out; NULL: none */
    const char *columns; /* " a b ": what may be summed */
} sums[] = {
    {"stock.sites", NULL, NULL,
     " opening_kg late_kg filled_kg received_kg sent_kg rejected_kg used_kg expected_kg closing_kg "
     "unexplained_kg unexplained_by.receipt_kg unexplained_by.count_kg unexplained_by.overdraw_kg "
     "unexplained_by.empty_kg "},
    {"waste.by_destination", NULL, " sewer product ", " kg "},
    {"frame.lines", NULL, NULL, " kg "},
    {"emissions.lines", NULL, " sewer product ", " kg "},
    {"product", "currency", NULL,
     " made_g made_ml bottles at_list_minor delivered_minor sold_minor lost_minor "},
    {"costs", "currency", NULL,
     " ingredients_minor labour_minor collection_minor cost_minor known_minor "},
    {"bottle_costs", "currency", NULL, " bottles saved_minor "},
    {"batches", NULL, NULL,
     " grounds_g in_g product_g residue_g loss_g gap_g ethanol_in_ml ethanol_product_ml "
     "ethanol_residue_ml ethanol_loss_ml ethanol_gap_ml "},
};

const char *
people_unit(const struct column *column)
{
    return strcmp(column->unit, "minor") == 0 ? "" : column->unit;
}

const char *
people_word(const struct cell *cell)
{
    switch (cell->type) {
    case CELL_TEXT:
        return cell->text;
    case CELL_TRUE:
        return "yes";
    case CELL_FALSE:
        return "no";
    case CELL_NULL:
        return "-";
    default:
        return "";
    }
}

const char *
people_text(const struct section *s, size_t row, const char *key)
{
    size_t i = table_column(s, key);
    const struct cell *cell = i < s->n_columns ? table_cell(s, row, i) : NULL;
    return cell != NULL && cell->type == CELL_TEXT ? cell->text : "";
}

/* ---- cells */

static bool
whole_of(const char *text, int64_t *out)
{
    char *end = NULL;
    if (text[0] == '\0' || strlen(text) > 18)
        return false;
    *out = strtoll(text, &end, 10);
    return *end == '\0';
}

static void
copy_cell(struct table_model *people, const struct section *s, size_t row, size_t i, bool money)
{
    const struct cell *cell = table_cell(s, row, i);
    const struct column *column = &s->columns[i];
    char room[MONEY_TEXT];
    int64_t minor = 0;
    if (money && cell->type == CELL_TEXT && strcmp(column->unit, "minor") == 0 &&
        whole_of(cell->text, &minor))
        table_set(people, column->key, money_print(minor, people_text(s, row, "currency"), room));
    else if (cell->type == CELL_TEXT || cell->type == CELL_NULL)
        table_set(people, column->key, cell->text);
    else if (cell->type != CELL_ABSENT)
        table_set_bool(people, column->key, cell->type == CELL_TRUE);
    if (cell->brief != NULL)
        table_brief(people, column->key, cell->brief);
}

/* ---- sums */

/* A number with a fixed count of decimals: value / 10^places. */
struct fixed {
    int64_t value;
    int places;
};

static bool
fixed_of(const char *text, struct fixed *out)
{
    char digits[24];
    const char *point = strchr(text, '.');
    size_t whole = point != NULL ? (size_t)(point - text) : strlen(text);
    if (strlen(text) > 18)
        return false;
    (void)snprintf(digits, sizeof digits, "%.*s%s", (int)whole, text,
                   point != NULL ? point + 1 : "");
    out->places = point != NULL ? (int)strlen(point + 1) : 0;
    return whole_of(digits, &out->value);
}

static bool
is_among(const char *words, const char *key)
{
    char word[64];
    (void)snprintf(word, sizeof word, " %s ", key);
    return strstr(words, word) != NULL;
}

static bool
is_in(const struct sum *rule, const struct section *s, size_t row, const char *group)
{
    if (rule->skip != NULL && is_among(rule->skip, people_word(table_cell(s, row, 0))))
        return false;
    return rule->by == NULL || strcmp(people_text(s, row, rule->by), group) == 0;
}

/* The sum of a column; false when a part of it is not known. */
static bool
add_up(const struct sum *rule, const struct section *s, size_t column, const char *group,
       struct fixed *out_sum)
{
    bool first = true;
    *out_sum = (struct fixed){0, 0};
    for (size_t row = 0; row < s->n_rows; row++) {
        const struct cell *cell = table_cell(s, row, column);
        struct fixed part;
        if (!is_in(rule, s, row, group))
            continue;
        if (cell->type != CELL_TEXT || !fixed_of(cell->text, &part) ||
            (!first && part.places != out_sum->places) ||
            __builtin_add_overflow(out_sum->value, part.value, &out_sum->value))
            return false;
        out_sum->places = part.places;
        first = false;
    }
    return !first;
}

static void
put_total(struct table_model *people, const struct section *s, const struct sum *rule,
          const char *group, bool skipped, bool in_words)
{
    table_total(people);
    table_set(people, s->columns[0].key, skipped ? "diverted or disposed" : "total");
    if (rule->by != NULL && group[0] != '\0')
        table_set(people, rule->by, group);
    for (size_t i = 1; i < s->n_columns; i++) {
        char room[NUMBER_TEXT], money[MONEY_TEXT];
        struct fixed sum;
        if (!is_among(rule->columns, s->columns[i].key))
            continue;
        if (!add_up(rule, s, i, group, &sum))
            table_set(people, s->columns[i].key, NULL);
        else if (in_words && strcmp(s->columns[i].unit, "minor") == 0)
            table_set(people, s->columns[i].key, money_print(sum.value, group, money));
        else
            table_set(people, s->columns[i].key, number_fixed(sum.value, sum.places, false, room));
    }
}

/* One line a group with two rows or more, in the order of their first rows. */
static void
put_totals(struct table_model *people, const struct section *s, const struct sum *rule, bool money)
{
    for (size_t row = 0; row < s->n_rows; row++) {
        const char *group = rule->by != NULL ? people_text(s, row, rule->by) : "";
        size_t before = 0, all = 0;
        for (size_t i = 0; i < s->n_rows; i++) {
            bool in = rule->by == NULL || strcmp(people_text(s, i, rule->by), group) == 0;
            all += in;
            before += in && i < row;
        }
        bool skipped = false;
        for (size_t i = 0; i < s->n_rows; i++)
            skipped = skipped || (rule->skip != NULL && !is_in(rule, s, i, group));
        if (before == 0 && all > 1)
            put_total(people, s, rule, group, skipped, money);
        if (rule->by == NULL)
            break;
    }
}

bool
people_is_whole_currency(const struct section *product, size_t row)
{
    size_t lines = product->n_rows - product->n_totals, same = 0;
    for (size_t i = 0; i < lines; i++)
        same +=
            strcmp(people_text(product, i, "currency"), people_text(product, row, "currency")) == 0;
    return row >= lines || same == 1;
}

/* ---- the whole */

static void
copy_section(struct table_model *people, const struct section *s, bool money)
{
    table_section(people, s->path, s->title, s->shape, s->columns, s->n_columns);
    for (size_t row = 0; row < s->n_rows; row++) {
        if (s->shape != SHAPE_FIELDS)
            table_row(people);
        for (size_t i = 0; i < s->n_columns; i++)
            copy_cell(people, s, row, i, money);
    }
    for (size_t i = 0; i < sizeof sums / sizeof sums[0]; i++)
        if (s->shape == SHAPE_ROWS && strcmp(sums[i].path, s->path) == 0)
            put_totals(people, s, &sums[i], money);
}

/* `money`: in words of its currency. */
static enum err
copy_model(const struct table_model *model, bool money, struct table_model **out_copy,
           struct err_text *why)
{
    struct table_model *copy = NULL;
    enum err e = table_new(&copy, why);
    if (e != ERR_OK)
        return e;
    for (size_t i = 0; i < table_count(model); i++)
        copy_section(copy, table_at(model, i), money);
    e = table_error(copy, why);
    if (e == ERR_OK)
        *out_copy = copy;
    else
        table_free(copy);
    return e;
}

enum err
table_for_people(const struct table_model *model, struct table_model **out_people,
                 struct err_text *why)
{
    return copy_model(model, true, out_people, why);
}

enum err
table_with_totals(const struct table_model *model, struct table_model **out_copy,
                  struct err_text *why)
{
    return copy_model(model, false, out_copy, why);
}

bool
people_in_total(const struct section *s, size_t total, size_t row)
{
    size_t i = 0, n = sizeof sums / sizeof sums[0];
    while (i < n && strcmp(sums[i].path, s->path) != 0)
        i++;
    if (i == n || row + s->n_totals >= s->n_rows)
        return false;
    const char *group = sums[i].by != NULL ? people_text(s, total, sums[i].by) : "";
    return is_in(&sums[i], s, row, group);
}
