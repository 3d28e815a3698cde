/* write_text.c - the print for people: the answer first, one line a fact, units always, cautions
 * last; at most 78 columns as far as single words allow.
 */
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/report/people.h"
#include "daemon/report/report.h"

enum {
    LINE = 78,
    LABEL = 36, /* of a field */
    VALUE = 20, /* its number, right-aligned up to here */
    MANY = 6,   /* number columns from which a wide table is turned on its side */
};

struct text {
    char *bytes;
    size_t len, cap;
    bool failed;
};

static void
add_bytes(struct text *t, const char *bytes, size_t len)
{
    if (t->failed)
        return;
    if (t->len + len + 1 > t->cap) {
        size_t more = (t->cap + len + 1) * 2;
        char *bigger = realloc(t->bytes, more);
        if (bigger == NULL) {
            t->failed = true;
            return;
        }
        t->bytes = bigger;
        t->cap = more;
    }
    memcpy(t->bytes + t->len, bytes, len);
    t->len += len;
    t->bytes[t->len] = '\0';
}

__attribute__((format(printf, 2, 3))) static void
say(struct text *t, const char *format, ...)
{
    char line[1024];
    va_list args;
    va_start(args, format);
    int len = vsnprintf(line, sizeof line, format, args);
    va_end(args);
    add_bytes(t, line, len < (int)sizeof line ? (size_t)len : sizeof line - 1);
}

/* Characters, not bytes. */
static size_t
width(const char *text)
{
    size_t n = 0;
    for (; *text != '\0'; text++)
        n += ((unsigned char)*text & 0xC0) != 0x80;
    return n;
}

static void
blanks(struct text *t, size_t n)
{
    while (n-- > 0)
        add_bytes(t, " ", 1);
}

static void
pad(struct text *t, const char *text, size_t wide, bool right)
{
    size_t have = width(text), lack = have < wide ? wide - have : 0;
    blanks(t, right ? lack : 0);
    add_bytes(t, text, strlen(text));
    blanks(t, right ? 0 : lack);
}

/* No blanks before a line feed. */
static void
end_line(struct text *t)
{
    while (t->len > 0 && t->bytes[t->len - 1] == ' ')
        t->len--;
    add_bytes(t, "\n", 1);
}

/* A paragraph, broken at blanks. */
static void
paragraph(struct text *t, const char *prefix, const char *words)
{
    size_t at = width(prefix);
    add_bytes(t, prefix, strlen(prefix));
    while (*words != '\0') {
        size_t len = strcspn(words, " ");
        char one[256];
        (void)snprintf(one, sizeof one, "%.*s", (int)len, words);
        if (at > width(prefix) && at + 1 + width(one) > LINE) {
            end_line(t);
            blanks(t, width(prefix));
            at = width(prefix);
        } else if (at > width(prefix)) {
            add_bytes(t, " ", 1);
            at++;
        }
        add_bytes(t, one, strlen(one));
        at += width(one);
        words += len + strspn(words + len, " ");
    }
    end_line(t);
}

/* ---- the answer */

static const char *
get(const struct table_model *model, const char *path, const char *key)
{
    const char *text = table_get(model, path, key);
    return text != NULL ? text : "-";
}

/* One sentence, broken at blanks. */
__attribute__((format(printf, 2, 3))) static void
sentence(struct text *t, const char *format, ...)
{
    char line[1024];
    va_list args;
    va_start(args, format);
    (void)vsnprintf(line, sizeof line, format, args);
    va_end(args);
    paragraph(t, "", line);
}

/* Bottles and money, one sentence a currency. */
static void
answer_product(struct text *t, const struct section *s)
{
    for (size_t row = 0; s != NULL && row < s->n_rows; row++) {
        const char *said[3] = {"-", "-", "-"};
        static const char *const keys[3] = {"bottles", "at_list_minor", "sold_minor"};
        if (!people_is_whole_currency(s, row))
            continue;
        for (size_t i = 0; i < s->n_columns; i++)
            for (size_t j = 0; j < 3; j++)
                if (strcmp(s->columns[i].key, keys[j]) == 0)
                    said[j] = people_word(table_cell(s, row, i));
        if (strcmp(said[0], "0") == 0) /* made is told in the hub's currency */
            sentence(t, "Sold: %s.", said[2]);
        else
            sentence(t, "%s bottles made, %s at list; sold: %s.", said[0], said[1], said[2]);
    }
}

/* Whether it is worth it: all bottles of a currency, when everything about them is known. */
static void
answer_costs(struct text *t, const struct section *s)
{
    for (size_t row = 0; s != NULL && row < s->n_rows; row++) {
        const char *saved = people_text(s, row, "saved_minor");
        if (people_is_whole_currency(s, row) && saved[0] != '\0')
            sentence(t, "Saved by making these bottles rather than buying the like in: %s.", saved);
    }
}

static void
answer(struct text *t, const struct table_model *model)
{
    sentence(t, "Report of %s to %s: %s, basis %s", get(model, "period", "start"),
             get(model, "period", "end"), get(model, "", "status"), get(model, "", "basis"));
    say(t, "\n");
    if (table_find(model, "frame") != NULL || table_find(model, "why") != NULL)
        return; /* the table of one frame, or of one figure */
    sentence(t, "%s kg of grounds generated, %s kg captured: %s %%.",
             get(model, "grounds", "generated_kg"), get(model, "grounds", "captured_kg"),
             get(model, "grounds", "capture_rate_pct"));
    sentence(t, "%s %% of it was not weighed.", get(model, "quality", "estimated_share_pct"));
    sentence(t, "%s kg of waste diverted, %s kg disposed of: %s %% diverted.",
             get(model, "waste", "diverted_kg"), get(model, "waste", "disposed_kg"),
             get(model, "waste", "diverted_pct"));
    sentence(t, "%s kg wait for an end; the end of %s kg is not known.",
             get(model, "waste", "waiting_kg"), get(model, "waste", "unknown_kg"));
    sentence(t, "%s kg CO2e in the inventory (factors %s), %s kg not quantified.",
             get(model, "emissions", "inventory_kg_co2e"), get(model, "", "edition"),
             get(model, "emissions", "not_quantified_kg"));
    sentence(t, "Tubs: %s kg in the books, unexplained %s kg.", get(model, "stock", "closing_kg"),
             get(model, "stock", "unexplained_kg"));
    answer_product(t, table_find(model, "product"));
    answer_costs(t, table_find(model, "bottle_costs"));
}

/* ---- sections */

/* "opening, kg" */
static void
heading(const struct column *column, char room[96])
{
    const char *unit = people_unit(column);
    (void)snprintf(room, 96, "%s%s%s", column->label, unit[0] != '\0' ? ", " : "", unit);
}

static void
fields(struct text *t, const struct section *s)
{
    for (size_t i = 0; i < s->n_columns; i++) {
        const struct cell *cell = table_cell(s, 0, i);
        if (cell->type == CELL_ABSENT)
            continue;
        if (!s->columns[i].number && width(people_word(cell)) > LINE - LABEL - 4) {
            say(t, "  %s:\n", s->columns[i].label);
            paragraph(t, "    ", people_word(cell));
            continue;
        }
        blanks(t, 2);
        pad(t, s->columns[i].label, LABEL, false);
        if (s->columns[i].number)
            pad(t, people_word(cell), VALUE, true);
        else
            say(t, "  %s", people_word(cell));
        if (cell->type == CELL_TEXT && people_unit(&s->columns[i])[0] != '\0')
            say(t, " %s", people_unit(&s->columns[i]));
        end_line(t);
    }
}

static size_t
column_width(const struct section *s, size_t column)
{
    char room[96];
    heading(&s->columns[column], room);
    size_t most = width(room);
    for (size_t i = 0; i < s->n_rows; i++) {
        size_t have = width(people_word(table_cell(s, i, column)));
        most = have > most ? have : most;
    }
    return most;
}

/* Columns from..end on one line, after an indent; `row` SIZE_MAX: the headings. */
static void
table_line(struct text *t, const struct section *s, size_t row, size_t from, size_t end,
           const size_t *widths)
{
    char room[96];
    const char *alone =
        row != SIZE_MAX && end == from + 1 ? people_word(table_cell(s, row, from)) : "";
    if (width(alone) > LINE - 6) { /* words that no line holds */
        paragraph(t, from == 0 ? "  " : "      ", alone);
        return;
    }
    blanks(t, from == 0 ? 2 : 6);
    for (size_t i = from; i < end; i++) {
        heading(&s->columns[i], room);
        pad(t, row == SIZE_MAX ? room : people_word(table_cell(s, row, i)), widths[i],
            s->columns[i].number);
        blanks(t, 2);
    }
    end_line(t);
}

/* Where the line that begins with column `from` ends. */
static size_t
line_end(const struct section *s, size_t from, const size_t *widths)
{
    size_t at = from == 0 ? 2 : 6, end = from;
    while (end < s->n_columns && (end == from || at + widths[end] <= LINE))
        at += widths[end++] + 2;
    return end;
}

/* A total has few cells. */
static bool
nothing_in(const struct section *s, size_t row, size_t from, size_t end)
{
    for (size_t i = from; i < end; i++)
        if (people_word(table_cell(s, row, i))[0] != '\0')
            return false;
    return true;
}

/* A row of the table may take several lines. */
static void
upright(struct text *t, const struct section *s, const size_t *widths)
{
    for (size_t row = 0; row <= s->n_rows; row++) {
        size_t which = row == 0 ? SIZE_MAX : row - 1;
        for (size_t from = 0; from < s->n_columns;) {
            size_t end = line_end(s, from, widths);
            if (from == 0 || row == 0 || !nothing_in(s, which, from, end))
                table_line(t, s, which, from, end, widths);
            from = end;
        }
    }
}

static size_t
row_width(const struct section *s, size_t row)
{
    size_t most = 0;
    for (size_t i = 0; i < s->n_columns; i++) {
        size_t have = width(people_word(table_cell(s, row, i)));
        most = have > most ? have : most;
    }
    return most;
}

/* Rows as columns, as many side by side as the line takes. */
static void
turned(struct text *t, const struct section *s)
{
    char room[96];
    size_t labels = 0;
    for (size_t i = 0; i < s->n_columns; i++) {
        heading(&s->columns[i], room);
        labels = width(room) > labels ? width(room) : labels;
    }
    for (size_t from = 0; from < s->n_rows;) {
        size_t at = 2 + labels, end = from;
        while (end < s->n_rows && (end == from || at + 2 + row_width(s, end) <= LINE))
            at += 2 + row_width(s, end++);
        for (size_t i = 0; i < s->n_columns; i++) {
            heading(&s->columns[i], room);
            blanks(t, 2);
            pad(t, room, labels, false);
            for (size_t row = from; row < end; row++) {
                blanks(t, 2);
                pad(t, people_word(table_cell(s, row, i)), row_width(s, row), true);
            }
            end_line(t);
        }
        if (end < s->n_rows)
            end_line(t);
        from = end;
    }
}

static void
rows(struct text *t, const struct section *s)
{
    size_t widths[32], sum = 2, numbers = 0;
    for (size_t i = 0; i < s->n_columns && i < 32; i++) {
        widths[i] = column_width(s, i);
        sum += widths[i] + 2;
        numbers += s->columns[i].number;
    }
    if (sum > LINE + 2 && numbers >= MANY)
        turned(t, s);
    else
        upright(t, s, widths);
}

static void
list(struct text *t, const struct section *s)
{
    for (size_t i = 0; i < s->n_rows; i++)
        paragraph(t, "  - ", people_word(table_cell(s, i, 0)));
}

/* The sum of the records behind a figure: the last line, not a section. */
static bool
is_last_line(const struct section *s)
{
    return strcmp(s->path, "why") == 0 && s->n_columns > 1 && strcmp(s->columns[1].key, "sum") == 0;
}

static void
last_line(struct text *t, const struct table_model *model)
{
    const char *left = table_get(model, "why", "left_out"), *unit = get(model, "why", "unit");
    const char *sum = get(model, "why", "sum"), *figure = get(model, "why", "figure");
    if (left != NULL && strcmp(left, "0") != 0)
        sentence(t, "Left out: %s records of what came and went again, which come to 0.", left);
    if (table_get(model, "why", "sum") != NULL)
        sentence(t, "Sum %s %s, the report says %s %s: %s.", sum, unit, figure, unit,
                 strcmp(sum, figure) == 0 ? "equal" : "NOT EQUAL");
}

static void
section(struct text *t, const struct section *s)
{
    if (s->shape == SHAPE_NULL || is_last_line(s))
        return;
    if (s->shape != SHAPE_FIELDS && s->n_rows == 0) {
        say(t, "\n%s: none\n", s->title);
        return;
    }
    if (s->shape == SHAPE_FIELDS && s->n_columns == 1 && !s->columns[0].number) {
        say(t, "\n%s: %s\n", s->title, people_word(table_cell(s, 0, 0)));
        return;
    }
    say(t, "\n%s\n", s->title);
    if (s->shape == SHAPE_FIELDS)
        fields(t, s);
    else if (s->shape == SHAPE_ROWS)
        rows(t, s);
    else
        list(t, s);
}

enum err
report_text(const struct table_model *model, char **out_text, struct err_text *why)
{
    struct text t = {NULL, 0, 0, false};
    struct table_model *people = NULL;
    enum err e = table_for_people(model, &people, why);
    if (e != ERR_OK)
        return e;
    answer(&t, people);
    for (size_t i = 0; i < table_count(people); i++)
        if (strcmp(table_at(people, i)->path, "cautions") != 0)
            section(&t, table_at(people, i));
    if (table_find(people, "cautions") != NULL)
        section(&t, table_find(people, "cautions"));
    add_bytes(&t, "\n", 1);
    if (table_find(people, "why") != NULL)
        last_line(&t, people);
    else
        paragraph(
            &t, "",
            "Figures that speak of safety, strength or law are estimates for people to check: "
            "local code and licensed practice come first.");
    table_free(people);
    if (t.failed) {
        free(t.bytes);
        return err_set(ERR_MEM, why, "out of memory for the report");
    }
    *out_text = t.bytes;
    return ERR_OK;
}
