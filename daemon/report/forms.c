/* forms.c - the table of prints. */
#include "daemon/report/forms.h"

#include <stdio.h>
#include <string.h>
#include "daemon/report/report.h"

typedef enum err print_text(const struct table_model *model, char **out_text, struct err_text *why);

static enum err
sized(print_text *print, const struct table_model *model, char **out_bytes, size_t *out_len,
      struct err_text *why)
{
    enum err e = print(model, out_bytes, why);
    if (e == ERR_OK)
        *out_len = strlen(*out_bytes);
    return e;
}

static enum err
print_json(const struct table_model *model, char **out_bytes, size_t *out_len, struct err_text *why)
{
    return sized(report_json, model, out_bytes, out_len, why);
}

static enum err
print_plain(const struct table_model *model, char **out_bytes, size_t *out_len,
            struct err_text *why)
{
    return sized(report_text, model, out_bytes, out_len, why);
}

static enum err
print_csv(const struct table_model *model, char **out_bytes, size_t *out_len, struct err_text *why)
{
    return sized(report_csv, model, out_bytes, out_len, why);
}

static enum err
print_html(const struct table_model *model, char **out_bytes, size_t *out_len, struct err_text *why)
{
    return sized(report_html, model, out_bytes, out_len, why);
}

static enum err
print_sheet(const struct table_model *model, char **out_bytes, size_t *out_len,
            struct err_text *why)
{
    return sized(report_sheet, model, out_bytes, out_len, why);
}

static const struct report_form table[] = {
    {"json", "json", "application/json", false, false, print_json},
    {"text", "txt", "text/plain; charset=utf-8", false, false, print_plain},
    {"csv", "csv", "text/csv; charset=utf-8", false, false, print_csv},
    {"html", "html", "text/html; charset=utf-8", true, false, print_html},
    {"xlsx", "xlsx", "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", true,
     true, print_sheet},
};

enum {
    TABLE_N = sizeof table / sizeof table[0]
};

const struct report_form *
report_forms(size_t *out_n)
{
    *out_n = TABLE_N;
    return table;
}

const struct report_form *
report_form_find(const char *name)
{
    for (size_t i = 0; name != NULL && i < TABLE_N; i++)
        if (strcmp(table[i].name, name) == 0)
            return &table[i];
    return NULL;
}

char *
report_form_names(char *out, size_t size)
{
    size_t used = 0;
    out[0] = '\0';
    for (size_t i = 0; i < TABLE_N && used < size; i++) {
        const char *gap = i == 0 ? "" : i + 1 == TABLE_N ? " or " : ", ";
        used += (size_t)snprintf(out + used, size - used, "%s%s", gap, table[i].name);
    }
    return out;
}
