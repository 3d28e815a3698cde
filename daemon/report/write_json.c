/* write_json.c - the JSON print: sections become members by their paths. */
#include <jansson.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "daemon/report/report.h"

static enum err
out_of_memory(struct err_text *why)
{
    return err_set(ERR_MEM, why, "out of memory for the report");
}

/* The object at "a.b" under `root` (made when it is not there), all of the path but what follows
 * the last dot, which is *out_name. NULL: out of memory. */
static json_t *
parent_of(json_t *root, const char *path, const char **out_name)
{
    json_t *object = root;
    const char *dot;
    while ((dot = strchr(path, '.')) != NULL) {
        char name[64];
        (void)snprintf(name, sizeof name, "%.*s", (int)(dot - path), path);
        json_t *child = json_object_get(object, name);
        if (child == NULL) {
            child = json_object();
            if (json_object_set_new(object, name, child) != 0)
                return NULL;
        }
        object = child;
        path = dot + 1;
    }
    *out_name = path;
    return object;
}

static json_t *
cell_json(const struct cell *cell)
{
    switch (cell->type) {
    case CELL_TEXT:
        return json_string(cell->text);
    case CELL_TRUE:
        return json_true();
    case CELL_FALSE:
        return json_false();
    default:
        return json_null();
    }
}

static bool
put_row(json_t *object, const struct section *s, size_t row)
{
    for (size_t i = 0; i < s->n_columns; i++) {
        const struct cell *cell = table_cell(s, row, i);
        const char *name = NULL;
        if (cell->type == CELL_ABSENT)
            continue;
        json_t *parent = parent_of(object, s->columns[i].key, &name);
        if (parent == NULL || json_object_set_new(parent, name, cell_json(cell)) != 0)
            return false;
    }
    return true;
}

/* The array of a section; NULL: out of memory. */
static json_t *
rows_json(const struct section *s)
{
    json_t *array = json_array();
    for (size_t i = 0; array != NULL && i < s->n_rows; i++) {
        json_t *item = s->shape == SHAPE_LIST ? cell_json(table_cell(s, i, 0)) : json_object();
        bool ok = s->shape == SHAPE_LIST || (item != NULL && put_row(item, s, i));
        if (!ok || json_array_append(array, item) != 0) {
            json_decref(array);
            array = NULL;
        }
        json_decref(item);
    }
    return array;
}

static bool
put_section(json_t *root, const struct section *s)
{
    const char *name = NULL;
    if (s->path[0] == '\0')
        return put_row(root, s, 0);
    json_t *parent = parent_of(root, s->path, &name);
    if (parent == NULL)
        return false;
    if (s->shape == SHAPE_NULL)
        return json_object_set_new(parent, name, json_null()) == 0;
    if (s->shape != SHAPE_FIELDS)
        return json_object_set_new(parent, name, rows_json(s)) == 0;
    json_t *fields = json_object_get(parent, name);
    if (fields == NULL) {
        fields = json_object();
        if (json_object_set_new(parent, name, fields) != 0)
            return false;
    }
    return put_row(fields, s, 0);
}

/* `skip`: a path to leave out, NULL: none. */
static enum err
print(const struct table_model *model, const char *skip, char **out_text, struct err_text *why)
{
    json_t *root = json_object();
    bool ok = root != NULL;
    for (size_t i = 0; ok && i < table_count(model); i++)
        if (skip == NULL || strcmp(table_at(model, i)->path, skip) != 0)
            ok = put_section(root, table_at(model, i));
    char *text = ok ? json_dumps(root, JSON_INDENT(1)) : NULL;
    json_decref(root);
    if (text == NULL)
        return out_of_memory(why);
    size_t len = strlen(text);
    char *lines = realloc(text, len + 2);
    if (lines == NULL) {
        free(text);
        return out_of_memory(why);
    }
    memcpy(lines + len, "\n", 2);
    *out_text = lines;
    return ERR_OK;
}

enum err
report_json(const struct table_model *model, char **out_text, struct err_text *why)
{
    return print(model, NULL, out_text, why);
}

enum err
report_hash(const struct table_model *model, uint8_t out_hash[32], struct err_text *why)
{
    char *text = NULL;
    enum err e = print(model, "heads", &text, why);
    if (e != ERR_OK)
        return e;
    (void)crypto_generichash(out_hash, 32, (const unsigned char *)text, strlen(text), NULL, 0);
    free(text);
    return ERR_OK;
}
