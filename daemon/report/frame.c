/* frame.c - one reporting frame's table out of a report's. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/calc/frames.h"
#include "daemon/report/number.h"
#include "daemon/report/report.h"

static const struct column frame_columns[] = {
    {"name", "frame", "", false},
};

static const struct column line_columns[] = {
    {"line", "line of the frame", "", false},
    {"kg", "mass", "kg", true},
};

static const struct column destination_columns[] = {
    {"destination", "destination", "", false},
    {"kg", "mass", "kg", true},
    {"line", "line of the frame", "", false},
};

static const struct column field_columns[] = {
    {"clause", "clause", "", false}, {"key", "figure", "", false},  {"value", "value", "", true},
    {"unit", "unit", "", false},     {"field", "field", "", false},
};

static const struct column missing_columns[] = {
    {"clause", "clause", "", false},
    {"filled", "filled", "", false},
    {"need", "need", "", false},
    {"field", "field", "", false},
};

/* The parts of a report that stand in a frame's table too. */
static void
copy_head(struct table_model *out, const struct table_model *model)
{
    for (size_t i = 0; i < table_count(model); i++) {
        const struct section *s = table_at(model, i);
        bool wanted = strcmp(s->path, "period") == 0 ||
                      (s->path[0] == '\0' && s->n_columns == 1 &&
                       strstr(" basis status edition ", s->columns[0].key) != NULL);
        if (!wanted || s->shape != SHAPE_FIELDS)
            continue;
        table_section(out, s->path, s->title, s->shape, s->columns, s->n_columns);
        for (size_t j = 0; j < s->n_columns; j++)
            table_set(out, s->columns[j].key, table_cell(s, 0, j)->text);
    }
}

/* Grams of a text that number_kg() made. */
static int64_t
grams_of(const char *kg)
{
    char digits[32];
    size_t n = 0;
    for (; *kg != '\0' && n + 1 < sizeof digits; kg++)
        if (*kg != '.')
            digits[n++] = *kg;
    digits[n] = '\0';
    return strtoll(digits, NULL, 10);
}

struct ended {
    const char *code, *line;
    int64_t mass_g;
    bool told; /* its line has been printed */
};

enum {
    ENDED_MOST = 64 /* more than there are destinations */
};

static size_t
endings(const struct table_model *model, const struct calc_frame *frame,
        struct ended out[ENDED_MOST])
{
    const struct section *s = table_find(model, "waste.by_destination");
    size_t n = 0;
    for (size_t row = 0; s != NULL && row < s->n_rows && n < ENDED_MOST; row++) {
        const struct cell *code = table_cell(s, row, table_column(s, "destination"));
        const struct cell *kg = table_cell(s, row, table_column(s, "kg"));
        const struct calc_destination *destination = calc_destination_find(code->text);
        if (destination != NULL)
            out[n++] =
                (struct ended){code->text, frame->line(destination), grams_of(kg->text), false};
    }
    return n;
}

static void
put_endings(struct table_model *out, struct ended *ended, size_t n)
{
    char room[NUMBER_TEXT];
    TABLE_SECTION(out, "frame.lines", "Lines of the frame", SHAPE_ROWS, line_columns);
    for (size_t i = 0; i < n; i++) {
        int64_t mass_g = 0;
        if (ended[i].told)
            continue;
        for (size_t j = i; j < n; j++)
            if (strcmp(ended[j].line, ended[i].line) == 0) {
                mass_g += ended[j].mass_g;
                ended[j].told = true;
            }
        table_row(out);
        table_set(out, "line", ended[i].line);
        table_set(out, "kg", number_kg(mass_g, room));
    }
    TABLE_SECTION(out, "frame.destinations", "Destinations", SHAPE_ROWS, destination_columns);
    for (size_t i = 0; i < n; i++) {
        table_row(out);
        table_set(out, "destination", ended[i].code);
        table_set(out, "kg", number_kg(ended[i].mass_g, room));
        table_set(out, "line", ended[i].line);
    }
}

static void
copy_cautions(struct table_model *out, const struct table_model *model)
{
    const struct section *s = table_find(model, "cautions");
    if (s == NULL)
        return;
    table_section(out, s->path, s->title, s->shape, s->columns, s->n_columns);
    for (size_t i = 0; i < s->n_rows; i++) {
        table_row(out);
        table_set(out, "", table_cell(s, i, 0)->text);
    }
}

/* ---- fields */

/* A figure of the report: the cell of "path.key", or how many rows stand at the path. */
static const char *
figure(const struct table_model *model, const char *key, const char **out_unit,
       char room[NUMBER_TEXT])
{
    *out_unit = "";
    for (size_t i = 0; i < table_count(model); i++) {
        const struct section *s = table_at(model, i);
        size_t len = strlen(s->path), column;
        if (strcmp(s->path, key) == 0 && s->shape == SHAPE_ROWS) {
            *out_unit = "rows";
            return number_whole((int64_t)s->n_rows, room);
        }
        if (s->shape != SHAPE_FIELDS || strncmp(s->path, key, len) != 0 || key[len] != '.')
            continue;
        column = table_column(s, key + len + 1);
        if (column == s->n_columns)
            continue;
        *out_unit = s->columns[column].unit;
        return table_cell(s, 0, column)->text; /* NULL: null */
    }
    return NULL;
}

static void
put_field(struct table_model *out, const struct table_model *model, const struct calc_field *field)
{
    for (const char *at = field->keys; *at != '\0';) {
        char key[64], room[NUMBER_TEXT];
        const char *unit = "";
        size_t len = strcspn(at, " ");
        (void)snprintf(key, sizeof key, "%.*s", (int)len, at);
        const char *text = figure(model, key, &unit, room);
        table_row(out);
        table_set(out, "clause", field->clause);
        table_set(out, "key", key);
        table_set(out, "value", text);
        table_set(out, "unit", unit);
        table_set(out, "field", field->field);
        at += len + strspn(at + len, " ");
    }
}

static void
put_fields(struct table_model *out, const struct table_model *model, const struct calc_frame *frame)
{
    const struct calc_field *field;
    TABLE_SECTION(out, "frame.fields", "Fields filled", SHAPE_ROWS, field_columns);
    for (size_t i = 0; (field = calc_field_at(i)) != NULL; i++)
        if (strcmp(field->frame, frame->fields) == 0)
            put_field(out, model, field);
    TABLE_SECTION(out, "frame.missing", "Fields not filled, or only in part", SHAPE_ROWS,
                  missing_columns);
    for (size_t i = 0; (field = calc_field_at(i)) != NULL; i++) {
        if (strcmp(field->frame, frame->fields) != 0 || strcmp(field->filled, "yes") == 0)
            continue;
        table_row(out);
        table_set(out, "clause", field->clause);
        table_set(out, "filled", field->filled);
        table_set(out, "need", field->need);
        table_set(out, "field", field->field);
    }
}

enum err
report_frame(const struct table_model *model, const char *frame, struct table_model **out_frame,
             struct err_text *why)
{
    struct ended ended[ENDED_MOST];
    struct table_model *out = NULL;
    const struct calc_frame *which = calc_frame_find(frame);
    if (which == NULL)
        return err_input(why, "frame", frame, "FLW, GRI, ESRS or SDG");
    enum err e = table_new(&out, why);
    if (e != ERR_OK)
        return e;
    copy_head(out, model);
    TABLE_SECTION(out, "frame", "Frame", SHAPE_FIELDS, frame_columns);
    table_set(out, "name", which->fields);
    put_endings(out, ended, endings(model, which, ended));
    put_fields(out, model, which);
    copy_cautions(out, model);
    e = table_error(out, why);
    if (e == ERR_OK)
        *out_frame = out;
    else
        table_free(out);
    return e;
}
