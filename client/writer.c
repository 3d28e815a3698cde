/* writer.c - which writer, and what cells look like. */
#include "client/writer.h"

#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include "client/show.h"

void
writer_init(struct writer *writer, enum output output, FILE *f)
{
    static const struct writer_form *const forms[] = {
        [OUTPUT_TEXT] = &writer_text, [OUTPUT_JSON] = &writer_json, [OUTPUT_CSV] = &writer_csv};
    *writer = (struct writer){.form = forms[output], .f = f};
}

void
writer_answer(struct writer *writer, const json_t *answer)
{
    if (writer->form->answer != NULL)
        writer->form->answer(writer, answer);
}

void
writer_title(struct writer *writer, const char *left, const char *right)
{
    if (writer->form->title != NULL)
        writer->form->title(writer, left, right);
}

void
writer_table(struct writer *writer, const struct column *columns, size_t n, const json_t *rows)
{
    if (writer->form->table != NULL)
        writer->form->table(writer, columns, n, rows);
    writer->had_table = true;
}

void
writer_line(struct writer *writer, const char *format, ...)
{
    char text[1024];
    va_list args;
    va_start(args, format);
    (void)vsnprintf(text, sizeof text, format, args);
    va_end(args);
    if (writer->form->line != NULL)
        writer->form->line(writer, text);
}

static char *
list_text(const json_t *list, char out[], size_t size)
{
    size_t used = 0;
    out[0] = '\0';
    for (size_t i = 0; i < json_array_size(list) && used < size; i++) {
        const char *text = json_string_value(json_array_get(list, i));
        int n =
            snprintf(out + used, size - used, "%s%s", i > 0 ? "; " : "", text != NULL ? text : "");
        used += n > 0 ? (size_t)n : 0;
    }
    return out;
}

char *
cell_raw(const json_t *value, char out[], size_t size)
{
    out[0] = '\0';
    switch (json_typeof(value)) {
    case JSON_STRING:
        (void)snprintf(out, size, "%s", json_string_value(value));
        break;
    case JSON_INTEGER:
        (void)snprintf(out, size, "%lld", (long long)json_integer_value(value));
        break;
    case JSON_TRUE:
    case JSON_FALSE:
        (void)snprintf(out, size, "%s", json_is_true(value) ? "true" : "false");
        break;
    case JSON_ARRAY:
        (void)list_text(value, out, size);
        break;
    default:
        break; /* null is an empty cell */
    }
    return out;
}

/* A whole number, also out of text. */
static int64_t
cell_number(const json_t *value)
{
    return json_is_string(value) ? strtoll(json_string_value(value), NULL, 10)
                                 : json_integer_value(value);
}

static char *
form_number(int64_t number, enum cell_form form, char out[32])
{
    switch (form) {
    case CELL_MASS:
        return show_mass(number, out);
    case CELL_VOLUME:
        return show_volume(number, out);
    case CELL_SPAN:
        return show_span(number, out);
    default:
        (void)snprintf(out, 32, "%lld", (long long)number);
        return out;
    }
}

char *
cell_shown(const json_t *value, enum cell_form form, char out[], size_t size)
{
    char text[SHOW_TEXT], small[32];
    if (value == NULL || json_is_null(value)) {
        (void)snprintf(out, size, "%s", form == CELL_TEXT || form == CELL_YES ? "" : "-");
        return out;
    }
    if (form == CELL_YES)
        (void)snprintf(text, sizeof text, "%s", json_is_true(value) ? "yes" : "");
    else if (form == CELL_DATE || form == CELL_WHEN)
        (void)snprintf(text, sizeof text, "%s",
                       form == CELL_DATE ? show_date(cell_raw(value, out, size), small)
                                         : show_when(cell_raw(value, out, size), small));
    else if (form == CELL_TEXT || form == CELL_LIST)
        (void)cell_raw(value, text, sizeof text);
    else
        (void)snprintf(text, sizeof text, "%s", form_number(cell_number(value), form, small));
    return show_safe(text, out, size);
}

void
writer_list(enum output output, json_t *answer, const struct list *list)
{
    struct writer writer;
    writer_init(&writer, output, stdout);
    if (output == OUTPUT_CSV)
        writer_table(&writer, list->columns, list->n, json_object_get(answer, list->member));
    else if (output == OUTPUT_JSON)
        writer_answer(&writer, answer);
    else
        list->text(&writer, answer);
}
