/* table.c - the one table model that every writer of a report reads. */
#include "daemon/report/table.h"

#include <assert.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct text_block {
    struct text_block *next;
    char text[];
};

struct table_model {
    struct section *sections;
    size_t n, cap;
    struct text_block *texts;
    bool failed;
};

enum err
table_new(struct table_model **out_model, struct err_text *why)
{
    *out_model = calloc(1, sizeof **out_model);
    return *out_model != NULL ? ERR_OK : err_set(ERR_MEM, why, "out of memory for the report");
}

void
table_free(struct table_model *model)
{
    if (model == NULL)
        return;
    for (size_t i = 0; i < model->n; i++)
        free(model->sections[i].cells);
    while (model->texts != NULL) {
        struct text_block *next = model->texts->next;
        free(model->texts);
        model->texts = next;
    }
    free(model->sections);
    free(model);
}

enum err
table_error(const struct table_model *model, struct err_text *why)
{
    return model->failed ? err_set(ERR_MEM, why, "out of memory for the report") : ERR_OK;
}

/* `items` with room for one more; NULL marks the model as failed. */
static void *
room(struct table_model *model, void *items, size_t n, size_t *cap, size_t size)
{
    if (n < *cap)
        return items;
    size_t more = *cap == 0 ? 8 : *cap * 2;
    void *bigger = more <= SIZE_MAX / size ? realloc(items, more * size) : NULL;
    if (bigger == NULL)
        model->failed = true;
    else
        *cap = more;
    return bigger;
}

void
table_section(struct table_model *model, const char *path, const char *title,
              enum section_shape shape, const struct column *columns, size_t n_columns)
{
    if (model->failed)
        return;
    void *sections = room(model, model->sections, model->n, &model->cap, sizeof *model->sections);
    if (sections == NULL)
        return;
    model->sections = sections;
    model->sections[model->n++] = (struct section){
        .path = path, .title = title, .shape = shape, .columns = columns, .n_columns = n_columns};
    if (shape == SHAPE_FIELDS)
        table_row(model);
}

void
table_row(struct table_model *model)
{
    if (model->failed)
        return;
    struct section *s = &model->sections[model->n - 1];
    void *cells = room(model, s->cells, s->n_rows, &s->cap_rows,
                       sizeof *s->cells * (s->n_columns > 0 ? s->n_columns : 1));
    if (cells == NULL)
        return;
    s->cells = cells;
    memset(&s->cells[s->n_rows * s->n_columns], 0, sizeof *s->cells * s->n_columns);
    s->n_rows++;
}

void
table_total(struct table_model *model)
{
    table_row(model);
    if (!model->failed)
        model->sections[model->n - 1].n_totals++;
}

static struct cell *
last_cell(struct table_model *model, const char *key)
{
    struct section *s = &model->sections[model->n - 1];
    size_t i = 0;
    while (i < s->n_columns && strcmp(s->columns[i].key, key) != 0)
        i++;
    assert(i < s->n_columns && s->n_rows > 0);
    return &s->cells[(s->n_rows - 1) * s->n_columns + i];
}

static char *
keep(struct table_model *model, size_t len)
{
    struct text_block *block = malloc(sizeof *block + len + 1);
    if (block == NULL) {
        model->failed = true;
        return NULL;
    }
    block->next = model->texts;
    model->texts = block;
    return block->text;
}

void
table_set(struct table_model *model, const char *key, const char *text)
{
    if (model->failed)
        return;
    struct cell *cell = last_cell(model, key);
    *cell = (struct cell){.type = CELL_NULL};
    if (text == NULL)
        return;
    size_t len = strlen(text);
    char *copy = keep(model, len);
    if (copy == NULL)
        return;
    memcpy(copy, text, len + 1);
    *cell = (struct cell){.type = CELL_TEXT, .text = copy};
}

void
table_brief(struct table_model *model, const char *key, const char *text)
{
    const char *copy = table_text(model, "%s", text);
    if (!model->failed)
        last_cell(model, key)->brief = copy;
}

void
table_set_bool(struct table_model *model, const char *key, bool value)
{
    if (!model->failed)
        *last_cell(model, key) = (struct cell){.type = value ? CELL_TRUE : CELL_FALSE};
}

const char *
table_text(struct table_model *model, const char *format, ...)
{
    va_list args, again;
    va_start(args, format);
    va_copy(again, args);
    int len = vsnprintf(NULL, 0, format, args);
    va_end(args);
    char *text = len >= 0 ? keep(model, (size_t)len) : NULL;
    if (text != NULL)
        (void)vsnprintf(text, (size_t)len + 1, format, again);
    va_end(again);
    return text;
}

size_t
table_count(const struct table_model *model)
{
    return model->n;
}

const struct section *
table_at(const struct table_model *model, size_t i)
{
    return i < model->n ? &model->sections[i] : NULL;
}

const struct section *
table_find(const struct table_model *model, const char *path)
{
    for (size_t i = 0; i < model->n; i++)
        if (strcmp(model->sections[i].path, path) == 0)
            return &model->sections[i];
    return NULL;
}

const struct cell *
table_cell(const struct section *section, size_t row, size_t column)
{
    return &section->cells[row * section->n_columns + column];
}

size_t
table_column(const struct section *section, const char *key)
{
    size_t i = 0;
    while (i < section->n_columns && strcmp(section->columns[i].key, key) != 0)
        i++;
    return i;
}

static const struct cell *
cell_at(const struct table_model *model, const char *path, const char *key)
{
    for (size_t i = 0; i < model->n; i++) { /* the report itself ("") has several sections */
        const struct section *s = &model->sections[i];
        if (strcmp(s->path, path) != 0 || s->n_rows == 0)
            continue;
        for (size_t j = 0; j < s->n_columns; j++)
            if (strcmp(s->columns[j].key, key) == 0)
                return s->cells[j].type == CELL_TEXT ? &s->cells[j] : NULL;
    }
    return NULL;
}

const char *
table_get(const struct table_model *model, const char *path, const char *key)
{
    const struct cell *cell = cell_at(model, path, key);
    return cell != NULL ? cell->text : NULL;
}

const char *
table_headline(const struct table_model *model, const char *path, const char *key)
{
    const struct cell *cell = cell_at(model, path, key);
    return cell == NULL ? NULL : cell->brief != NULL ? cell->brief : cell->text;
}
